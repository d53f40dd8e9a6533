//! How the messages of each direction become frames, and frames messages.

/// A message that travels on links in one direction.
pub trait Message: Sized + Send + 'static {
    /// Whether it is worth nothing when it comes late, so that it goes as a datagram.
    fn is_fleeting(&self) -> bool;

    /// The message as one frame.
    fn to_frame(&self) -> Result<Vec<u8>, FrameError>;

    /// The length of the whole frame that starts with these bytes, at least [`HEADER_LEN`] of them, if it is allowed.
    fn frame_len(start: &[u8]) -> Result<usize, FrameError>;

    /// The message in a whole frame; `None` for a kind that is unknown here and may be skipped.
    fn from_frame(frame: &[u8]) -> Result<Option<Self>, FrameError>;
}

/// Bytes of a frame before its content.
pub const HEADER_LEN: usize = 7;

/// Why bytes are no frame, or a message does not fit into one; in the words of the code that knows the frames.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[error("{0}")]
pub struct FrameError(pub String);

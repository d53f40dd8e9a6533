//! How the messages of each direction become frames, and frames messages.

use consort_proto::deputy::{FromDeputy, ToDeputy};
use consort_proto::{ToCoordinator, ToStation};
pub use consort_wire::HEADER_LEN;
use consort_wire::WireError;

/// A message that travels on links in one direction.
pub trait Message: Sized + Send + 'static {
    /// Whether it is worth nothing when it comes late, so that it goes as a datagram.
    fn is_fleeting(&self) -> bool;

    /// The message as one frame.
    fn to_frame(&self) -> Vec<u8>;

    /// The length of the whole frame that starts with these bytes, at least [`HEADER_LEN`] of them, if it is allowed.
    fn frame_len(start: &[u8]) -> Result<usize, FrameError>;

    /// The message in a whole frame; `None` for a kind that is unknown here and may be skipped.
    fn from_frame(frame: &[u8]) -> Result<Option<Self>, FrameError>;
}

/// Why bytes are no frame, in the words of the code that knows the frames.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[error("{0}")]
pub struct FrameError(pub String);

impl From<WireError> for FrameError {
    fn from(why: WireError) -> Self {
        Self(why.to_string())
    }
}

impl Message for ToCoordinator {
    fn is_fleeting(&self) -> bool {
        matches!(self, Self::Beat)
    }

    fn to_frame(&self) -> Vec<u8> {
        consort_wire::encode_to_coordinator(self)
    }

    fn frame_len(start: &[u8]) -> Result<usize, FrameError> {
        Ok(consort_wire::frame_len(start)?)
    }

    fn from_frame(frame: &[u8]) -> Result<Option<Self>, FrameError> {
        Ok(consort_wire::decode_to_coordinator(frame)?)
    }
}

impl Message for ToStation {
    fn is_fleeting(&self) -> bool {
        matches!(self, Self::Beat { .. })
    }

    fn to_frame(&self) -> Vec<u8> {
        consort_wire::encode_to_station(self)
    }

    fn frame_len(start: &[u8]) -> Result<usize, FrameError> {
        Ok(consort_wire::frame_len(start)?)
    }

    fn from_frame(frame: &[u8]) -> Result<Option<Self>, FrameError> {
        Ok(consort_wire::decode_to_station(frame)?)
    }
}

impl Message for FromDeputy {
    fn is_fleeting(&self) -> bool {
        matches!(self, Self::Beat)
    }

    fn to_frame(&self) -> Vec<u8> {
        consort_wire::encode_from_deputy(self)
    }

    fn frame_len(start: &[u8]) -> Result<usize, FrameError> {
        Ok(consort_wire::frame_len(start)?)
    }

    fn from_frame(frame: &[u8]) -> Result<Option<Self>, FrameError> {
        Ok(consort_wire::decode_from_deputy(frame)?)
    }
}

impl Message for ToDeputy {
    fn is_fleeting(&self) -> bool {
        false
    }

    fn to_frame(&self) -> Vec<u8> {
        consort_wire::encode_to_deputy(self)
    }

    fn frame_len(start: &[u8]) -> Result<usize, FrameError> {
        Ok(consort_wire::frame_len(start)?)
    }

    fn from_frame(frame: &[u8]) -> Result<Option<Self>, FrameError> {
        Ok(consort_wire::decode_to_deputy(frame)?)
    }
}

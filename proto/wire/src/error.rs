//! Why bytes are no message.

/// Why a byte sequence is not a message that this version understands.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum WireError {
    /// Fewer bytes than a header has.
    #[error("{0} bytes are too few for a frame, whose header has {len}", len = crate::HEADER_LEN)]
    Short(usize),
    /// The header announces more than its kind of frame may carry.
    #[error("a frame of kind {kind} announces {length} bytes, its limit is {limit}")]
    TooLong {
        /// The frame's number.
        kind: u16,
        /// Bytes announced.
        length: u32,
        /// Bytes allowed.
        limit: u32,
    },
    /// The header's length is not the payload's.
    #[error("the header announces {announced} bytes, the frame carries {carried}")]
    Length {
        /// Bytes announced.
        announced: u32,
        /// Bytes there.
        carried: usize,
    },
    /// A frame that must be understood, and is not.
    #[error("frames of kind {0} are not known to this version: update the older program")]
    Unknown(u16),
    /// The payload is not what its kind of frame carries.
    #[error("the payload of a frame of kind {kind} cannot be decoded: {why}")]
    Payload {
        /// The frame's number.
        kind: u16,
        /// What the decoder says.
        why: String,
    },
    /// Bytes are left over behind the payload.
    #[error("{left} bytes are left over behind the payload of a frame of kind {kind}")]
    LeftOver {
        /// The frame's number.
        kind: u16,
        /// How many.
        left: usize,
    },
    /// A number or a text that cannot be meant.
    #[error("{field} is out of range: {why}")]
    Range {
        /// Which field.
        field: &'static str,
        /// What is wrong with it.
        why: String,
    },
}

impl WireError {
    /// A field that says something impossible.
    pub(crate) fn range(field: &'static str, why: impl ToString) -> Self {
        Self::Range {
            field,
            why: why.to_string(),
        }
    }
}

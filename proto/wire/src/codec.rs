//! Plain structs to bytes and back: the only place that names bincode.

use bincode::{Decode, Encode, config};

use crate::error::WireError;
use crate::frame::{self, Header, PAYLOAD_MAX};

/// Variable-length little-endian integers, and never more memory than the longest payload.
const CONFIG: config::Configuration<config::LittleEndian, config::Varint, config::Limit<{ PAYLOAD_MAX as usize * 4 }>> =
    config::standard().with_limit::<{ PAYLOAD_MAX as usize * 4 }>();

/// The frame of `kind` that carries `content`.
pub(crate) fn encode(kind: u16, content: impl Encode) -> Vec<u8> {
    // Plain integers, byte arrays, strings and lists of them always encode.
    let payload = bincode::encode_to_vec(content, CONFIG).unwrap_or_default();
    frame::join(kind, &payload)
}

/// What `payload` carries, every byte of it.
pub(crate) fn decode<T: Decode<()>>(header: Header, payload: &[u8]) -> Result<T, WireError> {
    let kind = header.kind;
    let (content, used) = bincode::decode_from_slice(payload, CONFIG).map_err(|error| WireError::Payload {
        kind,
        why: error.to_string(),
    })?;
    if used == payload.len() {
        Ok(content)
    } else {
        Err(WireError::LeftOver {
            kind,
            left: payload.len() - used,
        })
    }
}

//! The frame header: number, flags and length, little endian.

use crate::error::WireError;

/// Bytes of a header: kind (`u16`), flags (`u8`), length of the payload (`u32`), little endian.
pub const HEADER_LEN: usize = 7;
/// The flag of a frame that a receiver must understand or else end the link.
pub const MUST_UNDERSTAND: u8 = 1;
/// The most bytes that any payload may have, known kind or not: a full batch of reports takes about a third of it.
pub const PAYLOAD_MAX: u32 = 16 * 1024;

/// A parsed header.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) struct Header {
    pub(crate) kind: u16,
    pub(crate) flags: u8,
    pub(crate) length: u32,
}

/// The length of the whole frame that starts with `start`, of which at least [`HEADER_LEN`] bytes are there.
///
/// Refuses a frame that is longer than its kind may be, before anything of it is read.
pub fn frame_len(start: &[u8]) -> Result<usize, WireError> {
    Ok(HEADER_LEN + Header::parse(start)?.length as usize)
}

impl Header {
    pub(crate) fn parse(start: &[u8]) -> Result<Self, WireError> {
        let Some([k0, k1, flags, l0, l1, l2, l3]) = start.first_chunk::<HEADER_LEN>().copied() else {
            return Err(WireError::Short(start.len()));
        };
        let header = Self {
            kind: u16::from_le_bytes([k0, k1]),
            flags,
            length: u32::from_le_bytes([l0, l1, l2, l3]),
        };
        let limit = limit_of(header.kind);
        if header.length > limit {
            return Err(WireError::TooLong {
                kind: header.kind,
                length: header.length,
                limit,
            });
        }
        Ok(header)
    }
}

/// The header and payload of a whole frame.
pub(crate) fn split(frame: &[u8]) -> Result<(Header, &[u8]), WireError> {
    let header = Header::parse(frame)?;
    let payload = &frame[HEADER_LEN..];
    if payload.len() == header.length as usize {
        Ok((header, payload))
    } else {
        Err(WireError::Length {
            announced: header.length,
            carried: payload.len(),
        })
    }
}

/// A frame of `kind` around `payload`.
pub(crate) fn join(kind: u16, payload: &[u8]) -> Vec<u8> {
    let mut frame = Vec::with_capacity(HEADER_LEN + payload.len());
    frame.extend(kind.to_le_bytes());
    frame.push(flags_of(kind));
    frame.extend((payload.len() as u32).to_le_bytes());
    frame.extend(payload);
    frame
}

/// The numbers of all frames. A retired one stays listed, with the version that last sent it.
pub(crate) mod kind {
    pub(crate) const HELLO: u16 = 1;
    pub(crate) const REPORTS: u16 = 2;
    pub(crate) const STATION_BEAT: u16 = 3;
    pub(crate) const LEAVE: u16 = 4;
    pub(crate) const PAIR_START: u16 = 5;
    pub(crate) const PAIR_CONFIRM: u16 = 6;
    pub(crate) const KNOCK: u16 = 7;
    pub(crate) const TAKE_OVER: u16 = 8;
    pub(crate) const GIVE_UP: u16 = 9;
    pub(crate) const HELP: u16 = 10;
    pub(crate) const PROPOSE: u16 = 11;
    pub(crate) const WELCOME: u16 = 101;
    pub(crate) const AGREEMENT: u16 = 102;
    pub(crate) const ACKED: u16 = 103;
    pub(crate) const COORDINATOR_BEAT: u16 = 104;
    pub(crate) const REFUSED: u16 = 105;
    pub(crate) const PAIR_REPLY: u16 = 106;
    pub(crate) const PAIR_ACCEPT: u16 = 107;
    pub(crate) const RESTING: u16 = 108;
    pub(crate) const ADMITTED: u16 = 109;
    pub(crate) const TAKE_OVER_ASKED: u16 = 110;
    pub(crate) const TAKE_OVER_DENIED: u16 = 111;
    pub(crate) const TONES: u16 = 112;
    pub(crate) const PLACES: u16 = 113;
    pub(crate) const WATCH: u16 = 201;
    pub(crate) const DEPUTY_BEAT: u16 = 202;
    pub(crate) const ORDER: u16 = 203;
    pub(crate) const HARP_PICTURE: u16 = 301;
    pub(crate) const PICTURE: u16 = 302;
    pub(crate) const DONE: u16 = 303;
    pub(crate) const DEPUTY_REFUSED: u16 = 304;
    pub(crate) const HINDSIGHT: u16 = 305;
    pub(crate) const ANSWERS: u16 = 306;
}

/// The flags of a frame of `kind`: what came after the freeze may be missed.
const fn flags_of(kind: u16) -> u8 {
    match kind {
        kind::TONES | kind::PLACES | kind::HINDSIGHT | kind::ANSWERS => 0,
        _ => MUST_UNDERSTAND,
    }
}

/// The most bytes that a payload of `kind` may have.
///
/// A stranger's first word is a hello, so what a stranger can make the coordinator hold is 4 KiB: a harp of 63 strings
/// with long names takes about a third of that.
/// What is said while a code is proven is two names and 65 bytes at most.
/// The agreement carries the names of all seats, so that it may be as long as any payload.
const fn limit_of(kind: u16) -> u32 {
    match kind {
        kind::HELLO | kind::HARP_PICTURE | kind::HINDSIGHT => 4 * 1024,
        kind::PAIR_START
        | kind::PAIR_CONFIRM
        | kind::PAIR_REPLY
        | kind::PAIR_ACCEPT
        | kind::KNOCK
        | kind::ADMITTED
        | kind::TAKE_OVER_ASKED
        | kind::ANSWERS
        | kind::ORDER => 512,
        kind::PICTURE | kind::PLACES => 1024,
        kind::STATION_BEAT
        | kind::LEAVE
        | kind::TAKE_OVER
        | kind::GIVE_UP
        | kind::HELP
        | kind::PROPOSE
        | kind::TAKE_OVER_DENIED
        | kind::TONES
        | kind::WATCH
        | kind::DEPUTY_BEAT
        | kind::DONE
        | kind::DEPUTY_REFUSED
        | kind::WELCOME
        | kind::ACKED
        | kind::COORDINATOR_BEAT
        | kind::REFUSED
        | kind::RESTING => 64,
        _ => PAYLOAD_MAX,
    }
}

//! Lower-case base 32 without padding (RFC 4648 alphabet): bytes as text that survives being read aloud or pasted.

/// The alphabet of RFC 4648, §6, in lower case.
const ALPHABET: &[u8; 32] = b"abcdefghijklmnopqrstuvwxyz234567";

/// `bytes` as text.
pub(crate) fn encode(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len() * 8 / 5 + 1);
    let (mut bits, mut held) = (0_u32, 0_u32);
    for &byte in bytes {
        bits = bits << 8 | u32::from(byte);
        held += 8;
        while held >= 5 {
            held -= 5;
            text.push(char::from(ALPHABET[(bits >> held & 31) as usize]));
        }
        bits &= (1 << held) - 1;
    }
    if held > 0 {
        text.push(char::from(ALPHABET[(bits << (5 - held) & 31) as usize]));
    }
    text
}

/// The bytes that `text` stands for; `None` for other characters, and for left-over bits that are not zero.
pub(crate) fn decode(text: &str) -> Option<Vec<u8>> {
    let mut bytes = Vec::with_capacity(text.len() * 5 / 8);
    let (mut bits, mut held) = (0_u32, 0_u32);
    for c in text.bytes() {
        let value = ALPHABET.iter().position(|&letter| letter == c.to_ascii_lowercase())?;
        bits = bits << 5 | value as u32;
        held += 5;
        if held >= 8 {
            held -= 8;
            bytes.push((bits >> held & 255) as u8);
        }
        bits &= (1 << held) - 1;
    }
    (held < 5 && bits == 0).then_some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648, §10, test vectors, without padding and in lower case.
    #[test]
    fn agrees_with_the_vectors_of_rfc_4648() {
        for (plain, text) in [
            ("", ""),
            ("f", "my"),
            ("fo", "mzxq"),
            ("foo", "mzxw6"),
            ("foob", "mzxw6yq"),
            ("fooba", "mzxw6ytb"),
            ("foobar", "mzxw6ytboi"),
        ] {
            assert_eq!(encode(plain.as_bytes()), text);
            assert_eq!(decode(text).as_deref(), Some(plain.as_bytes()));
        }
    }

    #[test]
    fn refuses_other_characters_and_left_over_bits() {
        for bad in ["1", "m!", "mz1q", "mzxr", "mzx"] {
            assert_eq!(decode(bad), None, "{bad}");
        }
    }
}

//! Names of players and ensembles: what a person typed, made safe to show on any screen.

use std::fmt;
use std::str::FromStr;
use std::sync::Arc;

use unicode_normalization::UnicodeNormalization;

/// A person's or an ensemble's name: NFC, 1 to 40 characters, at most 160 bytes, nothing invisible. A copy costs nothing.
#[derive(Clone, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub struct Name(Arc<str>);

/// Why a text is not a name.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
pub enum NotAName {
    /// Nothing but spaces.
    #[error("a name needs at least one letter")]
    Empty,
    /// Longer than a row on the board.
    #[error("a name has at most {max} characters", max = Name::CHARS_MAX)]
    TooLong,
    /// A control character, or one that turns or hides what follows.
    #[error("a name has no invisible or direction-changing characters")]
    Invisible,
}

impl Name {
    /// The most characters in a name.
    pub const CHARS_MAX: usize = 40;
    /// The most bytes in a name.
    pub const BYTES_MAX: usize = 160;

    /// The name as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for Name {
    type Err = NotAName;

    fn from_str(text: &str) -> Result<Self, NotAName> {
        let name: String = text.trim().nfc().take(Self::CHARS_MAX + 1).collect();
        if name.is_empty() {
            return Err(NotAName::Empty);
        }
        if name.chars().count() > Self::CHARS_MAX || name.len() > Self::BYTES_MAX {
            return Err(NotAName::TooLong);
        }
        if name.chars().any(is_invisible) {
            return Err(NotAName::Invisible);
        }
        Ok(Self(name.into()))
    }
}

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Control, zero-width, bidirectional and private-use characters.
pub(crate) fn is_invisible(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{00ad}' | '\u{034f}' | '\u{061c}' | '\u{115f}'..='\u{1160}' | '\u{17b4}'..='\u{17b5}' | '\u{180b}'..='\u{180f}'
            | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{3164}' | '\u{e000}'..='\u{f8ff}'
            | '\u{feff}' | '\u{ffa0}' | '\u{fff0}'..='\u{fffb}' | '\u{e0000}'..='\u{e0fff}' | '\u{f0000}'..='\u{10ffff}')
}

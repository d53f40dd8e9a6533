//! What the harpist reads: the advice lines of a station, one JSON object for each change.

use serde::Deserialize;

/// One line of advice; other lines of the station are none.
#[derive(Clone, Debug, Deserialize, PartialEq)]
pub struct AdviceLine {
    /// Number of the string from the top; `None` when all is set.
    pub string: Option<u8>,
    /// The large word.
    pub word: Word,
    /// How far the string is above its target, where that is said.
    pub cents: Option<f64>,
    /// Why.
    pub why: String,
    /// Where the pin is.
    pub place: Option<String>,
}

/// The large word of the desk, as the harpist understands it.
#[derive(Clone, Copy, Debug, Deserialize, Eq, Ord, PartialEq, PartialOrd)]
#[serde(from = "String")]
pub enum Word {
    /// Pluck this string.
    Pluck,
    /// Pluck it again, alone.
    Again,
    /// Raise it.
    Tighten,
    /// Lower it.
    Loosen,
    /// Leave it ringing until it is measured.
    LetItRing,
    /// In tune; pluck it once more.
    OnceMore,
    /// It holds.
    Holds,
    /// Leave it as it is.
    LeaveIt,
    /// Is the key on its pin?
    WhichPin,
    /// Is its pedal up?
    PedalUp,
    /// Is its lever down?
    LeverDown,
    /// Near enough for the quick pass: on to the next one.
    NextOne,
    /// Nothing is left.
    AllSet,
    /// A word that this harpist does not know: she waits for the next one.
    Other,
}

impl From<String> for Word {
    fn from(word: String) -> Self {
        match word.as_str() {
            "Pluck" => Self::Pluck,
            "Again" => Self::Again,
            "Tighten" => Self::Tighten,
            "Loosen" => Self::Loosen,
            "Let it ring" => Self::LetItRing,
            "Once more" => Self::OnceMore,
            "Holds" => Self::Holds,
            "Leave it" => Self::LeaveIt,
            "Which pin?" => Self::WhichPin,
            "Pedal up?" => Self::PedalUp,
            "Lever down?" => Self::LeverDown,
            "Next one" => Self::NextOne,
            "All set" => Self::AllSet,
            _ => Self::Other,
        }
    }
}

impl AdviceLine {
    /// The advice in `line`; `None` when the line is something else.
    pub fn parse(line: &str) -> Option<Self> {
        serde_json::from_str(line).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_of_advice_is_told_from_other_lines() {
        let line = r#"{"string":26,"word":"Let it ring","cents":0.51,"why":"Close enough.","place":"middle C"}"#;
        let advice = AdviceLine::parse(line).expect("advice");
        assert_eq!(
            (advice.string, advice.word, advice.cents),
            (Some(26), Word::LetItRing, Some(0.51))
        );
        let done = r#"{"string":null,"word":"All set","cents":null,"why":"Every string holds.","place":null}"#;
        assert_eq!(AdviceLine::parse(done).expect("advice").word, Word::AllSet);
        for other in [
            r#"{"event":"link","state":"alone","unsent":0}"#,
            "The desk: http://127.0.0.1",
            "",
        ] {
            assert_eq!(AdviceLine::parse(other), None, "{other}");
        }
    }
}

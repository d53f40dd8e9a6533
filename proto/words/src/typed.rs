//! What was typed and cannot be meant, in one sentence that says what to type instead.

use clap::error::{ContextKind, ContextValue, ErrorKind};

use crate::{Arg, Key, Words};

impl Words {
    /// What is wrong with the words that a program was started with.
    pub fn typed(&self, why: &clap::Error) -> String {
        let text = |kind| match why.get(kind) {
            Some(ContextValue::String(text)) => Some(text.clone()),
            Some(ContextValue::Strings(texts)) => Some(texts.join(", ")),
            _ => None,
        };
        let word = text(ContextKind::InvalidArg).unwrap_or_default();
        let value = text(ContextKind::InvalidValue).unwrap_or_default();
        if let (ErrorKind::ValueValidation, Some(source)) = (why.kind(), std::error::Error::source(why)) {
            let why = source.to_string();
            // Our own types say all of it; a number or an address says only what it is not.
            if why.contains([':', '“']) || why.contains(&value) {
                return why;
            }
            let places = [
                ("word", Arg::from(word)),
                ("value", Arg::from(value)),
                ("why", Arg::from(why)),
            ];
            return self.say(Key::TypedValueRefused, &places);
        }
        let say = |key, word: String| self.say(key, &[("word", Arg::from(word))]);
        match why.kind() {
            ErrorKind::UnknownArgument => say(Key::TypedUnknownOption, word),
            ErrorKind::InvalidSubcommand => say(
                Key::TypedUnknownOrder,
                text(ContextKind::InvalidSubcommand).unwrap_or_default(),
            ),
            ErrorKind::InvalidValue if value.is_empty() => say(Key::TypedValueMissing, word),
            ErrorKind::InvalidValue => self.say(
                Key::TypedValueUnknown,
                &[
                    ("word", Arg::from(word)),
                    ("value", Arg::from(value)),
                    ("known", Arg::from(text(ContextKind::ValidValue).unwrap_or_default())),
                ],
            ),
            ErrorKind::MissingRequiredArgument | ErrorKind::TooFewValues | ErrorKind::WrongNumberOfValues => {
                say(Key::TypedMissing, word)
            }
            ErrorKind::ArgumentConflict => say(Key::TypedConflict, word),
            // What the parser says, without its heading and its usage lines.
            _ => {
                let whole = why.to_string();
                let first = whole.lines().next().unwrap_or_default();
                first.trim_start_matches("error: ").to_owned()
            }
        }
    }
}

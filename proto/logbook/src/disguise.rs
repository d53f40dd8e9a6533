//! What is not written into logbooks, and what stands in its place.

use std::collections::BTreeMap;

use consort_proto::{JoinCode, JoinToken};

/// Remembers what was disguised as what, for one logbook: the same is always disguised as the same.
#[derive(Debug, Default)]
pub struct Disguise {
    names: BTreeMap<String, String>,
    codes: Vec<JoinCode>,
    tokens: Vec<JoinToken>,
}

impl Disguise {
    /// What stands for a name of a person, an ensemble or a harp.
    pub fn name(&mut self, name: &str) -> String {
        if let Some(disguised) = self.names.get(name) {
            return disguised.clone();
        }
        let disguised = format!("Name {}", self.names.len() + 1);
        self.names.insert(name.to_owned(), disguised.clone());
        disguised
    }

    pub(crate) fn code(&mut self, code: JoinCode) -> JoinCode {
        JoinCode::drawn(number(&mut self.codes, code))
    }

    pub(crate) fn token(&mut self, token: JoinToken) -> JoinToken {
        let number = number(&mut self.tokens, token);
        let mut disguised = [0; 16];
        disguised[8..].copy_from_slice(&number.to_be_bytes());
        JoinToken(disguised)
    }

    /// The text of an effect with every quoted name disguised; a name that was in no event is new here.
    pub(crate) fn text(&self, text: &str) -> String {
        let mut disguised = String::with_capacity(text.len());
        let mut rest = text;
        while let Some(begin) = rest.find('"') {
            let quoted = &rest[begin + 1..];
            let Some(length) = end_of_quote(quoted) else { break };
            disguised.push_str(&rest[..=begin]);
            let name = unescaped(&quoted[..length]);
            disguised.push_str(self.names.get(&name).map_or(&quoted[..length], String::as_str));
            disguised.push('"');
            rest = &quoted[length + 1..];
        }
        disguised.push_str(rest);
        disguised
    }
}

/// The place of `new` among those seen before, counted from 1; it is added when it is not among them.
fn number<T: Copy + PartialEq>(seen: &mut Vec<T>, new: T) -> u64 {
    let place = seen.iter().position(|&old| old == new).unwrap_or_else(|| {
        seen.push(new);
        seen.len() - 1
    });
    place as u64 + 1
}

/// How long the text is up to the quotation mark that ends it.
fn end_of_quote(text: &str) -> Option<usize> {
    let mut escaped = false;
    text.char_indices().find_map(|(at, c)| {
        let ends = c == '"' && !escaped;
        escaped = c == '\\' && !escaped;
        ends.then_some(at)
    })
}

/// What was escaped when it was printed; names hold nothing that is escaped but quotation marks and backslashes.
fn unescaped(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    let mut escaped = false;
    for c in text.chars() {
        escaped = c == '\\' && !escaped;
        if !escaped {
            plain.push(c);
        }
    }
    plain
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_name_is_always_disguised_as_the_same_and_two_never_are() {
        let mut disguise = Disguise::default();
        assert_eq!(disguise.name("Ilse"), "Name 1");
        assert_eq!(disguise.name("Name 1"), "Name 2");
        assert_eq!(disguise.name("Ilse"), "Name 1");
    }

    #[test]
    fn names_in_the_text_of_an_effect_are_disguised_whatever_they_hold() {
        let mut disguise = Disguise::default();
        for name in ["Ilse", "the \"low\" one", r"back\slash"] {
            disguise.name(name);
        }
        let names = ("Ilse", "the \"low\" one", r"back\slash", "someone");
        assert_eq!(
            disguise.text(&format!("{names:?} \"")),
            r#"("Name 1", "Name 2", "Name 3", "someone") ""#
        );
    }

    #[test]
    fn codes_and_tokens_are_told_apart_and_not_told() {
        let mut disguise = Disguise::default();
        let (one, other) = (JoinCode::drawn(4_829_137), JoinCode::drawn(5_555_555));
        let disguised = disguise.code(one);
        assert_ne!(disguised, one);
        assert_ne!(disguise.code(other), disguised);
        assert_eq!(disguise.code(one), disguised);
        let token = JoinToken([9; 16]);
        assert_ne!(disguise.token(token), token);
    }
}

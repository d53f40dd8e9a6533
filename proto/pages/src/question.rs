//! What a person is asked on a page: a sentence, and answers that the page sends as they are.

use serde::Serialize;
use serde_json::Value;

/// A question.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Question {
    /// What is asked, in a sentence.
    pub says: String,
    /// What can be answered; none where there is only something to wait for.
    pub answers: Vec<Answer>,
}

/// An answer to a [`Question`].
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Answer {
    /// What stands on its button.
    pub says: String,
    /// What the page sends when it is chosen: an order of control, a wish of the desk.
    pub body: Value,
}

impl Question {
    /// The question `says`, with answers as pairs of what they say and what they send.
    pub fn new(says: String, answers: impl IntoIterator<Item = (String, Value)>) -> Self {
        let answers = answers.into_iter().map(|(says, body)| Answer { says, body });
        Self {
            says,
            answers: answers.collect(),
        }
    }
}

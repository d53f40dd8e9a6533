//! An adviser who knows the truth: what a harpist would read from a station that never errs.

use consort_harp::deed::{Deed, Done};
use consort_harp::{AdviceLine, Harpist, Word};
use consort_proto::{Harp, Tolerance};

/// What a perfect adviser would say: it knows the truth and follows the string that was plucked last.
pub(crate) struct Adviser {
    string: Option<u8>,
    plucked_s: f64,
    said: Option<AdviceLine>,
    holds: Vec<u32>,
}

impl Adviser {
    pub(crate) fn new(harp: &Harp) -> Self {
        Self {
            string: None,
            plucked_s: 0.0,
            said: None,
            holds: vec![0; harp.len()],
        }
    }

    /// What has changed on the screen since it was last asked.
    pub(crate) fn advise(&mut self, harpist: &Harpist, done: &[Done]) -> Vec<AdviceLine> {
        for done in done {
            if let Deed::Plucked { string, .. } = done.deed {
                (self.string, self.plucked_s) = (Some(string), done.time_s);
            }
        }
        let Some(string) = self.string.filter(|_| harpist.now_s() - self.plucked_s > 0.3) else {
            return Vec::new();
        };
        let truth = &harpist.standing(&Tolerance::default())[usize::from(string) - 1];
        let settled = harpist.now_s() - self.plucked_s > 1.4;
        let word = match truth.cents {
            cents if cents > 75.0 => Word::PedalUp,
            cents if cents.abs() > 105.0 => Word::WhichPin,
            _ if truth.is_in_tune() && settled => {
                let holds = &mut self.holds[usize::from(string) - 1];
                *holds += 1;
                if *holds > 1 { Word::Holds } else { Word::OnceMore }
            }
            _ if truth.is_in_tune() => Word::LetItRing,
            cents if cents > 0.0 => Word::Loosen,
            _ => Word::Tighten,
        };
        if settled {
            self.string = None;
        }
        let open = self.holds.iter().filter(|holds| **holds < 2).count();
        let line = if open == 0 {
            AdviceLine {
                string: None,
                word: Word::AllSet,
                cents: None,
                why: String::new(),
                place: None,
            }
        } else {
            let cents = Some((truth.cents * 10.0).round() / 10.0);
            AdviceLine {
                string: Some(string),
                word,
                cents,
                why: String::new(),
                place: None,
            }
        };
        let changed = self.said.as_ref() != Some(&line);
        self.said = Some(line.clone());
        if changed { vec![line] } else { Vec::new() }
    }
}

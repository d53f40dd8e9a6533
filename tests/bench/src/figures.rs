//! What a measure found: figures beside their goals, as lines to read and as a file to keep.

use std::path::PathBuf;

use serde::Serialize;

use crate::report;

/// The figures of one measure, in the order in which they were found.
#[derive(Debug, Serialize)]
pub(crate) struct Figures {
    measure: &'static str,
    figures: Vec<Figure>,
    #[serde(skip)]
    file: Option<PathBuf>,
}

/// One figure.
#[derive(Debug, Serialize)]
struct Figure {
    what: String,
    value: f64,
    unit: &'static str,
    /// It is to be no more than this; `None` where it is only told.
    goal: Option<f64>,
    met: Option<bool>,
}

impl Figures {
    /// No figures yet of the measure called `measure`; of its `words` only `--json FILE` is known.
    pub(crate) fn new(measure: &'static str, words: &[String]) -> Result<Self, String> {
        let file = match words {
            [] => None,
            [word, file] if word == "--json" => Some(PathBuf::from(file)),
            [word] if word == "--json" => return Err("--json needs a file".to_owned()),
            _ => return Err(format!("takes no options but --json FILE, not “{}”", words.join(" "))),
        };
        Ok(Self {
            measure,
            figures: Vec::new(),
            file,
        })
    }

    /// Tells a figure that has no goal.
    pub(crate) fn tell(&mut self, what: impl Into<String>, value: f64, unit: &'static str) {
        self.add(what.into(), value, unit, None);
    }

    /// Compares a figure with the goal that it is not to exceed.
    pub(crate) fn at_most(&mut self, goal: f64, what: impl Into<String>, value: f64, unit: &'static str) {
        self.add(what.into(), value, unit, Some(goal));
    }

    /// Writes the file, if one is wanted.
    pub(crate) fn close(self) -> Result<(), String> {
        let Some(path) = &self.file else { return Ok(()) };
        let text = serde_json::to_string_pretty(&self).map_err(|why| why.to_string())?;
        std::fs::write(path, text + "\n").map_err(|why| format!("{} cannot be written: {why}", path.display()))
    }

    fn add(&mut self, what: String, value: f64, unit: &'static str, goal: Option<f64>) {
        let figure = Figure {
            what,
            value,
            unit,
            goal,
            met: goal.map(|goal| value <= goal),
        };
        report(&figure.line());
        self.figures.push(figure);
    }
}

impl Figure {
    fn line(&self) -> String {
        let Self { what, value, unit, .. } = self;
        let beside = self.goal.map_or_else(String::new, |goal| {
            let verdict = if self.met == Some(true) { "met" } else { "missed" };
            format!("   at most {goal} {unit}: {verdict}")
        });
        format!("  {what:<44} {value:>8.1} {unit}{beside}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_at_its_goal_has_met_it_and_one_beyond_has_not() {
        let mut figures = Figures::new("test", &[]).expect("no options");
        figures.at_most(100.0, "a change of pitch", 100.0, "ms");
        figures.at_most(100.0, "a change of pitch", 100.1, "ms");
        figures.tell("strings", 47.0, "strings");
        let met: Vec<_> = figures.figures.iter().map(|figure| figure.met).collect();
        assert_eq!(met, [Some(true), Some(false), None]);
        assert!(figures.figures[1].line().ends_with("100.1 ms   at most 100 ms: missed"));
    }

    #[test]
    fn what_is_no_number_has_not_met_its_goal() {
        let mut figures = Figures::new("test", &[]).expect("no options");
        figures.at_most(100.0, "nothing was heard", f64::NAN, "ms");
        assert_eq!(figures.figures[0].met, Some(false));
    }

    #[test]
    fn an_option_that_is_unknown_is_named() {
        let words = ["--fast".to_owned()];
        let why = Figures::new("test", &words).expect_err("no such option");
        assert_eq!(why, "takes no options but --json FILE, not “--fast”");
    }
}

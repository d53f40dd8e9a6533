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
    /// What it is compared with; `None` where it is only told.
    goal: Option<f64>,
    /// Whether more than the goal is better than less.
    at_least: bool,
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
        Ok(Self::kept_in(measure, file))
    }

    /// No figures yet of the measure called `measure`, to be kept in `file` if there is one.
    pub(crate) const fn kept_in(measure: &'static str, file: Option<PathBuf>) -> Self {
        Self {
            measure,
            figures: Vec::new(),
            file,
        }
    }

    /// Tells a figure that has no goal.
    pub(crate) fn tell(&mut self, what: impl Into<String>, value: f64, unit: &'static str) {
        self.add(what.into(), value, unit, None, false);
    }

    /// Compares a figure with the goal that it is to reach.
    pub(crate) fn at_least(&mut self, goal: f64, what: impl Into<String>, value: f64, unit: &'static str) {
        self.add(what.into(), value, unit, Some(goal), true);
    }

    /// Compares a figure with the goal that it is not to exceed.
    pub(crate) fn at_most(&mut self, goal: f64, what: impl Into<String>, value: f64, unit: &'static str) {
        self.add(what.into(), value, unit, Some(goal), false);
    }

    /// Writes the file, if one is wanted.
    pub(crate) fn close(self) -> Result<(), String> {
        let Some(path) = &self.file else { return Ok(()) };
        let text = serde_json::to_string_pretty(&self).map_err(|why| why.to_string())?;
        std::fs::write(path, text + "\n").map_err(|why| format!("{} cannot be written: {why}", path.display()))
    }

    fn add(&mut self, what: String, value: f64, unit: &'static str, goal: Option<f64>, at_least: bool) {
        let figure = Figure {
            what,
            value,
            unit,
            goal,
            at_least,
            met: goal.map(|goal| if at_least { value >= goal } else { value <= goal }),
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
            let bound = if self.at_least { "at least" } else { "at most" };
            format!("   {bound} {goal} {unit}: {verdict}")
        });
        // Two digits that count, so that a small figure is not printed as nothing.
        let digits = if value.abs() < 10.0 { 2 } else { 1 };
        format!("  {what:<44} {value:>8.digits$} {unit}{beside}")
    }
}

/// Takes `option` and its value out of the words of a measure, if it is there.
pub(crate) fn take(option: &str, words: &mut Vec<String>) -> Result<Option<String>, String> {
    let Some(at) = words.iter().position(|word| word == option) else {
        return Ok(None);
    };
    if at + 1 == words.len() {
        return Err(format!("{option} needs a value"));
    }
    words.remove(at);
    Ok(Some(words.remove(at)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_option_is_taken_out_with_its_value() {
        let mut words = ["--only", "kill", "--json", "file"].map(str::to_owned).to_vec();
        assert_eq!(take("--only", &mut words), Ok(Some("kill".to_owned())));
        assert_eq!(words, ["--json", "file"]);
        assert_eq!(take("--only", &mut words), Ok(None));
        let mut words = vec!["--only".to_owned()];
        assert_eq!(take("--only", &mut words), Err("--only needs a value".to_owned()));
    }

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
    fn a_figure_that_is_to_be_reached_is_met_from_its_goal_on() {
        let mut figures = Figures::new("test", &[]).expect("no options");
        figures.at_least(90.0, "named", 90.0, "%");
        figures.at_least(90.0, "named", 89.9, "%");
        figures.at_least(90.0, "named", f64::NAN, "%");
        let met: Vec<_> = figures.figures.iter().map(|figure| figure.met).collect();
        assert_eq!(met, [Some(true), Some(false), Some(false)]);
        assert!(figures.figures[1].line().ends_with("89.9 %   at least 90 %: missed"));
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

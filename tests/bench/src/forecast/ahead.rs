//! What would remain three minutes ahead, by register: foretold when a start is called for, beside what remained when it came.

use consort_outlook::Register;

use super::tunings::{Called, Left};
use crate::figures::Figures;
use crate::statistics::quantile;

/// When starts are called for, as shares of a tuning: later on most harps are ready within the three minutes.
pub(super) const CALLED_AT: [f64; 4] = [0.15, 0.3, 0.45, 0.6];
/// Harps of a section.
const SECTION: usize = 12;

/// Strings foretold beside strings that remained.
#[derive(Debug, Default)]
struct Errors {
    /// Foretold less remained, strings.
    errors: Vec<f64>,
    remained: f64,
}

/// What was foretold of single harps and of sections, beside what was true.
#[derive(Debug, Default)]
pub(super) struct Ahead {
    harps: Errors,
    /// Of sections, in each register and in all of them.
    registers: [Errors; Register::ALL.len()],
    sections: Errors,
    /// What a section would be foretold by whoever takes it for what it is at the call.
    as_it_is: Errors,
    /// Harps of the section that is being gathered, one for each of [`CALLED_AT`].
    gathered: [Vec<Called>; CALLED_AT.len()],
}

impl Errors {
    fn add(&mut self, foretold: f64, remained: f64) {
        self.errors.push(foretold - remained);
        self.remained += remained;
    }

    fn tell(mut self, figures: &mut Figures, what: &str) {
        let count = self.errors.len().max(1) as f64;
        let bias = self.errors.iter().sum::<f64>() / count;
        let sizes = &mut self.errors;
        sizes.iter_mut().for_each(|error| *error = error.abs());
        figures.tell(
            format!("{what}: remained, in the mean"),
            self.remained / count,
            "strings",
        );
        figures.tell(format!("{what}: error, median"), quantile(sizes, 0.5), "strings");
        figures.tell(
            format!("{what}: error, 80 of 100 within"),
            quantile(sizes, 0.8),
            "strings",
        );
        figures.tell(format!("{what}: too many, in the mean"), bias, "strings");
    }
}

/// Strings off or not heard in all registers.
fn all(left: &Left) -> f64 {
    left.iter().map(|one| (one.off + one.not_heard) as f64).sum()
}

impl Ahead {
    /// Takes in what came of the call number `moment` of one harp.
    pub(super) fn add(&mut self, moment: usize, called: Called) {
        self.harps.add(all(&called.foretold), all(&called.remained));
        let gathered = &mut self.gathered[moment];
        gathered.push(called);
        if gathered.len() == SECTION {
            for (place, errors) in self.registers.iter_mut().enumerate() {
                let strings = |left: &Left| (left[place].off + left[place].not_heard) as f64;
                let foretold = gathered.iter().map(|called| strings(&called.foretold)).sum();
                errors.add(foretold, gathered.iter().map(|called| strings(&called.remained)).sum());
            }
            let sum = |of: fn(&Called) -> &Left| gathered.iter().map(|called| all(of(called))).sum::<f64>();
            let remained = sum(|called| &called.remained);
            self.sections.add(sum(|called| &called.foretold), remained);
            self.as_it_is.add(sum(|called| &called.at_the_call), remained);
            gathered.clear();
        }
    }

    pub(super) fn tell(self, figures: &mut Figures) {
        self.harps.tell(figures, "one harp");
        for (register, errors) in Register::ALL.into_iter().zip(self.registers) {
            errors.tell(figures, &format!("{SECTION} harps, {}", register.word()));
        }
        self.as_it_is
            .tell(figures, &format!("{SECTION} harps, taken as they are at the call"));
        self.sections.tell(figures, &format!("{SECTION} harps"));
    }

    /// Median error of a section as a share of what remained of it.
    #[cfg(test)]
    pub(super) fn error_of_sections(&self) -> f64 {
        let count = self.sections.errors.len() as f64;
        let mut sizes: Vec<f64> = self.sections.errors.iter().map(|error| error.abs()).collect();
        quantile(&mut sizes, 0.5) / (self.sections.remained / count)
    }
}

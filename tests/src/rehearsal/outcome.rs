//! What came of it: every string as the board has it, beside the truth.

use consort_harp::TrueString;
use serde_json::Value;

use super::cast::Part;
use super::player::Progress;

/// One harp at the end, or at any moment.
#[derive(Debug)]
pub(crate) struct Outcome<'a> {
    part: &'a Part,
    progress: &'a Progress,
    /// What the coordinator has of this station.
    station: &'a Value,
}

/// What can move between the last pluck of a string and the end: the frame gives as others are raised, materials drift.
///
/// Nobody can hear that without a pluck, so a string that the board shows as holding may stand so far beyond its tolerance.
const MOVED_SINCE_CENTS: f64 = 1.5;
/// Columns of the table of strings.
const COLUMNS: usize = 4;

impl<'a> Outcome<'a> {
    /// What `status` says of the part's station, beside the truth in `progress`.
    pub(crate) fn of(part: &'a Part, progress: &'a Progress, status: &'a Value) -> Result<Self, String> {
        let stations = status["stations"].as_array().ok_or("the status has no stations")?;
        let station = stations.iter().find(|station| station["name"] == part.player);
        Ok(Self {
            part,
            progress,
            station: station.ok_or_else(|| format!("{} is not on the board", part.player))?,
        })
    }

    /// Whether the board shows the harp as ready.
    pub(crate) fn is_ready(&self) -> bool {
        self.station["ready"] == true
    }

    /// Strings that the board has as holding.
    pub(crate) fn holding(&self) -> u64 {
        self.station["holding"].as_u64().unwrap_or_default()
    }

    /// Strings that can hold and are out of tune in truth.
    pub(crate) fn out_of_tune(&self) -> Vec<&'a TrueString> {
        let standing = self.progress.standing.iter();
        standing
            .filter(|string| string.can_hold && !string.is_in_tune())
            .collect()
    }

    /// Whether a string stands further off than what moves unheard can explain.
    pub(crate) fn is_astray(string: &TrueString) -> bool {
        string.cents.abs() > string.tolerance_cents + MOVED_SINCE_CENTS
    }

    /// Strings that can hold, that the board has as holding and that are out of tune in truth, by more than what moves
    /// unheard; a pin that was turned by mistake is heard at the next pluck of its string.
    pub(crate) fn falsely_held(&self) -> Vec<&'a TrueString> {
        let beyond = |string: &&TrueString| Self::is_astray(string);
        let holds = |string: &&TrueString| self.shown(string)["standing"] == "holds";
        let can_hold = |string: &&TrueString| string.can_hold && !self.progress.unheard.has(string.string);
        let standing = self.progress.standing.iter();
        standing.filter(can_hold).filter(beyond).filter(holds).collect()
    }

    /// The harp's part of the table.
    pub(crate) fn table(&self) -> Vec<String> {
        let strings = self.progress.standing.len();
        let in_tune = self
            .progress
            .standing
            .iter()
            .filter(|string| string.is_in_tune())
            .count();
        let mut lines = vec![format!(
            "{}, {} ({}): {in_tune} of {strings} strings in tune, {} hold on the board, {} min {:02} s played; {}",
            self.part.player,
            self.part.harp_word,
            self.part.trouble,
            self.holding(),
            self.progress.played_s as u64 / 60,
            self.progress.played_s as u64 % 60,
            self.station["says"].as_str().unwrap_or_default(),
        )];
        let cells: Vec<String> = self.progress.standing.iter().map(|string| self.cell(string)).collect();
        lines.extend(
            cells
                .chunks(COLUMNS)
                .map(|row| format!("  {}", row.join("   ").trim_end())),
        );
        let aside = self
            .progress
            .standing
            .iter()
            .filter_map(|string| self.set_aside(string));
        lines.extend(aside);
        lines
    }

    /// A string's true and measured cents.
    fn cell(&self, string: &TrueString) -> String {
        let measured = self.shown(string)["cents"].as_f64();
        let measured = measured.map_or_else(|| "–".to_owned(), |cents| format!("{cents:+.2}"));
        let sign = if string.is_in_tune() { ' ' } else { '*' };
        let name = self.part.name_of(string.string);
        format!("{name:>3} {:>+7.2}{sign} {measured:>7}", string.cents)
    }

    /// Why a string is not counted, if it is not.
    fn set_aside(&self, string: &TrueString) -> Option<String> {
        let standing = self.shown(string)["standing"].as_str().unwrap_or_default();
        let wrong = string.wrong.and_then(|wrong| serde_json::to_value(wrong).ok());
        let wrong = wrong.as_ref().and_then(Value::as_str).map_or("nothing", |wrong| wrong);
        (standing != "holds").then(|| {
            format!(
                "  {} is {standing} on the board; in truth {:+.2} cents, {} with it",
                self.part.name_of(string.string),
                string.cents,
                match wrong {
                    "nothing" => "nothing wrong".to_owned(),
                    wrong => format!("a {} the matter", wrong.replace('-', " ")),
                },
            )
        })
    }

    /// How far measured and true lie apart, in cents, for strings that are in tune in truth.
    pub(crate) fn apart(&self) -> Vec<f64> {
        let standing = self.progress.standing.iter();
        standing
            .filter(|string| string.can_hold)
            .filter_map(|string| Some((self.shown(string)["cents"].as_f64()? - string.cents).abs()))
            .collect()
    }

    fn shown(&self, string: &TrueString) -> &'a Value {
        &self.station["strings"][usize::from(string.string) - 1]
    }
}

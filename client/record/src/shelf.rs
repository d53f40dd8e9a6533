//! The string shelf: bought lengths, what was cut from them, what is left, which are bad, and what has to be bought.

use consort_proto::{Material, StringNumber};

use crate::date::Date;
use crate::entry::{NotAnEntry, text};
use crate::finding::{About, Cause, Finding};
use crate::plan::{Replacement, Why};
use crate::visit::Life;

/// A bought length of string; treble lengths yield several strings.
#[derive(Clone, Debug, PartialEq)]
pub struct Length {
    /// Its name, of her own choice, as `3E-2026-a`; a fitting names what it was cut from by it.
    pub name: String,
    /// The day on which it was bought.
    pub bought: Date,
    /// The string that it is for, which says letter, octave and packet number.
    pub string: StringNumber,
    /// What it is made of.
    pub material: Material,
    /// Diameter, millimetres, if known.
    pub gauge_mm: Option<f64>,
    /// How many strings the whole of it yields, 1 to [`YIELDS_MAX`].
    pub yields: u32,
}

/// A length that is not to be used any more.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Spoilt {
    /// The length's name.
    pub length: String,
    /// Since when.
    pub on: Date,
    /// Why, in her own words; may be empty.
    pub note: String,
}

/// Strings that one bought length yields at most: what is sold for the first octave gives two to four.
pub const YIELDS_MAX: u32 = 12;

/// A length as it lies on the shelf.
#[derive(Clone, Debug, PartialEq)]
pub struct OnShelf {
    /// The length.
    pub length: Length,
    /// The strings that were cut from it, and when they were put on; some may have been replaced since.
    pub cut: Vec<(StringNumber, Date)>,
    /// Strings that it still yields.
    pub rest: u32,
    /// Why it is not to be used, if it is bad.
    pub bad: Option<Bad>,
}

/// Why a length is bad.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Bad {
    /// She said so, on that day.
    Said(Date),
    /// A string that was cut from it is false, as the record finds.
    FalseString(StringNumber),
}

/// One string that the restring plan needs.
#[derive(Clone, Debug, PartialEq)]
pub struct Need {
    /// The place on the harp.
    pub string: StringNumber,
    /// What it is to be made of.
    pub material: Material,
    /// The length on the shelf from which it can be cut; `None` where one has to be bought.
    pub from: Option<String>,
}

impl Length {
    /// Checks name, gauge and yield; whether day and string belong to the harp is [`crate::Sheet`]'s to say.
    pub fn checked(self) -> Result<Self, NotAnEntry> {
        let name = text(&self.name)?;
        if name.is_empty() {
            return Err(NotAnEntry::Nameless);
        }
        if !(1..=YIELDS_MAX).contains(&self.yields) {
            return Err(NotAnEntry::Yields(self.yields));
        }
        if let Some(gauge) = self.gauge_mm.filter(|gauge| !(0.2..=5.0).contains(gauge)) {
            return Err(NotAnEntry::Gauge(gauge));
        }
        Ok(Self { name, ..self })
    }
}

/// The shelf of `life`, by strings from the top and then by age; `findings` say which lengths gave false strings.
pub fn shelf(life: &Life, findings: &[Finding]) -> Vec<OnShelf> {
    let mut shelf: Vec<OnShelf> = life
        .lengths
        .iter()
        .map(|length| {
            let cut: Vec<(StringNumber, Date)> = life
                .fittings
                .iter()
                .filter(|fitting| fitting.length.as_deref() == Some(length.name.as_str()))
                .map(|fitting| (fitting.string, fitting.on))
                .collect();
            let used = u32::try_from(cut.len()).unwrap_or(u32::MAX);
            let said = life.spoilt.iter().find(|spoilt| spoilt.length == length.name);
            OnShelf {
                // Two laptops may have cut from one length before their records were joined.
                rest: length.yields.saturating_sub(used),
                bad: said
                    .map(|spoilt| Bad::Said(spoilt.on))
                    .or_else(|| false_one(life, length, findings).map(Bad::FalseString)),
                length: length.clone(),
                cut,
            }
        })
        .collect();
    shelf.sort_by(|a, b| {
        let key = |one: &OnShelf| (one.length.string, one.length.bought);
        key(a).cmp(&key(b)).then_with(|| a.length.name.cmp(&b.length.name))
    });
    shelf
}

/// A string on the harp that is found false and was cut from `length`.
fn false_one(life: &Life, length: &Length, findings: &[Finding]) -> Option<StringNumber> {
    findings.iter().find_map(|finding| {
        let (About::String(string), Cause::FalseString { .. }) = (finding.about, &finding.cause) else {
            return None;
        };
        let cut_from = life.fitted(string)?.length.as_deref()?;
        (cut_from == length.name).then_some(string)
    })
}

/// What `plan` needs, string by string, each from the oldest good length on the shelf that still yields one.
///
/// Strings of unknown age are not planned, and so not bought for.
pub fn needs(life: &Life, plan: &[Replacement], shelf: &[OnShelf]) -> Vec<Need> {
    let mut rests: Vec<u32> = shelf
        .iter()
        .map(|one| if one.bad.is_some() { 0 } else { one.rest })
        .collect();
    plan.iter()
        .filter(|entry| entry.why != Why::Unknown)
        .filter_map(|entry| {
            let usual = life.sheet.harp.string(entry.string)?.material;
            let material = life.fitted(entry.string).map_or(usual, |fitting| fitting.material);
            let fits = |one: &OnShelf| one.length.string == entry.string && one.length.material == material;
            let place = (0..shelf.len()).find(|&place| rests[place] > 0 && fits(&shelf[place]));
            let from = place.map(|place| {
                rests[place] -= 1;
                shelf[place].length.name.clone()
            });
            Some(Need {
                string: entry.string,
                material,
                from,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::When;
    use crate::{Fitting, Sheet};
    use consort_proto::{Cents, harp_file};

    fn string(number: u32) -> StringNumber {
        StringNumber::new(number).expect("a string")
    }

    fn day(text: &str) -> Date {
        text.parse().expect("a day")
    }

    /// A life with lengths of so many strings each for string 10, from which so many have been cut.
    fn stocked(lengths: &[(&str, u32, usize)]) -> Life {
        let mut life = Life::new(Sheet::of(harp_file::preset("pedal-47").expect("a preset")));
        for (place, (name, yields, cut)) in lengths.iter().enumerate() {
            life.lengths.push(Length {
                name: (*name).to_owned(),
                bought: day("2026-01-01").plus(place as i32),
                string: string(10),
                material: Material::Gut,
                gauge_mm: None,
                yields: *yields,
            });
            for later in 0..*cut {
                life.fittings.push(Fitting {
                    string: string(10),
                    on: day("2026-02-01").plus(later as i32),
                    material: Material::Gut,
                    gauge_mm: None,
                    length: Some((*name).to_owned()),
                });
            }
        }
        life
    }

    fn false_finding() -> Finding {
        Finding {
            about: About::String(string(10)),
            cause: Cause::FalseString {
                octave: Cents(9.0),
                worst: (2, Cents(9.0)),
                beats: None,
                scatters: false,
                worn: false,
                sisters: Vec::new(),
                concert: None,
            },
            since: day("2026-03-01"),
            likely: 0.99,
        }
    }

    #[test]
    fn what_was_cut_is_taken_off_and_never_more_than_there_was() {
        for (yields, cut, rest) in [(3, 0, 3), (3, 1, 2), (3, 3, 0), (2, 5, 0)] {
            let life = stocked(&[("a", yields, cut)]);
            let shelf = shelf(&life, &[]);
            assert_eq!((shelf[0].rest, shelf[0].cut.len()), (rest, cut), "{yields} less {cut}");
        }
    }

    #[test]
    fn a_length_is_bad_when_she_says_so_or_a_string_of_it_is_false() {
        let mut life = stocked(&[("a", 3, 1), ("b", 3, 0)]);
        let bad = |life: &Life, findings: &[Finding]| -> Vec<Option<Bad>> {
            shelf(life, findings).into_iter().map(|one| one.bad).collect()
        };
        assert_eq!(bad(&life, &[]), [None, None]);
        assert_eq!(
            bad(&life, &[false_finding()]),
            [Some(Bad::FalseString(string(10))), None]
        );
        life.spoilt.push(Spoilt {
            length: "b".to_owned(),
            on: day("2026-03-03"),
            note: String::new(),
        });
        assert_eq!(bad(&life, &[])[1], Some(Bad::Said(day("2026-03-03"))));
    }

    #[test]
    fn the_plan_takes_from_the_oldest_good_length_and_buys_the_rest() {
        let planned = |count: usize| -> Vec<Replacement> {
            let one = Replacement {
                string: string(10),
                fitted: None,
                why: Why::False,
                when: When::Now,
            };
            vec![one; count]
        };
        let from = |life: &Life, findings: &[Finding], count: usize| -> Vec<Option<String>> {
            let needs = needs(life, &planned(count), &shelf(life, findings));
            needs.into_iter().map(|need| need.from).collect()
        };
        let life = stocked(&[("a", 2, 1), ("b", 1, 0)]);
        let named = |name: &str| Some(name.to_owned());
        assert_eq!(from(&life, &[], 3), [named("a"), named("b"), None]);
        // The string that is false was cut from the first length: the rest of it is suspect.
        assert_eq!(from(&life, &[false_finding()], 2), [named("b"), None]);
    }

    #[test]
    fn a_length_that_cannot_be_is_refused() {
        let length = stocked(&[("a", 2, 0)]).lengths.remove(0);
        for (changed, says) in [
            (
                Length {
                    yields: 0,
                    ..length.clone()
                },
                "0 strings",
            ),
            (
                Length {
                    yields: 400,
                    ..length.clone()
                },
                "400 strings",
            ),
            (
                Length {
                    name: "  ".to_owned(),
                    ..length.clone()
                },
                "needs a name",
            ),
            (
                Length {
                    gauge_mm: Some(9.0),
                    ..length.clone()
                },
                "9 mm",
            ),
        ] {
            let why = changed.checked().expect_err(says).to_string();
            assert!(why.contains(says), "{why}");
        }
        assert_eq!(length.clone().checked(), Ok(length));
    }
}

//! The record's findings over simulated lives of harps, told by both generators: what is named, when, and what wrongly.

mod kept;
mod told;

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use consort_record::{About, Cause, Finding};

use crate::figures::Figures;
use crate::report;
use crate::statistics::percent;
use told::{Casting, Generator, Kind, Tale};

/// What `cargo measure` says about this measure.
pub(crate) const ABOUT: &str = "findings over simulated lives of harps: named in time, named rightly, named wrongly; a record of ten \
     years on disk [--scale NUMBER] [--only slips|false|new|healthy|causes|kept] [--from LIFE] [--json FILE]";

/// Lives for each figure and generator, and harp-years in order; an option makes both smaller or larger.
const LIVES: usize = 400;
const YEARS: usize = 60;
/// What can be measured by itself.
const PARTS: [&str; 6] = ["slips", "false", "new", "healthy", "causes", "kept"];

/// What was typed.
struct Options {
    scale: f64,
    only: Option<String>,
    json: Option<PathBuf>,
}

fn parse(words: &[String]) -> Result<Options, String> {
    let mut options = Options {
        scale: 1.0,
        only: None,
        json: None,
    };
    let mut words = words.iter();
    while let Some(word) = words.next() {
        let mut value = || words.next().ok_or(format!("{word} needs a value"));
        match word.as_str() {
            "--scale" => {
                let scale: Option<f64> = value()?.parse().ok();
                options.scale = scale
                    .filter(|scale| (0.001..=1_000.0).contains(scale))
                    .ok_or("--scale takes a number from 0.001 to 1000, as in 0.5")?;
            }
            "--only" => {
                let part = value()?;
                if !PARTS.contains(&part.as_str()) {
                    return Err(format!("--only takes one of {}, not “{part}”", PARTS.join(", ")));
                }
                options.only = Some(part.clone());
            }
            "--from" => told::BEGINS_AT
                .set(value()?.parse().map_err(|_| "--from takes a whole number".to_owned())?)
                .unwrap_or(()),
            "--json" => options.json = Some(PathBuf::from(value()?)),
            other => {
                return Err(format!(
                    "takes --scale NUMBER, --only PART, --from LIFE and --json FILE, not “{other}”"
                ));
            }
        }
    }
    Ok(options)
}

/// Runs the measure.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let Options { scale, only, json } = parse(words)?;
    let lives = ((LIVES as f64 * scale) as usize).max(4);
    let years = ((YEARS as f64 * scale) as usize).max(1);
    let wanted = |part: &str| only.as_deref().is_none_or(|only| only == part);
    let mut figures = Figures::kept_in("record", json);
    let mut reach = |goal: f64, what: &str, measure: &dyn Fn(Generator) -> f64| {
        for generator in Generator::ALL {
            figures.at_least(goal, of(what, generator), measure(generator), "%");
        }
    };
    if wanted("slips") {
        reach(90.0, "slipping pin named within 3 tunings", &|generator| {
            named(generator, Kind::Slips, lives, 3)
        });
        reach(98.0, "slipping pin named within 5", &|generator| {
            named(generator, Kind::Slips, lives, 5)
        });
    }
    if wanted("false") {
        reach(95.0, "false string, 4 % of mass, named at once", &|generator| {
            named(generator, Kind::Strong, lives, 1)
        });
        reach(80.0, "the same with 2 % within 3", &|generator| {
            named(generator, Kind::Moderate, lives, 3)
        });
    }
    if wanted("new") {
        reach(80.0, "new string holds ± 3 days as said", &|generator| {
            holds(generator, lives)
        });
    }
    if wanted("healthy") {
        for generator in Generator::ALL {
            let health = healthy(generator, years);
            let days = health.days;
            figures.at_most(
                1.0,
                of("blamed, of 1,000 string-days in order", generator),
                health.blamed,
                "",
            );
            figures.at_most(
                1.0,
                of("false findings in a harp-year", generator),
                health.false_findings,
                "",
            );
            figures.tell(of("too early to say in a harp-year", generator), health.too_early, "");
            report(&format!(
                "    {:?} in {years} harp-years, {days} string-days",
                health.words
            ));
        }
    }
    if wanted("causes") {
        for generator in Generator::ALL {
            let causes = causes(generator, lives / 2);
            figures.at_least(
                95.0,
                of("causes named after 5 tunings, right", generator),
                causes.right,
                "%",
            );
            figures.at_most(15.0, of("causes not named by then", generator), causes.unnamed, "%");
            for (kind, tally) in causes.each {
                report(&format!("    {kind:?}: {tally:?}"));
            }
        }
    }
    if wanted("kept") {
        kept::run(scale, &mut figures)?;
    }
    figures.close()
}

/// A figure over the lives that one generator tells.
fn of(what: &str, generator: Generator) -> String {
    format!("{what} ({generator:?})")
}

/// How many of `lives` with trouble of `kind` have it named at one of the first `within` tunings that see it, percent.
fn named(generator: Generator, kind: Kind, lives: usize, within: usize) -> f64 {
    let found = (0..lives)
        .filter(|&life| {
            let mut tale = Tale::begin(generator, Casting { kind, number: life });
            tale.until_seen(1);
            (0..within).any(|more| {
                if more > 0 {
                    tale.next();
                }
                tale.names_it()
            })
        })
        .count();
    percent(found, lives)
}

/// How many new strings hold within three days of what the third reading said, percent.
fn holds(generator: Generator, lives: usize) -> f64 {
    let right = (0..lives)
        .filter(|&life| {
            let mut tale = Tale::begin(
                generator,
                Casting {
                    kind: Kind::New,
                    number: life,
                },
            );
            tale.until_seen(3);
            let said = tale.findings().into_iter().find_map(|finding| match finding.cause {
                Cause::NewString { holds_on, .. } if tale.is_about_it(finding.about) => Some(holds_on),
                _ => None,
            });
            // A string of which nothing is said is taken to hold.
            let said = said.unwrap_or(tale.today());
            let truth = tale.until_held();
            said.days_since(truth).abs() <= 3
        })
        .count();
    percent(right, lives)
}

struct Health {
    blamed: f64,
    false_findings: f64,
    too_early: f64,
    days: usize,
    words: BTreeMap<&'static str, usize>,
}

/// Harps on which nothing is wrong, a year each.
fn healthy(generator: Generator, years: usize) -> Health {
    let mut words: BTreeMap<&'static str, usize> = BTreeMap::new();
    let (mut days, mut string_days) = (0, 0);
    for year in 0..years {
        let mut tale = Tale::begin(
            generator,
            Casting {
                kind: Kind::Healthy,
                number: year,
            },
        );
        // What comes back after a while is the same finding.
        let mut before: BTreeSet<(About, &'static str)> = BTreeSet::new();
        tale.next();
        let begin = tale.today();
        while tale.today().days_since(begin) < 365 {
            tale.next();
            let findings = tale.findings();
            let wrong: Vec<&Finding> = findings
                .iter()
                .filter(|finding| !tale.is_true_of_the_room(finding))
                .collect();
            let now: BTreeSet<_> = wrong
                .iter()
                .map(|finding| (finding.about, finding.cause.word()))
                .collect();
            for (_, word) in now.difference(&before) {
                *words.entry(word).or_default() += 1;
            }
            before.extend(now);
        }
        let lived = tale.today().days_since(begin) as usize;
        days += lived;
        string_days += lived * tale.strings();
    }
    let early = words.get("too-early").copied().unwrap_or(0);
    let all: usize = words.values().sum();
    let of_room = words.get("room").copied().unwrap_or(0);
    let harp_years = days as f64 / 365.0;
    Health {
        blamed: (all - early - of_room) as f64 * 1_000.0 / string_days as f64,
        false_findings: (all - early) as f64 / harp_years,
        too_early: early as f64 / harp_years,
        days: string_days,
        words,
    }
}

struct Causes {
    right: f64,
    unnamed: f64,
    each: BTreeMap<Kind, Tally>,
}

#[derive(Clone, Debug, Default)]
struct Tally {
    right: usize,
    early: usize,
    silent: usize,
    wrong: BTreeMap<&'static str, usize>,
}

/// One cause of each kind, five tunings after it began.
fn causes(generator: Generator, lives: usize) -> Causes {
    let mut each: BTreeMap<Kind, Tally> = BTreeMap::new();
    for kind in Kind::CAUSES {
        let tally = each.entry(kind).or_default();
        for life in 0..lives {
            let mut tale = Tale::begin(generator, Casting { kind, number: life });
            tale.until_seen(1);
            let mut right = false;
            let mut wrong = None;
            let mut early = false;
            for more in 0..5 {
                if more > 0 {
                    tale.next();
                }
                // What passes, as the room and a new string do, counts when it was said; what stays has to be said in the end.
                let passing = matches!(kind, Kind::Room | Kind::New) && tale.names_it();
                right |= passing;
                if more == 4 {
                    right |= tale.names_it();
                    early = tale.is_too_early();
                    wrong = tale.names_wrongly();
                }
            }
            match (right, wrong, early) {
                (_, Some(word), _) if !right => *tally.wrong.entry(word).or_default() += 1,
                (true, ..) => tally.right += 1,
                (_, _, true) => tally.early += 1,
                _ => tally.silent += 1,
            }
        }
    }
    let sum = |of: fn(&Tally) -> usize| each.values().map(of).sum::<usize>();
    let (right, wrong) = (sum(|tally| tally.right), sum(|tally| tally.wrong.values().sum()));
    Causes {
        right: percent(right, right + wrong),
        unnamed: percent(sum(|tally| tally.early + tally.silent), lives * Kind::CAUSES.len()),
        each,
    }
}

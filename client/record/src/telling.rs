//! Findings in words: headline, evidence, one action, and what would change it.

use consort_proto::{Cents, Letter, Material, StringNumber};
use consort_words::{Arg, Key, Words};

use crate::date::Date;
use crate::finding::{About, Cause, Finding, Moved};
use crate::plan::When;
use crate::sheet::{Pins, Sheet};

/// A finding as a person reads it.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Told {
    /// What is wrong with what.
    pub headline: String,
    /// The numbers that say so.
    pub evidence: String,
    /// What to do.
    pub action: String,
    /// What would change it.
    pub doubt: String,
}

type Args<'a> = &'a [(&'static str, Arg)];

/// Puts `finding` into `words`.
pub fn tell(finding: &Finding, sheet: &Sheet, words: &Words) -> Told {
    let name = about_name(finding.about, sheet, words);
    let say = |key, args: Args<'_>| words.say(key, args);
    let headed = |key| words.say(key, &[("string", Arg::from(name.as_str()))]);
    let (headline, evidence, action, doubt) = match &finding.cause {
        Cause::SlippingPin {
            falls,
            least,
            most,
            pushed,
            others,
        } => {
            let evidence = [
                ("count", Arg::from(*falls)),
                ("least", cents(*least)),
                ("most", cents(*most)),
                ("others", cents(*others)),
            ];
            let action = match (sheet.pins, pushed) {
                (Pins::Tapered, None) => say(Key::FoundSlippingPinTapered, &[]),
                (Pins::Tapered, Some(on)) => say(Key::FoundSlippingPinAgain, &[("date", Arg::from(on.to_string()))]),
                (Pins::Threaded, _) => say(Key::FoundSlippingPinThreaded, &[]),
            };
            (
                headed(Key::FoundSlippingPin),
                say(Key::FoundSlippingPinEvidence, &evidence),
                action,
                say(Key::FoundSlippingPinDoubt, &[]),
            )
        }
        Cause::FalseString {
            octave,
            worst,
            beats,
            worn,
            scatters,
            sisters,
            concert,
        } => {
            // Where the octave itself is worst, one figure says it.
            let key = if worst.0 == 2 {
                Key::FoundFalseStringOctave
            } else {
                Key::FoundFalseStringEvidence
            };
            let mut evidence = vec![say(
                key,
                &[
                    ("partial", Arg::from(u32::from(worst.0))),
                    ("off", cents(worst.1.abs())),
                    ("octave", cents(octave.abs())),
                ],
            )];
            evidence.extend(beats.map(|beats| say(Key::FoundFalseStringBeats, &[("cents", cents(beats))])));
            evidence.extend(scatters.then(|| say(Key::FoundFalseStringScatters, &[])));
            evidence.extend(worn.then(|| say(Key::FoundFalseStringWorn, &[])));
            let mut action = vec![match concert {
                Some(date) => say(Key::FoundFalseStringConcert, &[("date", Arg::from(date.to_string()))]),
                None => say(Key::FoundFalseStringAction, &[]),
            }];
            if !sisters.is_empty() {
                let names: Vec<String> = sisters.iter().map(|&sister| string_name(sister, sheet)).collect();
                action.push(say(
                    Key::FoundFalseStringSisters,
                    &[("strings", Arg::from(names.join(", ")))],
                ));
            }
            (
                headed(Key::FoundFalseString),
                evidence.join(" "),
                action.join(" "),
                say(Key::FoundFalseStringDoubt, &[]),
            )
        }
        Cause::NewString {
            fitted,
            falls,
            holds_on,
            within_days,
            noted,
        } => {
            let date = Arg::from(fitted.to_string());
            let evidence = if !noted {
                say(Key::FoundNewStringUnnoted, &[("date", date)])
            } else if falls.is_empty() {
                say(Key::FoundNewStringFirst, &[("date", date)])
            } else {
                let newest = &falls[falls.len().saturating_sub(4)..];
                let falls: Vec<String> = newest.iter().map(|fall| whole(*fall)).collect();
                say(
                    Key::FoundNewStringEvidence,
                    &[("date", date), ("falls", Arg::from(falls.join(", ")))],
                )
            };
            let action = [
                ("date", Arg::from(holds_on.to_string())),
                ("days", Arg::from((*within_days).max(1))),
            ];
            (
                headed(Key::FoundNewString),
                evidence,
                say(Key::FoundNewStringAction, &action),
                say(Key::FoundNewStringDoubt, &[]),
            )
        }
        Cause::NewStrings {
            fitted,
            strings,
            holds_on,
            within_days,
        } => {
            let evidence = [("count", Arg::from(*strings)), ("date", Arg::from(fitted.to_string()))];
            let action = [
                ("date", Arg::from(holds_on.to_string())),
                ("days", Arg::from((*within_days).max(1))),
            ];
            (
                say(Key::FoundNewStrings, &[("material", Arg::from(name.as_str()))]),
                say(Key::FoundNewStringsEvidence, &evidence),
                say(Key::FoundNewStringsAction, &action),
                say(Key::FoundNewStringsDoubt, &[]),
            )
        }
        Cause::Turned { by } => (
            headed(Key::FoundTurned),
            say(Key::FoundTurnedEvidence, &[("cents", signed(*by))]),
            say(Key::FoundTurnedAction, &[]),
            say(Key::FoundTurnedDoubt, &[]),
        ),
        Cause::WrongGauge {
            fitted,
            stiffness,
            rings,
            step,
            thick,
        } => {
            let args = [
                ("date", Arg::from(fitted.to_string())),
                ("times", Arg::from(format!("{stiffness:.1}"))),
            ];
            let mut evidence = vec![say(Key::FoundWrongGaugeEvidence, &args)];
            evidence.extend(rings.map(|times| {
                let times = Arg::from(format!("{times:.1}"));
                say(Key::FoundWrongGaugeRings, &[("times", times)])
            }));
            evidence.extend(step.map(|step| say(Key::FoundWrongGaugeStep, &[("cents", signed(step))])));
            let action = if *thick {
                Key::FoundWrongGaugeThick
            } else {
                Key::FoundWrongGaugeThin
            };
            (
                headed(Key::FoundWrongGauge),
                evidence.join(" "),
                say(action, &[]),
                say(Key::FoundWrongGaugeDoubt, &[]),
            )
        }
        Cause::Pedal { position, by, strings } => {
            let letter = ("letter", Arg::from(name.as_str()));
            let key = if *position == 1 {
                Key::FoundPedalNatural
            } else {
                Key::FoundPedalSharp
            };
            (
                say(Key::FoundPedal, std::slice::from_ref(&letter)),
                say(
                    key,
                    &[letter.clone(), ("cents", signed(*by)), ("count", Arg::from(*strings))],
                ),
                say(Key::FoundPedalAction, &[]),
                say(Key::FoundPedalDoubt, &[]),
            )
        }
        Cause::Step { position, by } => (
            headed(Key::FoundStep),
            say(
                Key::FoundStepEvidence,
                &[("step", Arg::from(u32::from(*position))), ("cents", signed(*by))],
            ),
            say(Key::FoundStepAction, &[]),
            say(Key::FoundStepDoubt, &[]),
        ),
        Cause::Room {
            by,
            along,
            strings,
            humidity,
            temperature,
            moved,
        } => {
            let args = [
                ("along", Arg::from(*along)),
                ("strings", Arg::from(*strings)),
                ("cents", signed(*by)),
            ];
            let mut evidence = vec![say(Key::FoundRoomEvidence, &args)];
            for (key, figures) in [
                (Key::FoundRoomHumidity, humidity),
                (Key::FoundRoomTemperature, temperature),
            ] {
                let Some((before, after)) = figures else { continue };
                let [before, after] = [before, after].map(|figure| format!("{figure:.0}"));
                // What stayed the same explains nothing.
                if before != after {
                    evidence.push(say(key, &[("before", Arg::from(before)), ("after", Arg::from(after))]));
                }
            }
            let mut action = vec![say(Key::FoundRoomAction, &[])];
            if let Some(moved) = moved {
                evidence.push(match moved {
                    Moved::Noted => say(Key::FoundRoomMoved, &[]),
                    Moved::Elsewhere { before, now } => say(
                        Key::FoundRoomElsewhere,
                        &[("before", Arg::from(before.as_str())), ("now", Arg::from(now.as_str()))],
                    ),
                });
                action.push(say(Key::MovingAdvice, &[]));
            }
            (
                say(Key::FoundRoom, &[("material", Arg::from(name.as_str()))]),
                evidence.join(" "),
                action.join(" "),
                say(Key::FoundRoomDoubt, &[]),
            )
        }
        Cause::Old {
            strings,
            months,
            usual,
            when,
        } => {
            let names: Vec<String> = strings.iter().map(|&string| string_name(string, sheet)).collect();
            let evidence = [
                ("count", Arg::from(strings.len())),
                ("strings", Arg::from(names.join(", "))),
                ("months", Arg::from(from_to(*months))),
                ("usual", Arg::from(from_to(*usual))),
            ];
            (
                say(Key::FoundOld, &[("material", Arg::from(name.as_str()))]),
                say(Key::FoundOldEvidence, &evidence),
                say(
                    Key::FoundOldAction,
                    &[
                        ("count", Arg::from(strings.len())),
                        ("when", Arg::from(when_said(*when, words))),
                    ],
                ),
                say(Key::FoundOldDoubt, &[]),
            )
        }
        Cause::Dull { db, when } => (
            headed(Key::FoundDull),
            say(Key::FoundDullEvidence, &[("db", Arg::from(format!("{db:.0}")))]),
            say(Key::FoundDullAction, &[("when", Arg::from(when_said(*when, words)))]),
            say(Key::FoundDullDoubt, &[]),
        ),
        Cause::TooEarly { tunings } => (
            headed(Key::FoundTooEarly),
            say(Key::FoundTooEarlyEvidence, &[("count", Arg::from(*tunings))]),
            say(Key::FoundTooEarlyAction, &[]),
            say(Key::FoundTooEarlyDoubt, &[]),
        ),
    };
    Told {
        headline,
        evidence,
        action,
        doubt,
    }
}

/// When a string is to be replaced, as in `by 2026-12-19`.
pub fn when_said(when: When, words: &Words) -> String {
    let on = |key, day: Date| words.say(key, &[("date", Arg::from(day.to_string()))]);
    match when {
        When::Now => words.say(Key::PlanNow, &[]),
        When::By(day) => on(Key::PlanBy, day),
        When::After(day) => on(Key::PlanAfter, day),
        When::Unknown => words.say(Key::PlanAsk, &[]),
    }
}

/// `36`, or `24–36`.
fn from_to((least, most): (u32, u32)) -> String {
    if least == most {
        return least.to_string();
    }
    format!("{least}–{most}")
}

/// The harpist's name of a string, as `5D`.
pub fn string_name(string: StringNumber, sheet: &Sheet) -> String {
    sheet
        .harp
        .string(string)
        .map_or_else(|| string.to_string(), |string| string.open.harp_name())
}

/// The name of what a finding is about.
pub fn about_name(about: About, sheet: &Sheet, words: &Words) -> String {
    match about {
        About::String(string) => string_name(string, sheet),
        About::Letter(letter) => Letter::to_string(&letter),
        About::Material(material) => {
            let key = match material {
                Material::Nylon => Key::MaterialNylon,
                Material::Gut => Key::MaterialGut,
                Material::Fluorocarbon => Key::MaterialFluorocarbon,
                Material::Wire => Key::MaterialWire,
            };
            words.say(key, &[])
        }
    }
}

/// Cents without a sign, as a person reads them: tenths below ten.
fn cents(cents: Cents) -> Arg {
    Arg::from(whole(cents))
}

fn whole(cents: Cents) -> String {
    let text = if cents.0.abs() < 9.95 {
        format!("{:.1}", cents.0)
    } else {
        format!("{:.0}", cents.0)
    };
    let text = text.strip_suffix(".0").map_or(text.clone(), ToOwned::to_owned);
    if text == "-0" {
        "0".to_owned()
    } else {
        text.replace('-', "−")
    }
}

fn signed(cents: Cents) -> Arg {
    let text = whole(cents);
    Arg::from(if cents.0 > 0.0 && text != "0" {
        format!("+{text}")
    } else {
        text
    })
}

//! Looks at a chronicle and names what is wrong, where one cause is much more likely than all others together.

mod room;
mod together;
mod uneven;
mod usual;

use std::collections::BTreeMap;

use consort_proto::{Cents, HarpString, Material, StringNumber, Tolerance};

use crate::chronicle::{Chronicle, Move, Track};
use crate::date::{Date, Moment};
use crate::entry::Deed;
use crate::falseness::Usual;
use crate::finding::{About, Cause, Finding};
use crate::gauge::{self, Differences, Gauge};
use crate::moves::{self, Evidence};
use crate::regulation;
use crate::sound::Sound;
use crate::stretch::Stretch;
use crate::visit::Life;
use room::rooms;
use together::together;
use uneven::{false_string, false_weight, first_heard};
use usual::usuals;

/// A cause is named when it is this likely, all others together and a string in order being the rest.
pub(crate) const NAMED_FROM: f64 = 0.9;
/// A string is said to have something that is not named yet when it is in order with less than this likelihood.
const IN_ORDER_BELOW: f64 = 0.25;
/// A string that was put on within these days is looked at as a new one.
const NEW_DAYS: i32 = 40;
/// Within these days its gauge is in question.
const GAUGE_DAYS: i32 = 120;
/// A turn by mistake is told while it is among this many newest movements.
const TURNED_TOLD: usize = 5;
/// A pin that slips again within so many days after it was pushed in has come back: assumed.
const PUSHED_DAYS: i32 = 365;
/// Readings of a false string are said to scatter from this weight on, a natural logarithm.
const SCATTERS: f64 = 2.0;

/// What `chronicle`, told from `life`, says on the day `today`; what wants doing first comes first.
pub fn look(chronicle: &Chronicle, life: &Life, today: Date) -> Vec<Finding> {
    let chronicle = &*chronicle.up_to(life, today);
    let usuals = usuals(chronicle);
    let mut findings = rooms(chronicle, life);
    let (letters, steps) = regulation::look(chronicle);
    let mut told = BTreeMap::new();
    for (number, string) in chronicle.sheet().harp.numbered() {
        let Some((track, usual)) = chronicle.track(number).zip(usuals.get(&number)) else {
            continue;
        };
        for finding in one_string(chronicle, life, today, (number, string, track), *usual) {
            told.insert(number, finding.cause.word());
            findings.push(finding);
        }
    }
    let since = chronicle.last.map_or(today, Moment::date);
    findings.extend(letters.iter().map(|letter| Finding {
        about: About::Letter(letter.letter),
        cause: Cause::Pedal {
            position: letter.position,
            by: letter.by,
            strings: letter.strings,
        },
        since,
        likely: NAMED_FROM,
    }));
    for step in steps {
        // A string that is named for something else explains its steps by it.
        if told
            .get(&step.string)
            .is_none_or(|word| *word == "new-string" || *word == "turned")
            && !is_new(chronicle.track(step.string), today)
        {
            findings.push(Finding {
                about: About::String(step.string),
                cause: Cause::Step {
                    position: step.position,
                    by: step.by,
                },
                since,
                likely: NAMED_FROM,
            });
        }
    }
    let mut findings = together(findings, life);
    findings.sort_by_key(Finding::order);
    // One step of a string may be off in both positions: the first stands for both.
    findings.dedup_by(|b, a| a.about == b.about && a.cause.word() == b.cause.word() && a.cause.word() == "step");
    findings
}

fn is_new(track: Option<&Track>, today: Date) -> bool {
    track
        .and_then(|track| track.fitted)
        .is_some_and(|on| today.days_since(on) <= GAUGE_DAYS)
}

/// What is to be said of one string.
fn one_string(
    chronicle: &Chronicle,
    life: &Life,
    today: Date,
    (number, string, track): (StringNumber, &HarpString, &Track),
    usual: Usual,
) -> Vec<Finding> {
    let about = About::String(number);
    let near = life
        .visits
        .last()
        .map_or_else(Tolerance::default, |visit| visit.tolerance)
        .of(string);
    let mut findings = Vec::new();
    let moves = track.moves.iter();
    let new = track.fitted.filter(|&on| today.days_since(on) <= NEW_DAYS);
    let stretch = new.map(|fitted| (fitted, Stretch::of(fitted, near, moves.clone())));
    let mut still_falls = false;
    if let Some((fitted, stretch)) = &stretch {
        let late = track
            .moves
            .back()
            .is_some_and(|made| -made.beyond > near.0 * made.days.max(1.0));
        still_falls = today <= stretch.holds_on || (late && today.days_since(stretch.holds_on) <= 3);
        if still_falls {
            findings.push(Finding {
                about,
                cause: Cause::NewString {
                    fitted: *fitted,
                    falls: stretch.falls.clone(),
                    // One that falls on beyond the day that was foretold holds today at the earliest.
                    holds_on: stretch.holds_on.max(today),
                    within_days: stretch.within_days.ceil() as u32,
                    noted: true,
                },
                since: *fitted,
                likely: NAMED_FROM,
            });
        }
    }
    // What a new string is expected to fall is no sign of anything else.
    let adjusted: Vec<Move> = match &stretch {
        None => track.moves.iter().copied().collect(),
        Some((fitted, stretch)) => track
            .moves
            .iter()
            .filter(|made| !still_falls && made.from.date() > stretch.holds_on.plus(1))
            .map(|made| {
                let from = made.from.days_since(fitted.noon());
                let (fall, sigma) = stretch.expects(from, from + made.days);
                Move {
                    beyond: made.beyond + fall,
                    sigma: made.sigma.hypot(sigma),
                    ..*made
                }
            })
            .collect(),
    };
    let evidence = if is_calm(&adjusted) {
        CALM
    } else {
        moves::weigh(adjusted.iter())
    };
    let all = Sound::over(track.sounds.iter().map(|(_, sound)| sound).chain([&track.usual]));
    let (is_false, worn) = false_weight(track, &all, usual);
    let gauge = track
        .fitted
        .filter(|&on| today.days_since(on) <= GAUGE_DAYS)
        .map(|on| (on, weigh_gauge(track, &all, usual)));
    let rings = all.ln_decay().zip(track.former.ln_decay());
    let weights = [
        0.0,
        evidence.slips,
        evidence.turned,
        evidence.renewed,
        is_false + evidence.scatter,
        gauge.map_or(f64::NEG_INFINITY, |(_, (gauge, _))| gauge.weight),
    ];
    let whole = crate::likely::sum(weights.into_iter());
    let shares = weights.map(|weight| (weight - whole).exp());
    let most = (1..shares.len())
        .max_by(|&a, &b| shares[a].total_cmp(&shares[b]))
        .unwrap_or(1);
    let named = shares[most] >= NAMED_FROM;
    let at = |place: usize| adjusted.get(place).map_or(today, |made| made.at.date());
    let told = match most {
        _ if !named => None,
        1 => slipping(chronicle, life, &adjusted, &evidence, (number, string.material))
            .map(|cause| (cause, at(evidence.slips_from))),
        2 => (adjusted.len() <= evidence.turned_at + TURNED_TOLD)
            .then(|| adjusted.get(evidence.turned_at))
            .flatten()
            .map(|made| (Cause::Turned { by: Cents(made.beyond) }, made.at.date())),
        3 => adjusted.get(evidence.renewed_at).and_then(|made| {
            let fitted = made.at.date();
            let later = adjusted[evidence.renewed_at + 1..].iter();
            let stretch = Stretch::of(fitted, near, later);
            (today <= stretch.holds_on.plus(2)).then_some((
                Cause::NewString {
                    fitted,
                    falls: stretch.falls,
                    holds_on: stretch.holds_on.max(today),
                    within_days: stretch.within_days.ceil() as u32,
                    noted: false,
                },
                fitted,
            ))
        }),
        4 => Some((
            false_string(
                life,
                today,
                number,
                track,
                &all,
                usual,
                (worn, evidence.scatter > SCATTERS),
            ),
            first_heard(track, worn, today),
        )),
        _ => gauge.map(|(fitted, (gauge, stiffness))| {
            let cause = Cause::WrongGauge {
                fitted,
                stiffness,
                rings: rings.map(|(now, before)| (now - before).exp()),
                step: track.steps[0].back().map(|step| Cents(step.error)),
                thick: gauge.ratio > 1.0,
            };
            (cause, fitted)
        }),
    };
    if let Some((cause, since)) = told {
        findings.push(Finding {
            about,
            cause,
            since,
            likely: shares[most],
        });
    } else if !named && shares[0] < IN_ORDER_BELOW {
        let from = if most == 1 {
            evidence.slips_from
        } else {
            evidence.turned_at
        };
        let tunings = (adjusted.len().saturating_sub(from)).max(1) as u32;
        findings.push(Finding {
            about,
            cause: Cause::TooEarly { tunings },
            since: at(from),
            likely: 1.0 - shares[0],
        });
    }
    findings
}

/// Movements that nobody has to look at twice: none stands out, and together they lead nowhere.
fn is_calm(moves: &[Move]) -> bool {
    let last = &moves[moves.len().saturating_sub(12)..];
    let stands_out = last.iter().any(|made| made.beyond.abs() > 2.8 * made.sigma);
    let mut falls = 0.0_f64;
    for made in last.iter().rev() {
        falls += made.beyond / made.sigma;
        if falls < -5.0 {
            return false;
        }
    }
    !stands_out
}

/// What such movements say.
const CALM: Evidence = Evidence {
    slips: f64::NEG_INFINITY,
    slips_from: 0,
    turned: f64::NEG_INFINITY,
    turned_at: 0,
    renewed: f64::NEG_INFINITY,
    renewed_at: 0,
    scatter: 0.0,
};

fn slipping(
    chronicle: &Chronicle,
    life: &Life,
    moves: &[Move],
    evidence: &Evidence,
    (number, material): (StringNumber, Material),
) -> Option<Cause> {
    let slipping = moves.get(evidence.slips_from..).filter(|moves| !moves.is_empty())?;
    let fallen = slipping.iter().filter(|made| made.beyond < -made.sigma);
    let since = slipping[0].from;
    let others = chronicle
        .rooms
        .iter()
        .filter(|room| room.material == material && room.from >= since)
        .map(|room| room.cents.abs())
        .fold(0.0, f64::max);
    let pushed = life.events.iter().rev().find(|event| {
        event.deed == Deed::PinPushed(number) && (0..=PUSHED_DAYS).contains(&slipping[0].at.date().days_since(event.on))
    });
    Some(Cause::SlippingPin {
        pushed: pushed.map(|event| event.on),
        falls: fallen.clone().count() as u32,
        least: Cents(fallen.clone().map(|made| -made.beyond).fold(f64::INFINITY, f64::min)),
        most: Cents(fallen.map(|made| -made.beyond).fold(0.0, f64::max)),
        others: Cents(others),
    })
    .filter(|cause| !matches!(cause, Cause::SlippingPin { falls: 0, .. }))
}

/// The weight of a wrong gauge and the stiffness against what it should be.
fn weigh_gauge(track: &Track, all: &Sound, usual: Usual) -> (Gauge, f64) {
    let own = all.ln_stiffness(usual.ln_stiffness, usual.off_law);
    let former = (!track.former.is_silent())
        .then(|| track.former.ln_stiffness(usual.ln_stiffness, usual.off_law))
        .flatten();
    let stiffness = own.map(|(now, variance)| match former {
        Some((before, more)) => (now - before, variance + more),
        None => (now - usual.ln_stiffness, variance + 0.03),
    });
    let decay = all
        .ln_decay()
        .zip(track.former.ln_decay())
        .map(|(now, before)| (now - before, 0.02 * (1.0 / all.plucks() + 1.0 / track.former.plucks())));
    let steps = std::array::from_fn(|step| {
        let now: Vec<f64> = track.steps[step].iter().map(|step| step.error).collect();
        let mean = now.iter().sum::<f64>() / now.len().max(1) as f64;
        (!now.is_empty()).then(|| (mean - track.former_steps[step].unwrap_or(0.0), 0.5))
    });
    let gauge = gauge::weigh(&Differences {
        stiffness,
        decay,
        steps,
    });
    (gauge, stiffness.map_or(1.0, |(ln_ratio, _)| ln_ratio.exp()))
}

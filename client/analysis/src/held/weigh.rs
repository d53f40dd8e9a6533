//! From looks to a pitch: which of them are of one tone that was held, and what they say together.
//!
//! Looks count by the power that they saw: of a dying tone the early ones count most, and where several players beat against
//! one another power and pitch swing together, so that only the mean by power is the middle of them all.
//! Partials count by how far they scatter from look to look, and those of a tone that dies may be stretched.

use super::look::{Look, PARTIALS};

/// Looks that are remembered, and how often they come, in a second.
pub(super) const LOOKS: usize = 24;
pub(super) const LOOKS_PER_S: f64 = 4.0;
/// Looks that at least must have found the tone: a second and a half lie between the first and the last of them, and as they
/// overlap, a note of a second and a quarter may be in all.
const FOUND_MIN: usize = 7;
/// Looks of one tone lie within so many cents from one to the next; in between one may have missed it.
const SAME_TONE_CENTS: f64 = 40.0;
const NEXT_WITHIN: usize = 2;
/// A look counts when it is no softer than this beside the loudest, decibels, and so much more for each second after it, for
/// tones die. A note that was only a part of the look does not.
const SOFTER_DB: f64 = 12.0;
const DIES_DB_PER_S: f64 = 10.0;
/// Of two tones the later one is told, unless it is softer by more than this for each second between them, decibels.
const FORGOTTEN_DB_PER_S: f64 = 6.0;
/// Partials that were seen by looks with less than this share of the power are other tones'.
const SEEN_SHARE: f64 = 0.67;
const SEEN_MIN: usize = 5;
/// Looks overlap: so many of them count as one.
const LOOKS_IN_ONE: f64 = 4.0;
/// A tone that falls by more than this was struck, decibels in a second. Its partial n lies sharp by this and about as much
/// more or less for each n² − 1, cents (of pianos' A4: H. Fletcher, E. D. Blackham, R. Stratton, "Quality of Piano Tones",
/// JASA 34 (1962) 749–761); what is blown or bowed is held to whole multiples.
const STRUCK_DB_PER_S: f64 = 2.0;
const STRUCK: Stretch = Stretch { cents: 0.4, sigma: 0.4 };
const DRIVEN: Stretch = Stretch {
    cents: 0.0,
    sigma: 0.02,
};
/// A partial that disagrees by more than this counts less, standard deviations.
const DISAGREES: f64 = 2.0;
const ROUNDS: usize = 5;
/// Doubt of each partial and of the whole that remains however steady the tone (measured on exact tones), cents.
const PARTIAL_FLOOR_CENTS: f64 = 0.01;
const FLOOR_CENTS: f64 = 0.03;
/// What is not heard any more may have moved on by so much, cents in a second (assumed).
const AGES_CENTS_PER_S: f64 = 0.1;

/// The stretch of a tone's partials that is known before they are heard.
#[derive(Clone, Copy)]
struct Stretch {
    /// Cents for each n² − 1.
    cents: f64,
    sigma: f64,
}

/// What the looks say together, cents above the note that is expected.
#[derive(Clone, Copy, Debug)]
pub(super) struct Weighed {
    pub(super) cents: f64,
    pub(super) sigma: f64,
    /// How far single looks lie from it, one standard deviation.
    pub(super) wavers: f64,
}

/// Looks, oldest first, that count for one tone.
#[derive(Clone, Copy)]
struct Counted {
    looks: [bool; LOOKS],
    /// When the newest of them was, and the loudest level, both as [`FORGOTTEN_DB_PER_S`] has it.
    newest: usize,
    rank_db: f64,
}

/// What the looks say of one partial.
#[derive(Clone, Copy)]
struct Said {
    stretch: f64,
    cents: f64,
    variance: f64,
    weight: f64,
}

/// The tone that was held lately in `looks`, oldest first; nothing where none was held for long enough. Never allocates.
pub(super) fn weigh(looks: &[Option<Look>; LOOKS]) -> Option<Weighed> {
    let tones = tones(looks);
    let counted = (0..LOOKS)
        .filter_map(|tone| counted(looks, &tones, tone))
        .max_by(|one, other| one.rank_db.total_cmp(&other.rank_db))?;
    let of_tone = || looks.iter().zip(counted.looks).enumerate().filter(|(_, (_, of))| *of);
    let of_tone = || of_tone().filter_map(|(at, (look, _))| look.as_ref().map(|look| (at as f64 / LOOKS_PER_S, look)));
    let known = if falls(of_tone()) > STRUCK_DB_PER_S {
        STRUCK
    } else {
        DRIVEN
    };
    let mut said = [None; PARTIALS];
    for (number, said) in said.iter_mut().enumerate() {
        *said = of_partial(of_tone().map(|(_, look)| look), number);
    }
    let (cents, stretch, sigma) = join(&mut said, known)?;
    // How far each look lies from the whole, by the partials that the whole is made of.
    let (mut apart, mut power) = (0.0, 0.0);
    for (_, look) in of_tone() {
        let (mut sum, mut weights) = (0.0, 0.0);
        for (said, partial) in said.iter().zip(look.partials) {
            if let Some(said) = said.filter(|_| partial.power > 0.0) {
                sum += said.weight * (partial.cents - cents - stretch * said.stretch);
                weights += said.weight;
            }
        }
        if weights > 0.0 {
            let own = 10_f64.powf(look.level_db / 10.0);
            apart += own * (sum / weights).powi(2);
            power += own;
        }
    }
    let age_s = (LOOKS - 1 - counted.newest) as f64 / LOOKS_PER_S;
    Some(Weighed {
        cents,
        sigma: sigma.hypot(AGES_CENTS_PER_S * age_s),
        wavers: (apart / power).sqrt(),
    })
}

/// Which tone each look belongs to: the number of the look that found it first.
fn tones(looks: &[Option<Look>; LOOKS]) -> [Option<usize>; LOOKS] {
    let mut tones = [None; LOOKS];
    for (at, look) in looks.iter().enumerate() {
        let Some(look) = look else { continue };
        let before = (at.saturating_sub(NEXT_WITHIN)..at)
            .rev()
            .find(|before| looks[*before].is_some_and(|before| (before.cents - look.cents).abs() <= SAME_TONE_CENTS));
        tones[at] = before.map_or(Some(at), |before| tones[before]);
    }
    tones
}

/// The looks of `tone` that count, if they are enough.
fn counted(looks: &[Option<Look>; LOOKS], tones: &[Option<usize>; LOOKS], tone: usize) -> Option<Counted> {
    let level = |at: usize| looks[at].filter(|_| tones[at] == Some(tone)).map(|look| look.level_db);
    let levels = || (0..LOOKS).filter_map(|at| level(at).map(|level_db| (at, level_db)));
    let (loudest, most_db) = levels().max_by(|one, other| one.1.total_cmp(&other.1))?;
    let mut counted = Counted {
        looks: [false; LOOKS],
        newest: 0,
        rank_db: f64::NEG_INFINITY,
    };
    for (at, level_db) in levels() {
        let after_s = at.saturating_sub(loudest) as f64 / LOOKS_PER_S;
        if level_db >= most_db - SOFTER_DB - DIES_DB_PER_S * after_s {
            let age_s = (LOOKS - 1 - at) as f64 / LOOKS_PER_S;
            counted.looks[at] = true;
            counted.newest = at;
            counted.rank_db = counted.rank_db.max(level_db - FORGOTTEN_DB_PER_S * age_s);
        }
    }
    (counted.looks.iter().filter(|of| **of).count() >= FOUND_MIN).then_some(counted)
}

/// How fast the tone falls, decibels in a second, by a straight line through its levels.
fn falls<'a>(looks: impl Iterator<Item = (f64, &'a Look)> + Clone) -> f64 {
    let count = looks.clone().count() as f64;
    let mean_s = looks.clone().map(|(at_s, _)| at_s).sum::<f64>() / count;
    let (mut along, mut square) = (0.0, 0.0);
    for (at_s, look) in looks {
        along += (at_s - mean_s) * look.level_db;
        square += (at_s - mean_s).powi(2);
    }
    -along / square
}

/// What `looks` say of the partial that follows `number` others: their mean by power, and its variance by how far they
/// scatter and by what each has beside it.
fn of_partial<'a>(looks: impl Iterator<Item = &'a Look> + Clone, number: usize) -> Option<Said> {
    let seen = || {
        let partials = looks.clone().map(move |look| look.partials[number]);
        partials.filter(|partial| partial.power > 0.0)
    };
    let (mut seen_power, mut all_power) = (0.0, 0.0);
    for look in looks.clone() {
        let power = 10_f64.powf(look.level_db / 10.0);
        all_power += power;
        if look.partials[number].power > 0.0 {
            seen_power += power;
        }
    }
    if seen().count() < SEEN_MIN || seen_power < SEEN_SHARE * all_power {
        return None;
    }
    let power: f64 = seen().map(|partial| partial.power).sum();
    let mean = |of: &dyn Fn(f64, f64) -> f64| {
        let sum: f64 = seen()
            .map(|partial| partial.power * of(partial.cents, partial.variance))
            .sum();
        sum / power
    };
    let cents = mean(&|cents, _| cents);
    let scatter = mean(&|at, _| (at - cents).powi(2));
    let beside = mean(&|_, variance| variance);
    let count = power.powi(2) / seen().map(|partial| partial.power.powi(2)).sum::<f64>();
    let independent = (count / LOOKS_IN_ONE).max(1.0);
    let variance = (scatter * (1.0 + 2.0 / count) + beside) / independent + PARTIAL_FLOOR_CENTS.powi(2);
    Some(Said {
        stretch: ((number + 1) as f64).powi(2) - 1.0,
        cents,
        variance,
        weight: 1.0 / variance,
    })
}

/// Joins the partials: the pitch of the first and the stretch for each n² − 1, cents, and the pitch's standard deviation.
///
/// Weighted least squares, with what is known of the stretch as one more observation, of a + s·(n² − 1), which is the
/// stiff-string model for the little stretch there is; who disagrees counts less in the next round.
fn join(said: &mut [Option<Said>; PARTIALS], known: Stretch) -> Option<(f64, f64, f64)> {
    said.iter().flatten().next()?;
    let mut joined = (0.0, 0.0, 0.0);
    for _ in 0..ROUNDS {
        let sum = |of: &dyn Fn(&Said) -> f64| said.iter().flatten().map(|said| said.weight * of(said)).sum::<f64>();
        let own = known.sigma.powi(-2);
        let (weight, along) = (sum(&|_| 1.0), sum(&|said| said.stretch));
        let square = sum(&|said| said.stretch.powi(2)) + own;
        let (cents, tilted) = (
            sum(&|said| said.cents),
            sum(&|said| said.stretch * said.cents) + own * known.cents,
        );
        let determinant = weight * square - along * along;
        let pitch = (cents * square - along * tilted) / determinant;
        let stretch = (weight * tilted - along * cents) / determinant;
        let apart = |said: &Said| said.cents - pitch - stretch * said.stretch;
        // Where they still disagree among one another, the whole is as doubtful.
        let others = (said.iter().flatten().count() as f64 - 1.0).max(1.0);
        let disagree = (sum(&|said| apart(said).powi(2)) / others).max(1.0);
        joined = (
            pitch,
            stretch,
            (square / determinant * disagree).sqrt().hypot(FLOOR_CENTS),
        );
        for said in said.iter_mut().flatten() {
            let far = apart(said).powi(2) / said.variance / DISAGREES.powi(2);
            said.weight = 1.0 / (said.variance * far.max(1.0));
        }
    }
    Some(joined)
}

//! The odds of pedals, levers, open tuning and offset, weighed against each other.

use std::f64::consts::TAU;

use consort_proto::{Accidental, Cents, HarpString, Letter, Mechanism, StringNumber};

/// What may be so of the harp as a whole.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Guess {
    /// The open strings are those that the harp was set to.
    AsSet,
    /// All pedals stand in natural.
    AllPedals,
    /// The open strings of each letter, in the order of [`Letter::ALL`], stand so many semitones higher.
    OpenTuning([i32; 7]),
}

impl Guess {
    /// Semitones by which the open strings of the letter stand higher than the harp is set to.
    pub(super) const fn semitones(&self, letter: Letter) -> i32 {
        match self {
            Self::AsSet => 0,
            Self::AllPedals => 1,
            Self::OpenTuning(by_letter) => by_letter[letter.index()],
        }
    }
}

/// What is probable, given the plucks.
#[derive(Clone, Debug)]
pub(super) struct Odds {
    /// The harp's own offset, the mean over everything that is possible.
    pub(super) mean: Cents,
    /// The likeliest guess about the whole harp, and its probability.
    pub(super) guess: Guess,
    pub(super) guess_probability: f64,
    /// For each pluck, by how many semitones its own pedal or lever raises it, likeliest, and how likely.
    pub(super) raised: Vec<(u8, f64)>,
    /// For each pluck, how likely it sounds where nothing puts it.
    pub(super) elsewhere: Vec<f64>,
}

/// A heard string and how far it sounds above its open target.
type Heard = (StringNumber, HarpString, Cents);

/// Offsets of a harp that are weighed, cents either way, and between two of them; a harp beyond that has been let down.
const OFFSET_MOST: i32 = 60;
const OFFSET_STEP: usize = 2;
/// A whole harp is off by up to this much, cents, one as likely as the other, and beyond it hardly ever: it drifts, and
/// ensembles differ by some cents (assumed; no drift of harps is published). So far sharp, its pedals are in natural.
const OFFSET_USUAL: f64 = 40.0;
const OFFSET_BEYOND_SIGMA: f64 = 4.0;
/// How far single strings lie beside the harp's offset, one standard deviation, cents: most, and those that have moved;
/// of these so many have fallen (assumed).
const STRING_SIGMA: f64 = 6.0;
const MOVED_SIGMA: f64 = 20.0;
const MOVED_SHARE: f64 = 0.15;
const FALLEN_SHARE: f64 = 0.75;
/// Another string than the one asked for is plucked, or it is far off; its pitch is then anywhere in two octaves.
const ELSEWHERE_SHARE: f64 = 0.01;
const ELSEWHERE_DENSITY: f64 = 1.0 / 2_400.0;
/// How often a pedal is forgotten in natural or in sharp, a lever left up, all pedals left in natural, and the harp set in
/// another open tuning: assumed.
const PEDAL_SHARES: [f64; 3] = [0.92, 0.06, 0.02];
const LEVER_SHARES: [f64; 2] = [0.95, 0.05];
const ALL_PEDALS_SHARE: f64 = 0.01;
const OPEN_TUNING_SHARE: f64 = 0.01;
/// Open tunings of lever harps have up to four flats, in the order of the circle of fifths (common practice).
const FLATS: [Letter; 4] = [Letter::B, Letter::E, Letter::A, Letter::D];

impl Odds {
    /// Weighs every guess, offset and position against what was heard.
    pub(super) fn weigh(heard: &[Heard]) -> Self {
        let mut sum = Sum::new(heard.len());
        for (guess, share) in guesses(heard) {
            let mut weight_of_guess = 0.0;
            for offset in (-OFFSET_MOST..=OFFSET_MOST).step_by(OFFSET_STEP) {
                let offset = f64::from(offset);
                let prior = share * offset_share(offset);
                weight_of_guess += sum.add(heard, &guess, offset, prior);
            }
            sum.guesses.push((guess, weight_of_guess));
        }
        sum.close()
    }
}

/// What is added up over all guesses and offsets.
struct Sum {
    all: f64,
    offset: f64,
    guesses: Vec<(Guess, f64)>,
    raised: Vec<[f64; 3]>,
    elsewhere: Vec<f64>,
}

impl Sum {
    fn new(plucks: usize) -> Self {
        Self {
            all: 0.0,
            offset: 0.0,
            guesses: Vec::new(),
            raised: vec![[0.0; 3]; plucks],
            elsewhere: vec![0.0; plucks],
        }
    }

    /// Adds what one guess and one offset make of the plucks; their weight.
    fn add(&mut self, heard: &[Heard], guess: &Guess, offset: f64, prior: f64) -> f64 {
        let groups = groups(heard);
        let mut weight = prior;
        let mut of_groups = Vec::with_capacity(groups.len());
        for group in &groups {
            let shares = shares(&heard[group[0]].1);
            let by_position: Vec<f64> = shares
                .iter()
                .enumerate()
                .map(|(position, share)| {
                    let likelihoods = group.iter().map(|&at| {
                        let (there, elsewhere) = likelihood(&heard[at], guess, offset, position);
                        there + elsewhere
                    });
                    share * likelihoods.product::<f64>()
                })
                .collect();
            let whole: f64 = by_position.iter().sum();
            weight *= whole;
            of_groups.push((by_position, whole));
        }
        self.all += weight;
        self.offset += weight * offset;
        for (group, (by_position, whole)) in groups.iter().zip(&of_groups) {
            for (position, share) in by_position.iter().enumerate() {
                let weight = weight * share / whole;
                for &at in group {
                    let (there, elsewhere) = likelihood(&heard[at], guess, offset, position);
                    self.raised[at][position] += weight;
                    self.elsewhere[at] += weight * elsewhere / (there + elsewhere);
                }
            }
        }
        weight
    }

    fn close(self) -> Odds {
        let all = self.all;
        let (guess, weight) = self
            .guesses
            .into_iter()
            .max_by(|one, other| one.1.total_cmp(&other.1))
            .unwrap_or((Guess::AsSet, all));
        Odds {
            mean: Cents(self.offset / all),
            guess,
            guess_probability: weight / all,
            raised: self.raised.iter().map(|positions| likeliest(positions, all)).collect(),
            elsewhere: self.elsewhere.iter().map(|weight| weight / all).collect(),
        }
    }
}

fn likeliest(positions: &[f64; 3], all: f64) -> (u8, f64) {
    let mut best = (0, positions[0] / all);
    for (position, weight) in (0_u8..).zip(positions) {
        if weight / all > best.1 {
            best = (position, weight / all);
        }
    }
    best
}

/// The guesses that are possible of the plucked strings, with their shares.
fn guesses(heard: &[Heard]) -> Vec<(Guess, f64)> {
    let has = |mechanism| heard.iter().any(|(_, string, _)| string.mechanism == mechanism);
    let mut guesses = Vec::new();
    if has(Mechanism::Discs) {
        guesses.push((Guess::AllPedals, ALL_PEDALS_SHARE));
    }
    if has(Mechanism::Lever) {
        let set = |letter| {
            let string = heard.iter().find(|(_, string, _)| string.open.letter == letter);
            string.map_or(0, |(_, string, _)| string.open.accidental.semitones())
        };
        for flats in 0..=FLATS.len() {
            let open = |letter| {
                if FLATS[..flats].contains(&letter) {
                    Accidental::Flat.semitones()
                } else {
                    Accidental::Natural.semitones()
                }
            };
            let by_letter = Letter::ALL.map(|letter| {
                let was_heard = heard.iter().any(|(_, string, _)| string.open.letter == letter);
                if was_heard { open(letter) - set(letter) } else { 0 }
            });
            let guess = Guess::OpenTuning(by_letter);
            if by_letter != [0; 7] && guesses.iter().all(|(known, _)| *known != guess) {
                guesses.push((guess, OPEN_TUNING_SHARE));
            }
        }
    }
    let rest = 1.0 - guesses.iter().map(|(_, share)| share).sum::<f64>();
    guesses.push((Guess::AsSet, rest));
    guesses
}

/// Plucks that one mechanism moves together: those of one pedal's letter; each lever string by itself.
fn groups(heard: &[Heard]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (at, (number, string, _)) in heard.iter().enumerate() {
        let same = |other: usize| {
            let (other_number, other, _) = &heard[other];
            other_number == number
                || string.mechanism == Mechanism::Discs
                    && other.mechanism == Mechanism::Discs
                    && other.open.letter == string.open.letter
        };
        match groups.iter_mut().find(|group| same(group[0])) {
            Some(group) => group.push(at),
            None => groups.push(vec![at]),
        }
    }
    groups
}

/// How often the string's mechanism stands in each position.
fn shares(string: &HarpString) -> &'static [f64] {
    match string.mechanism {
        Mechanism::Discs => &PEDAL_SHARES,
        Mechanism::Lever => &LEVER_SHARES,
        Mechanism::Fixed => &[1.0],
    }
}

/// The likelihood of the pluck where guess, offset and position put it, and of its being elsewhere; per cent of pitch.
fn likelihood((_, string, above): &Heard, guess: &Guess, offset: f64, position: usize) -> (f64, f64) {
    // Where all pedals stand in natural, each of them may stand a semitone beside that, but not two.
    let position = match guess {
        Guess::AllPedals => [0.0, -1.0, 1.0][position],
        Guess::AsSet | Guess::OpenTuning(_) => position as f64,
    };
    let raised = f64::from(guess.semitones(string.open.letter)) + position;
    let beside = above.0 - offset - 100.0 * raised;
    let there = (1.0 - MOVED_SHARE) * normal(beside, STRING_SIGMA) + MOVED_SHARE * moved(beside);
    ((1.0 - ELSEWHERE_SHARE) * there, ELSEWHERE_SHARE * ELSEWHERE_DENSITY)
}

/// How likely a harp's own offset is beside others.
fn offset_share(offset: f64) -> f64 {
    let beyond = (offset.abs() - OFFSET_USUAL).max(0.0);
    (-0.5 * (beyond / OFFSET_BEYOND_SIGMA).powi(2)).exp()
}

/// How likely a string that has moved lies so far beside the harp's offset.
fn moved(beside: f64) -> f64 {
    let side = if beside < 0.0 { FALLEN_SHARE } else { 1.0 - FALLEN_SHARE };
    2.0 * side * normal(beside, MOVED_SIGMA)
}

fn normal(x: f64, sigma: f64) -> f64 {
    (-0.5 * (x / sigma).powi(2)).exp() / (sigma * TAU.sqrt())
}

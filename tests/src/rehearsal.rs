//! A rehearsal that can be watched: virtual harps and harpists, real stations, one real coordinator, and the truth at the
//! end.

mod cast;
mod outcome;
mod player;
mod podium;
mod window;

use std::path::PathBuf;
use std::time::{Duration, Instant};

use consort_harp::deed::Deed;
use consort_harp::truth::Truth;
use consort_proto::{ReferencePitch, Tuning};
use serde_json::Value;

use crate::process::{Folder, say};
use cast::Part;
use outcome::Outcome;
use player::{Player, Progress};
use podium::Podium;

/// How the rehearsal is played.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Hands the sound over as fast as it is heard.
    pub fast: bool,
    /// Keeps the coordinator and its board open at the end.
    pub stay: bool,
    /// Kills a station and the coordinator in the middle, and starts them again.
    pub mishaps: bool,
    /// Announces nothing: the stations join by the address in the link.
    pub no_discovery: bool,
    /// The folder for what every harpist did, what her station said and what was true, a file for each.
    pub truth: Option<PathBuf>,
    /// Where connections to the board arrive from outside this private network.
    pub board_socket: Option<PathBuf>,
    /// The port by which the board is reached from outside.
    pub board_shown_at: Option<u16>,
}

/// The reference pitch at first, and the one that the oboe brings, in hertz.
const PITCHES: [&str; 2] = ["440", "442"];
/// The pitch moves when the quickest harp holds so many of its strings, in a hundred.
const MOVES_AT_PERCENT: u64 = 50;
/// How long the stations may take to join.
const JOINS_WITHIN: Duration = Duration::from_secs(30);
/// The longest that the whole may take.
const LASTS_AT_MOST: Duration = Duration::from_secs(3_600);

impl Options {
    /// Reads the words of the command line; what is wrong comes back as one sentence.
    pub fn parse(mut words: impl Iterator<Item = String>) -> Result<Self, String> {
        let mut options = Self::default();
        while let Some(word) = words.next() {
            let mut value = || words.next().ok_or_else(|| format!("{word} needs a value"));
            match word.as_str() {
                "--fast" => options.fast = true,
                "--stay" => options.stay = true,
                "--mishaps" => options.mishaps = true,
                "--no-discovery" => options.no_discovery = true,
                "--truth" => options.truth = Some(value()?.into()),
                "--board-socket" => options.board_socket = Some(value()?.into()),
                "--board-shown-at" => {
                    let port = value()?;
                    options.board_shown_at = Some(port.parse().map_err(|_| format!("{port} is not a port"))?);
                }
                _ => return Err(format!("the rehearsal has no option “{word}”")),
            }
        }
        Ok(options)
    }
}

/// Plays the rehearsal; whether the ensemble came together and nothing was shown that is not so.
pub fn play(options: &Options) -> Result<bool, String> {
    let folder = Folder::new("rehearsal");
    let parts = cast::cast()?;
    let mut podium = Podium::open(options, folder.inside("coordinator"), PITCHES[0])?;
    let board = window::open(options, podium.board()?)?;
    say(&format!("The board is at {board}"));
    for part in &parts {
        say(&format!(
            "{} comes with a {}: {}.",
            part.player, part.harp_word, part.trouble
        ));
    }
    let began = Instant::now();
    let players = gather(options, &parts, &folder, &podium)?;
    say(&format!(
        "All four have joined. A is {} Hz, until the oboe says otherwise.",
        PITCHES[0]
    ));
    let mut rehearsal = Rehearsal {
        options,
        parts: &parts,
        players,
        moved: false,
        stumbled: false,
        falsely_ready: Vec::new(),
        last: String::new(),
    };
    rehearsal.run(&mut podium, began)?;
    let right = rehearsal.close(&podium, began)?;
    if options.stay {
        say(&format!("The board stays at {board} until Ctrl-C."));
        podium.stay();
    }
    for player in &mut rehearsal.players {
        player.end();
    }
    podium.close();
    Ok(right)
}

/// Everyone sits down at her harp.
fn gather(options: &Options, parts: &[Part], folder: &Folder, podium: &Podium) -> Result<Vec<Player>, String> {
    let link = podium.join_link()?;
    let mut players = Vec::new();
    for part in parts {
        let data = folder.inside(part.player);
        let mut words = vec![
            "--data",
            &data,
            "--name",
            part.player,
            "--harp",
            part.harp_word,
            "--join",
            &link,
        ];
        words.extend(["--desk-port", "0", "--no-browser", "--advice", "json"]);
        words.extend(["--input", "stdin", "--rate", "48000"]);
        if options.no_discovery {
            words.push("--no-discovery");
        }
        let words = words.into_iter().map(str::to_owned).collect();
        let complaints = folder.inside(&format!("{}.log", part.player));
        let truth = truth_of(options, part)?;
        players.push(Player::start(
            part,
            words,
            complaints,
            truth,
            at(PITCHES[0])?,
            !options.fast,
        )?);
    }
    let until = Instant::now() + JOINS_WITHIN;
    loop {
        let status = podium.status()?;
        if stations(&status)
            .filter(|station| station["presence"] == "here")
            .count()
            == parts.len()
        {
            return Ok(players);
        }
        if let Some(why) = players.iter().find_map(|player| player.progress().stopped) {
            return Err(why);
        }
        if Instant::now() > until {
            return Err("not all stations find the coordinator".to_owned());
        }
        std::thread::sleep(Duration::from_millis(100));
    }
}

/// The file for what is true of the part, if one is wanted.
fn truth_of(options: &Options, part: &Part) -> Result<Truth, String> {
    let Some(folder) = &options.truth else {
        return Ok(Truth::default());
    };
    std::fs::create_dir_all(folder).map_err(|why| format!("{} cannot be made: {why}", folder.display()))?;
    Truth::new(Some(&folder.join(format!("{}.jsonl", part.player))))
}

struct Rehearsal<'a> {
    options: &'a Options,
    parts: &'a [Part],
    players: Vec<Player>,
    moved: bool,
    stumbled: bool,
    falsely_ready: Vec<String>,
    last: String,
}

impl Rehearsal<'_> {
    /// Until everyone has finished.
    fn run(&mut self, podium: &mut Podium, began: Instant) -> Result<(), String> {
        loop {
            std::thread::sleep(Duration::from_millis(if self.options.fast { 250 } else { 1_000 }));
            if podium.has_fallen() {
                say("The coordinator has ended: it is started again where it was.");
                podium.fall_and_rise()?;
            }
            // An order that meets a coordinator on its way up or down is given again a moment later.
            let Ok(status) = podium.status() else { continue };
            let progress: Vec<Progress> = self.players.iter().map(Player::progress).collect();
            self.tell(&status, &progress)?;
            let halfway = self.parts.iter().zip(&progress).any(|(part, progress)| {
                Outcome::of(part, progress, &status)
                    .is_ok_and(|outcome| outcome.holding() * 100 >= part.harp.len() as u64 * MOVES_AT_PERCENT)
            });
            if halfway && !self.moved {
                self.move_the_pitch(podium)?;
            } else if self.moved && self.options.mishaps && !self.stumbled {
                self.stumbled = true;
                say("Teodor's laptop dies and is started again; so is the coordinator.");
                self.players[1].kill_station();
                podium.fall_and_rise()?;
            }
            if let Some((part, why)) = self
                .parts
                .iter()
                .zip(&progress)
                .find_map(|(part, progress)| Some((part, progress.stopped.as_ref()?)))
            {
                return Err(format!("{} had to stop: {why}", part.player));
            }
            if progress.iter().all(|progress| progress.finished) {
                return Ok(());
            }
            if began.elapsed() > LASTS_AT_MOST {
                return Err("the rehearsal does not come to an end".to_owned());
            }
        }
    }

    fn move_the_pitch(&mut self, podium: &Podium) -> Result<(), String> {
        podium.order(&["pitch", PITCHES[1]])?;
        self.moved = true;
        for player in &self.players {
            player.agreed(at(PITCHES[1])?);
        }
        say(&format!(
            "The oboe gives {} Hz: every string is judged anew, without a pluck.",
            PITCHES[1]
        ));
        Ok(())
    }

    /// Says what has happened, and looks whether the board shows anything that is not so.
    fn tell(&mut self, status: &Value, progress: &[Progress]) -> Result<(), String> {
        let mut line = String::new();
        for ((part, player), progress) in self.parts.iter().zip(&self.players).zip(progress) {
            for done in player.take_log() {
                if let Some(sentence) = sentence(part, &done.deed) {
                    say(&sentence);
                }
            }
            let outcome = Outcome::of(part, progress, status)?;
            if outcome.is_ready() {
                for string in outcome.falsely_held() {
                    let name = part.name_of(string.string);
                    self.falsely_ready.push(format!(
                        "{} was shown ready with {name} {:+.2} cents off",
                        part.player, string.cents
                    ));
                }
            }
            line += &format!("{} {} of {} · ", part.player, outcome.holding(), part.harp.len());
        }
        let line = format!("{line}A = {}", status["pitch_hz"]);
        if line != self.last {
            say(&line);
            self.last = line;
        }
        Ok(())
    }

    /// The truth beside the board, once every report has arrived; whether the ensemble came together.
    fn close(&mut self, podium: &Podium, began: Instant) -> Result<bool, String> {
        let status = settled(podium)?;
        let progress: Vec<Progress> = self.players.iter().map(Player::progress).collect();
        self.tell(&status, &progress)?;
        let mut apart = Vec::new();
        let (mut astray, mut moved, mut falsely_held) = (0_u32, 0_u32, 0);
        say("String by string: true cents, then measured ones; * is out of tolerance in truth.");
        for (part, progress) in self.parts.iter().zip(&progress) {
            let outcome = Outcome::of(part, progress, &status)?;
            outcome.table().iter().for_each(|line| say(line));
            apart.extend(outcome.apart());
            for string in outcome.out_of_tune() {
                astray += u32::from(Outcome::is_astray(string));
                moved += u32::from(!Outcome::is_astray(string));
                say(&format!(
                    "  {} is out of tune in truth: {:+.2} cents, and may be {} off",
                    part.name_of(string.string),
                    string.cents,
                    string.tolerance_cents,
                ));
            }
            falsely_held += outcome.falsely_held().len();
        }
        apart.sort_by(f64::total_cmp);
        self.falsely_ready.dedup();
        self.falsely_ready.iter().for_each(|sentence| say(sentence));
        let restarts: u32 = progress.iter().map(|progress| progress.restarts).sum();
        say(&format!(
            "It took {} s. Measured and true lie {:.2} cents apart in the median, {:.2} in 95 of 100 strings.{}",
            began.elapsed().as_secs(),
            apart.get(apart.len() / 2).copied().unwrap_or_default(),
            apart.get(apart.len() * 95 / 100).copied().unwrap_or_default(),
            if restarts > 0 {
                format!(" Stations were started again {restarts} times.")
            } else {
                String::new()
            },
        ));
        say(&match (astray, moved) {
            (0, 0) => "The ensemble came together: every string that can hold is in tune in truth.".to_owned(),
            (0, 1) => "The ensemble came together; one string stands a little beyond its tolerance in truth, less than what the \
                       frame and the room move between two plucks."
                .to_owned(),
            (0, moved) => format!(
                "The ensemble came together; {moved} strings stand a little beyond their tolerance in truth, less than what the \
                 frame and the room move between two plucks."
            ),
            (1, _) => {
                "The ensemble did not come together: one string that can hold is out of tune in truth.".to_owned()
            }
            _ => {
                format!("The ensemble did not come together: {astray} strings that can hold are out of tune in truth.")
            }
        });
        say(&match (falsely_held, self.falsely_ready.len()) {
            (0, 0) => "Nothing was shown as ready or holding that was not.".to_owned(),
            (held, ready) => format!("Shown wrongly: {held} strings as holding, {ready} times a harp as ready."),
        });
        Ok(astray == 0 && falsely_held == 0 && self.falsely_ready.is_empty())
    }
}

/// What the audience is told of a deed; of most, nothing.
fn sentence(part: &Part, deed: &Deed) -> Option<String> {
    let player = part.player;
    Some(match deed {
        Deed::MovedPedal { letter, .. } => format!("{player} puts the {letter} pedal up, as the desk asks."),
        Deed::MovedLever { string } => format!("{player} puts the lever of {} down.", part.name_of(*string)),
        Deed::FoundWrongPin { meant, turned } => format!(
            "{player} finds her key on {} instead of {}.",
            part.name_of(*turned),
            part.name_of(*meant)
        ),
        Deed::LeftIt { string, cents } => format!(
            "{player} is told to leave {} and go on; it stands {cents:+.1} cents off.",
            part.name_of(*string)
        ),
        Deed::Checks => format!("{player} plays every string once more, as a last check."),
        Deed::Finished { all_set: true } => format!("{player} is done."),
        Deed::Finished { all_set: false } => format!("{player} leaves it at that."),
        _ => return None,
    })
}

/// The status once every report on its way has arrived: the same twice, a second apart, but for ages.
fn settled(podium: &Podium) -> Result<Value, String> {
    let harps = |status: &Value| {
        let mut harps: Vec<Value> = stations(status).cloned().collect();
        for harp in &mut harps {
            if let Some(fields) = harp.as_object_mut() {
                fields.retain(|field, _| !field.ends_with("_s"));
            }
        }
        harps
    };
    let mut before = podium.status()?;
    for _ in 0..20 {
        std::thread::sleep(Duration::from_secs(1));
        let now = podium.status()?;
        let all_here = stations(&now).all(|station| station["presence"] == "here");
        if harps(&now) == harps(&before) && all_here {
            return Ok(now);
        }
        before = now;
    }
    Err("the status does not come to rest".to_owned())
}

fn stations(status: &Value) -> impl Iterator<Item = &Value> {
    status["stations"].as_array().into_iter().flatten()
}

/// What everyone tunes to at the pitch that `text` names.
fn at(text: &str) -> Result<Tuning, String> {
    let a4: ReferencePitch = text.parse().map_err(|why| format!("{text}: {why}"))?;
    Ok(Tuning {
        a4,
        ..Tuning::default()
    })
}

//! A harpist at work: a thread that plays her harp into a real station and lets her read what it advises.

use std::collections::BTreeMap;
use std::fs::File;
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use consort_harp::deed::{Deed, Done};
use consort_harp::trial::Trial;
use consort_harp::truth::Truth;
use consort_harp::{Harpist, TrueString};
use consort_proto::{SampleRate, Tolerance, Tuning};

use super::cast::Part;
use crate::process::path_of;

/// A harpist whose thread runs.
#[derive(Debug)]
pub(crate) struct Player {
    stage: Arc<Mutex<Scene>>,
    thread: Option<JoinHandle<()>>,
}

/// What she and the audience know of each other.
#[derive(Debug, Default)]
struct Scene {
    /// What the targets are, for the truth.
    tuning: Tuning,
    progress: Progress,
    /// What she did and nobody has looked at yet.
    log: Vec<Done>,
    /// The station is to be killed.
    mishap: bool,
    /// The rehearsal is over.
    over: bool,
}

/// How far she has come.
#[derive(Clone, Debug, Default)]
pub(crate) struct Progress {
    /// Seconds of sound.
    pub(crate) played_s: f64,
    /// Whether she has finished.
    pub(crate) finished: bool,
    /// Every string as it truly is.
    pub(crate) standing: Vec<TrueString>,
    /// Strings whose pins were turned and that nobody can have heard since.
    pub(crate) unheard: Unheard,
    /// How often the station was started again.
    pub(crate) restarts: u32,
    /// Why she plays no more, if she had to stop.
    pub(crate) stopped: Option<String>,
}

/// Strings whose pins were turned, and when they were plucked since: seconds of sound, and by the clock.
#[derive(Clone, Debug, Default)]
pub(crate) struct Unheard(BTreeMap<u8, Option<(f64, Instant)>>);

/// A pluck is measured to its end within this, seconds of sound.
const HEARD_WITHIN_S: f64 = 3.0;
/// And it is reported and shown within this by the clock, which sound that is not paced runs far ahead of.
const SHOWN_WITHIN: Duration = Duration::from_secs(3);

impl Unheard {
    /// Takes in what was done.
    fn follow(&mut self, done: &Done) {
        match done.deed {
            Deed::Turned { string, .. } => drop(self.0.insert(string, None)),
            Deed::Plucked { string, .. } => {
                if let Some(plucked) = self.0.get_mut(&string) {
                    plucked.get_or_insert((done.time_s, Instant::now()));
                }
            }
            _ => {}
        }
    }

    /// Forgets the strings whose pluck must have been heard by now.
    fn forget(&mut self, now_s: f64) {
        self.0.retain(|_, plucked| {
            plucked.is_none_or(|(at_s, at)| now_s - at_s < HEARD_WITHIN_S || at.elapsed() < SHOWN_WITHIN)
        });
    }

    /// Whether nobody can have heard how the string stands.
    pub(crate) fn has(&self, string: u8) -> bool {
        self.0.contains_key(&string)
    }
}

/// The stations hear at the usual rate.
const RATE: SampleRate = SampleRate::STUDIO;
/// How long a station may take to start and give its first advice.
const STARTS_WITHIN: Duration = Duration::from_secs(30);
/// The truth is looked at this often, seconds of sound.
const LOOKS_EVERY_S: f64 = 0.5;
/// A harpist who takes longer than this, seconds of sound, will not come to an end.
const PLAYS_AT_MOST_S: f64 = 3_600.0;
/// A station that ends more often than this is beyond help.
const RESTARTS_MAX: u32 = 3;

impl Player {
    /// Starts the station with `words` and the harpist at it; `complaints` gets what the station complains of, `truth` what was
    /// done, said and so.
    pub(crate) fn start(
        part: &Part,
        words: Vec<String>,
        complaints: String,
        mut truth: Truth,
        tuning: Tuning,
        paced: bool,
    ) -> Result<Self, String> {
        let mut harpist = Harpist::new(part.virtual_harp(RATE)?, part.pace, true, part.seed());
        harpist.agreed(tuning);
        let stage = Arc::new(Mutex::new(Scene {
            tuning,
            progress: Progress {
                standing: harpist.standing(&Tolerance::default()),
                ..Progress::default()
            },
            ..Scene::default()
        }));
        let scene = Arc::clone(&stage);
        let thread = thread::spawn(move || {
            if let Err(why) = play(&scene, &mut harpist, &words, &complaints, &mut truth, paced) {
                lock(&scene).progress.stopped = Some(why);
            }
        });
        Ok(Self {
            stage,
            thread: Some(thread),
        })
    }

    /// How far she has come.
    pub(crate) fn progress(&self) -> Progress {
        lock(&self.stage).progress.clone()
    }

    /// What she did since this was last asked.
    pub(crate) fn take_log(&self) -> Vec<Done> {
        std::mem::take(&mut lock(&self.stage).log)
    }

    /// The targets are other ones from now on.
    pub(crate) fn agreed(&self, tuning: Tuning) {
        lock(&self.stage).tuning = tuning;
    }

    /// Kills her station, as a laptop that runs out of power would; she starts it again.
    pub(crate) fn kill_station(&self) {
        lock(&self.stage).mishap = true;
    }

    /// Ends her station and her thread.
    pub(crate) fn end(&mut self) {
        lock(&self.stage).over = true;
        if let Some(thread) = self.thread.take() {
            // A thread that panicked has said so.
            let _ = thread.join();
        }
    }
}

impl Drop for Player {
    fn drop(&mut self) {
        self.end();
    }
}

fn play(
    scene: &Mutex<Scene>,
    harpist: &mut Harpist,
    words: &[String],
    complaints: &str,
    truth: &mut Truth,
    paced: bool,
) -> Result<(), String> {
    let mut trial = sit_down(words, complaints, paced)?;
    let mut looked_s = 0.0;
    loop {
        let (tuning, over, mishap) = {
            let mut scene = lock(scene);
            (scene.tuning, scene.over, std::mem::take(&mut scene.mishap))
        };
        if over {
            return trial.end(|_| {}).map_err(|why| why.to_string());
        }
        harpist.agreed(tuning);
        if mishap {
            trial.kill();
        }
        if harpist.now_s() - looked_s >= LOOKS_EVERY_S || harpist.is_finished() {
            let moved_on = harpist.now_s() > looked_s;
            looked_s = harpist.now_s();
            let mut scene = lock(scene);
            for done in harpist.take_log() {
                scene.progress.unheard.follow(&done);
                truth.line(&done)?;
                scene.log.push(done);
            }
            scene.progress.unheard.forget(harpist.now_s());
            scene.progress.played_s = harpist.now_s();
            scene.progress.finished = harpist.is_finished();
            scene.progress.standing = harpist.standing(&Tolerance::default());
            if moved_on {
                truth.standing(looked_s, &scene.progress.standing)?;
            }
        }
        if harpist.is_finished() {
            // The station stays, so that the board goes on hearing of it.
            thread::sleep(Duration::from_millis(50));
            continue;
        }
        if harpist.now_s() > PLAYS_AT_MOST_S {
            return Err(format!(
                "she has played for {PLAYS_AT_MOST_S} seconds and has not come to an end"
            ));
        }
        let mut said = Ok(());
        let stepped = trial.step(harpist, |time_s, line| {
            said = std::mem::replace(&mut said, Ok(())).and_then(|()| truth.said(time_s, line));
        });
        said?;
        if stepped.is_err() {
            let restarts = lock(scene).progress.restarts;
            if restarts == RESTARTS_MAX {
                return Err(format!("her station has ended {} times", restarts + 1));
            }
            lock(scene).progress.restarts += 1;
            trial.kill();
            trial = sit_down(words, complaints, paced)?;
        }
    }
}

/// Starts the station and waits for its first advice.
fn sit_down(words: &[String], complaints: &str, paced: bool) -> Result<Trial, String> {
    let log = File::options()
        .create(true)
        .append(true)
        .open(complaints)
        .map_err(|why| format!("{complaints}: {why}"))?;
    let mut command = Command::new(path_of("consort-station"));
    command.args(words).stderr(Stdio::from(log));
    let mut trial =
        Trial::start(&mut command, RATE.get(), paced).map_err(|why| format!("the station does not start: {why}"))?;
    if trial.is_ready(STARTS_WITHIN, |_| {}) {
        Ok(trial)
    } else {
        let said = std::fs::read_to_string(complaints).unwrap_or_default();
        trial.kill();
        Err(format!("the station gives no advice: {}", said.trim()))
    }
}

/// What a thread that panicked has left is still true.
fn lock(scene: &Mutex<Scene>) -> MutexGuard<'_, Scene> {
    scene.lock().unwrap_or_else(PoisonError::into_inner)
}

//! The check of the regulation by ear: asks for each string in each position, writes what it hears into the record, and
//! goes on where it was broken off.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::{Duration, Instant};

use consort_analysis::Doubt;
use consort_proto::{Harp, Reading, SampleRate, StringNumber, Tolerance, Tuning};
use consort_record::check::{Check, PLACE, Stage, Taken};
use consort_record::regulation::{self, StepError};
use consort_record::telling::string_name;
use consort_record::{Chronicle, Heard, Moment, Place, Timbre, Visit};
use consort_record_store::csv::line;
use consort_record_store::{Kept, Store, TuningId};
use consort_words::{Arg, Key, Words};
use serde_json::json;

use super::{Form, LOOKED_AT, NotDone, Read, shown};
use crate::ear::{Answer, Ear, Expectation, Sensed, Verdict};
use crate::keeper::{self, now};
use crate::sound::input;
use crate::sound::recording::Recording;
use crate::{capture, say};

/// A check that was begun within so many seconds goes on; an older one is made anew.
const GOES_ON_S: i64 = 12 * 3_600;
/// What is known no better than this, cents, was no string.
const PLUCK_CENTS: f64 = 8.0;
/// The ring is emptied this often, and without sound for so long there will be none.
const PIECE: Duration = Duration::from_millis(10);
const BEGINS_WITHIN: Duration = Duration::from_secs(10);

/// A check under way.
struct Run<'a> {
    store: &'a mut Store,
    kept: Kept,
    tuning: Tuning,
    /// When it began, and where it stands in the record once anything was heard.
    begun: Moment,
    id: Option<TuningId>,
    check: Check,
    words: Words,
    /// The newest reading's milliseconds: no two are of one moment.
    last_ms: i64,
}

/// Makes or goes on with the check of `kept`, heard in `files`, one for each stage that is left, or from `input`.
pub(super) fn carry_out(
    store: &mut Store,
    kept: Kept,
    files: &[PathBuf],
    input: &str,
    form: Form,
) -> Result<Vec<String>, NotDone> {
    let life = store.life(&kept, Some(LOOKED_AT))?;
    let begun = life.visits.iter().rev().find(|visit| goes_on(visit, now()));
    let tuning = life.visits.last().map_or_else(Tuning::default, |visit| visit.tuning);
    let at = begun.map_or_else(now, |visit| visit.at);
    let check = Check::new(kept.sheet.harp.clone(), begun);
    let words = Words::english();
    if check.stage().is_none() {
        return Ok(vec![words.say(Key::CheckNothing, &[])]);
    }
    if let Some(why) = store.only_read() {
        return Err(why.into());
    }
    let mut run = Run {
        store,
        kept,
        tuning,
        begun: at,
        id: None,
        check,
        words,
        last_ms: 0,
    };
    if files.is_empty() {
        run.hear_input(input)?;
    } else {
        run.hear_files(files)?;
    }
    let Run { store, kept, .. } = run;
    steps(&super::told(store, &kept, super::today())?, form)
}

fn goes_on(visit: &Visit, now: Moment) -> bool {
    visit.place.as_str() == PLACE && now.0 - visit.at.0 < GOES_ON_S
}

impl Run<'_> {
    /// Every file is what is plucked between two moves.
    fn hear_files(&mut self, files: &[PathBuf]) -> Result<(), NotDone> {
        for path in files {
            let Some(stage) = self.check.stage() else { break };
            let mut recording = Recording::open(path).map_err(|why| NotDone::Meaningless(why.sentence(&self.words)))?;
            let mut ear = self.ear(recording.rate(), stage);
            let (mut block, mut heard) = (Vec::new(), Vec::new());
            while recording.next_block(&mut block) {
                ear.push(&block, &mut |sensed| heard.push(sensed));
            }
            ear.finish(&mut |sensed| heard.push(sensed));
            for sensed in &heard {
                // What is still missing at the end of a file is left out; what comes too often is of the same stage.
                if self.check.stage() == Some(stage) {
                    self.take(stage, sensed)?;
                }
            }
            if self.check.stage() == Some(stage) {
                self.say_missing();
                self.check.leave_out();
            }
        }
        Ok(())
    }

    /// Asks, stage by stage, and hears what is plucked; Enter leaves out what is missing.
    fn hear_input(&mut self, from: &str) -> Result<(), NotDone> {
        let sound = |why: &dyn std::fmt::Display| NotDone::Meaningless(why.to_string());
        let name = match from {
            "default" => input::preferred().map_err(|why| sound(&why))?,
            name => name.to_owned(),
        };
        let mut source = capture::open(&name).map_err(|why| sound(&why))?;
        let entered = enters();
        let (mut block, mut last) = (Vec::new(), Instant::now());
        while let Some(stage) = self.check.stage() {
            self.ask(stage);
            let mut ear = self.ear(source.rate(), stage);
            while self.check.stage() == Some(stage) {
                source.pull(&mut block);
                if !block.is_empty() {
                    last = Instant::now();
                }
                let mut heard = Vec::new();
                ear.push(&block, &mut |sensed| heard.push(sensed));
                for sensed in &heard {
                    self.take(stage, sensed)?;
                }
                if entered.try_recv().is_ok() {
                    self.check.leave_out();
                }
                if source.seen().gone || last.elapsed() > BEGINS_WITHIN {
                    return Err(NotDone::Meaningless(
                        "the input brings no sound any more: the check goes on where it was when it is started again"
                            .to_owned(),
                    ));
                }
                thread::sleep(PIECE);
            }
        }
        Ok(())
    }

    /// An ear for the harp as it sounds in `stage`.
    fn ear(&self, rate: SampleRate, stage: Stage) -> Ear {
        let sounding: Arc<Harp> = Arc::new(stage.sounding(&self.kept.sheet.harp));
        Ear::new(rate, Expectation::alone(sounding, self.tuning))
    }

    /// Writes down what was heard in `stage`, if it was asked for.
    fn take(&mut self, stage: Stage, sensed: &Sensed) -> Result<(), NotDone> {
        let Sensed::Answer(answer) = sensed else { return Ok(()) };
        if answer.verdict == Verdict::Provisional {
            return Ok(());
        }
        // Which of two strings it was that sound the same is no doubt here: the one that is asked for.
        let stands = matches!(answer.verdict, Verdict::Settled | Verdict::Unsure(Doubt::Which));
        let meant = stage.meant(&self.kept.sheet.harp, &self.tuning, answer.hz);
        let meant = meant.filter(|&string| stands && self.check.hear(string) != Taken::Elsewhere);
        let Some(string) = meant else {
            self.say_why_not(stage, answer);
            return Ok(());
        };
        let Ok(reading) = Reading::new(string, answer.hz, answer.sigma) else {
            return Ok(());
        };
        self.last_ms = (now().0 * 1_000).max(self.last_ms + 1);
        let heard = Heard {
            at: Moment(self.last_ms.div_euclid(1_000)),
            position: stage.position,
            reading,
            timbre: Some(Timbre {
                glide: Some(answer.glide),
                ..keeper::kept(&answer.timbre)
            }),
        };
        let id = match self.id {
            Some(id) => id,
            None => {
                let place = Place::new(PLACE).unwrap_or_default();
                let (harp, at, tolerance) = (self.kept.id, self.begun, Tolerance::default());
                let id = self.store.begin_tuning(harp, at, &place, &self.tuning, &tolerance)?;
                *self.id.insert(id)
            }
        };
        self.store.hear(self.kept.id, id, self.last_ms, &heard)?;
        let args = [
            ("string", Arg::from(string_name(string, &self.kept.sheet))),
            ("hz", Arg::from(format!("{:.2}", answer.hz.get()))),
        ];
        say::note(&self.words.say(Key::CheckHeard, &args));
        Ok(())
    }

    /// Says why a pluck is not taken: another position, another string, or not heard well enough.
    fn say_why_not(&self, stage: Stage, answer: &Answer) {
        let named = |string| [("string", Arg::from(string_name(string, &self.kept.sheet)))];
        let moved = stage.elsewhere(&self.kept.sheet.harp, &self.tuning, answer.hz);
        let says = match (moved, answer.verdict) {
            // Soft sounds are other harps, and what scatters so is a knock: nobody asked for them.
            (_, Verdict::Unsure(Doubt::Soft | Doubt::Faint)) => return,
            _ if answer.sigma.0 > PLUCK_CENTS => return,
            (Some(string), _) => self.words.say(Key::CheckMoved, &named(string)),
            (None, Verdict::Unsure(_)) => self.words.say(Key::CheckAgain, &[]),
            (None, _) => self.words.say(Key::CheckElsewhere, &named(answer.string)),
        };
        say::note(&says);
    }

    fn ask(&self, stage: Stage) {
        let strings = self.names(&self.check.missing());
        let mut args = vec![
            ("strings", Arg::from(strings)),
            ("position", Arg::from(u64::from(stage.position))),
        ];
        let key = match stage.letter {
            Some(letter) => {
                args.push(("letter", Arg::from(letter.to_string())));
                Key::CheckPedal
            }
            None => Key::CheckLever,
        };
        say::note(&self.words.say(key, &args));
    }

    fn say_missing(&self) {
        let missing = self.check.missing();
        let args = [
            ("count", Arg::from(missing.len())),
            ("strings", Arg::from(self.names(&missing))),
        ];
        say::note(&self.words.say(Key::CheckMissing, &args));
    }

    fn names(&self, strings: &[StringNumber]) -> String {
        let names: Vec<String> = strings
            .iter()
            .map(|&string| string_name(string, &self.kept.sheet))
            .collect();
        names.join(" ")
    }
}

/// A word for each line that is typed.
fn enters() -> Receiver<()> {
    let (typed, entered) = channel();
    thread::spawn(move || {
        for line in std::io::stdin().lines() {
            if line.is_err() || typed.send(()).is_err() {
                break;
            }
        }
    });
    entered
}

/// The table of discs or levers: how far each step lies off whole semitones, with one standard deviation.
pub(super) fn steps(read: &Read, form: Form) -> Result<Vec<String>, NotDone> {
    let table: Vec<StepError> = regulation::table(&Chronicle::of(&read.life));
    let sheet = &read.life.sheet;
    let mut lines = match form {
        Form::Csv => vec!["string,harp_name,position,cents,sigma_cents,checks,on".to_owned()],
        Form::Text if table.is_empty() => vec![read.words.say(Key::CheckNone, &[])],
        Form::Text => vec!["string  step  off/cents        checks  on".to_owned()],
        Form::Json => Vec::new(),
    };
    for step in &table {
        let name = string_name(step.string, sheet);
        lines.push(match form {
            Form::Text => format!(
                "{name:<6}  {:>4}  {:<15}  {:>6}  {}{}",
                step.position,
                shown::cents_of(step),
                step.checks,
                step.on,
                if step.is_off() { "  *" } else { "" }
            ),
            Form::Csv => line(&[
                &step.string.to_string(),
                &name,
                &step.position.to_string(),
                &format!("{:.2}", step.by.0),
                &format!("{:.2}", step.sigma.0),
                &step.checks.to_string(),
                &step.on.to_string(),
            ]),
            Form::Json => json!({
                "string": step.string.get(), "harp_name": name, "position": step.position, "cents": step.by.0,
                "sigma_cents": step.sigma.0, "checks": step.checks, "on": step.on.to_string(), "off": step.is_off(),
            })
            .to_string(),
        });
    }
    Ok(lines)
}

//! The desk in a terminal: the same picture as the page's, drawn in letters, obeyed by the same keys.

mod draw;
mod ear;
mod feet;
mod held;
mod join;
mod keys;
mod setup;

use std::io::{self, IsTerminal};
use std::sync::Arc;
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use consort_proto::StringNumber;
use consort_words::{Arg, Key, Words};
use ratatui::crossterm::event::{self, Event, KeyEvent};
use tokio::sync::{Notify, mpsc, watch};

use self::draw::Beside;
use self::held::Held;
use self::keys::Meant;
use crate::image::Image;
use crate::sound::tone::Tone;
use crate::station::Wish;
use crate::{picture, question};

/// Keys are looked for this often; a picture is drawn as soon as there is a new one.
const LOOK_EVERY: Duration = Duration::from_millis(50);
/// A string that was marked stays meant for so long: a key that is pressed twice marks nothing that comes next.
const MEANT_FOR: Duration = Duration::from_secs(1);

/// What lies over the desk just now and takes the keys.
#[derive(Clone, Debug, Default, PartialEq)]
enum Over {
    /// The desk itself.
    #[default]
    Nothing,
    /// Letters move pedals, or levers.
    Feet,
    /// A check by listening.
    Ear(ear::Ear),
    /// Which harp this is.
    SetUp(setup::SetUp),
    /// What is typed to join with.
    Join(String),
    /// The caution before the first tone.
    Caution,
}

/// What the terminal knows beside the station.
#[derive(Debug, Default)]
struct Own {
    over: Over,
    /// The string whose tone sounds.
    tone: Option<(StringNumber, Tone)>,
    /// Whether the caution before the first tone was shown.
    cautioned: bool,
    /// The string that was marked last, and when.
    marked: Option<(StringNumber, Instant)>,
    held: Held,
    /// What this terminal has to say, until the next key.
    says: Option<String>,
}

/// Whether this program has a whole terminal to itself, with keys.
pub(crate) fn is_there() -> bool {
    io::stdout().is_terminal() && io::stdin().is_terminal()
}

/// Shows the desk until the station's images end; a wish to end the program goes to `quit`. The same desk is also a page,
/// at `address`.
pub(crate) fn show(
    mut images: watch::Receiver<Arc<Image>>,
    wishes: mpsc::Sender<Wish>,
    quit: Arc<Notify>,
    address: String,
) -> io::Result<JoinHandle<()>> {
    thread::Builder::new().name("terminal".to_owned()).spawn(move || {
        let words = Words::english();
        let mut terminal = ratatui::init();
        let mut own = Own::default();
        images.mark_changed();
        // The station's end closes the images.
        while let Ok(changed) = images.has_changed() {
            let mut redraws = own.tend(&images.borrow(), &words);
            match next_key() {
                Some(Pressed::Key(key)) if own.is_press(key) => {
                    redraws = true;
                    own.says = None;
                    let image = images.borrow().clone();
                    match keys::meant(key, &image, &words, &mut own) {
                        Some(Meant::Quit) => quit.notify_one(),
                        // A loop that is behind by hundreds of wishes has other worries than one more.
                        Some(Meant::Wish(wish)) => drop(wishes.try_send(wish)),
                        Some(Meant::Tone(string)) => own.sound(string, &image),
                        None => {}
                    }
                }
                Some(Pressed::Resized) => redraws = true,
                Some(Pressed::Key(_)) | None => {}
            }
            if changed || redraws {
                let image = images.borrow_and_update().clone();
                let page = picture::of(&image, &words);
                let says = own.says(&image, &words);
                let beside = Beside {
                    over: &own.over,
                    says: says.as_deref(),
                    address: &address,
                    words: &words,
                };
                if terminal.draw(|frame| draw::desk(frame, &page, &beside)).is_err() {
                    break;
                }
            }
        }
        ratatui::restore();
    })
}

impl Own {
    /// Lets a tone go that is over, or that the leader has silenced; whether something is to be drawn anew.
    fn tend(&mut self, image: &Image, words: &Words) -> bool {
        let Some((_, tone)) = &self.tone else { return false };
        if let Some(why) = tone.trouble() {
            self.says = Some(words.say(Key::ProblemOther, &[("why", Arg::from(why.to_string()))]));
        }
        let ends = tone.is_over() || image.link.silenced || image.course.dark;
        if ends {
            self.tone = None;
        }
        ends
    }

    /// Whether the key is pressed, not held or let go: a key that is held down is one key.
    fn is_press(&mut self, key: KeyEvent) -> bool {
        // A letter that moves a pedal, or goes through choices, is meant as often as it comes.
        let typed = matches!(self.over, Over::Join(_) | Over::Feet | Over::SetUp(_));
        self.held.is_press(key, Instant::now(), typed)
    }

    /// The string that a mark is meant for while `shown` is in hand.
    fn marks(&mut self, shown: Option<StringNumber>) -> Option<StringNumber> {
        let before = self.marked.filter(|(_, at)| at.elapsed() < MEANT_FOR);
        let string = before.map_or(shown, |(string, _)| Some(string))?;
        self.marked = Some((string, Instant::now()));
        Some(string)
    }

    /// Sounds the pitch of `string`.
    fn sound(&mut self, string: StringNumber, image: &Image) {
        let Some(of_harp) = image.harp.string(string) else {
            return;
        };
        match Tone::begin(image.tuning.open_target(of_harp)) {
            Ok(tone) => self.tone = Some((string, tone)),
            Err(why) => self.says = Some(why.to_string()),
        }
    }

    /// The sentence of this terminal's own, if it has one.
    fn says(&self, image: &Image, words: &Words) -> Option<String> {
        if self.over == Over::Caution {
            return Some(words.say(Key::TerminalToneCaution, &[]));
        }
        if self.says.is_some() {
            return self.says.clone();
        }
        // What is asked stays in sight while a tone sounds.
        if !question::all(image, words).is_empty() {
            return None;
        }
        let (string, _) = self.tone.as_ref()?;
        let name = image.course.naming.of(image.harp.string(*string)?.open);
        Some(words.say(Key::TerminalToneSounds, &[("string", Arg::from(name))]))
    }
}

enum Pressed {
    Key(KeyEvent),
    Resized,
}

fn next_key() -> Option<Pressed> {
    if !event::poll(LOOK_EVERY).unwrap_or(false) {
        return None;
    }
    match event::read().ok()? {
        Event::Key(key) => Some(Pressed::Key(key)),
        Event::Resize(..) => Some(Pressed::Resized),
        _ => None,
    }
}

#[cfg(test)]
mod tests;

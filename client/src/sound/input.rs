//! The inputs of this computer that can be heard.

use std::fmt;

use serde::Serialize;

use crate::sound::card;
use crate::sound::kind::Kind;
#[cfg(target_os = "linux")]
use crate::sound::server::Server;

/// An input that can be opened as it is.
#[derive(Clone, Debug, Eq, PartialEq, Serialize)]
pub struct Input {
    /// The name to give to `--input`.
    pub name: String,
    /// What the system calls it.
    pub description: String,
    /// Samples per second.
    pub rate: u32,
    /// Channels.
    pub channels: u16,
    /// Whether the system prefers it.
    pub default: bool,
    /// What kind of input it seems to be.
    pub kind: Kind,
}

/// Why there is no input to hear.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
pub enum InputError {
    /// No input can be opened.
    #[error("no input can be opened: plug the pickup or microphone in and look at the system's sound settings")]
    None,
    /// No input of that name can be opened.
    #[error("there is no input called “{0}”: `consort-station inputs` lists those there are")]
    Unknown(String),
    /// The input is there, but does not open.
    #[error("the input {name} does not open ({cause}): look whether another program holds it")]
    NotOpened {
        /// Its name.
        name: String,
        /// What the system said.
        cause: String,
    },
    /// It has so few or so many samples a second that no string could be measured.
    #[error("the input {name} has {rate} samples a second: set it to 48000 in the system's sound settings")]
    Rate {
        /// Its name.
        name: String,
        /// Its rate.
        rate: u32,
    },
}

impl InputError {
    /// No input is called `name`, which may be anything that was typed.
    pub(crate) fn unknown(name: &str) -> Self {
        Self::Unknown(name.chars().take(60).collect())
    }
}

impl fmt::Display for Input {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{:<24} {}, {} Hz, {} ch",
            self.name, self.description, self.rate, self.channels
        )?;
        f.write_str(match self.kind {
            Kind::Plain => "",
            Kind::BuiltIn => ", likely the computer's own microphone",
            Kind::Headset => ", likely a Bluetooth headset",
            Kind::Playback => ", what the computer plays",
        })?;
        if self.default {
            f.write_str(" (default)")
        } else {
            Ok(())
        }
    }
}

/// Every input that can be opened, the system's own choice first and what the computer plays last.
pub fn usable() -> Result<Vec<Input>, InputError> {
    let mut inputs = of_server();
    if inputs.is_empty() {
        inputs = card::inputs();
    }
    inputs.sort_by_key(|input| (input.kind == Kind::Playback, !input.default));
    if inputs.is_empty() {
        Err(InputError::None)
    } else {
        Ok(inputs)
    }
}

/// The input that the system prefers, by name; never what the computer plays, which is preferred where nothing is
/// plugged in.
pub(crate) fn preferred() -> Result<String, InputError> {
    usable()?
        .into_iter()
        .find(|input| input.kind != Kind::Playback)
        .map(|input| input.name)
        .ok_or(InputError::None)
}

/// Whether there is an input called `name`, on the sound server or beside it.
pub(crate) fn look_for(name: &str) -> Result<(), InputError> {
    let mut all = of_server();
    if !all.iter().any(|input| input.name == name) {
        all = card::inputs();
    }
    if all.iter().any(|input| input.name == name) {
        Ok(())
    } else {
        Err(InputError::unknown(name))
    }
}

/// What a sound server offers, if one runs.
#[cfg(target_os = "linux")]
fn of_server() -> Vec<Input> {
    // The server's answers need an event loop of their own, and whoever asks may be inside another one.
    std::thread::spawn(|| Server::connect().and_then(|server| server.inputs()))
        .join()
        .ok()
        .flatten()
        .unwrap_or_default()
}

/// Elsewhere the system itself plays that part.
#[cfg(not(target_os = "linux"))]
const fn of_server() -> Vec<Input> {
    Vec::new()
}

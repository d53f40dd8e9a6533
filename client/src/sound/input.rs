//! The inputs of this computer that can be heard.

use std::fmt;

use cpal::traits::{DeviceTrait, HostTrait};
use serde::Serialize;

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
}

/// Why there is no input to hear.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
pub enum InputError {
    /// No input can be opened.
    #[error("no input can be opened: plug the pickup in and look at the system's sound settings")]
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

/// Takes everything in and gives silence.
const NULL: &str = "null";

impl fmt::Display for Input {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{:<24} {}, {} Hz, {} ch",
            self.name, self.description, self.rate, self.channels
        )?;
        if self.default {
            f.write_str(" (default)")
        } else {
            Ok(())
        }
    }
}

/// Every input that can be opened, the system's own choice first.
pub fn usable() -> Result<Vec<Input>, InputError> {
    let _quiet = quiet();
    let host = cpal::default_host();
    let default = host.default_input_device();
    let default_name = default.as_ref().and_then(name_of);
    let others = host.devices().map_err(|_| InputError::None)?;
    let mut inputs: Vec<Input> = Vec::new();
    for device in default.into_iter().chain(others) {
        if let Some(mut input) = describe(&device)
            && !inputs.iter().any(|known| known.name == input.name)
        {
            input.default = Some(&input.name) == default_name.as_ref();
            inputs.push(input);
        }
    }
    if inputs.is_empty() {
        Err(InputError::None)
    } else {
        Ok(inputs)
    }
}

/// The input that the system prefers, by name.
pub(crate) fn preferred() -> Result<String, InputError> {
    usable()?
        .into_iter()
        .next()
        .map(|input| input.name)
        .ok_or(InputError::None)
}

/// The input called `name`, if it can be opened.
pub(crate) fn find(name: &str) -> Result<cpal::Device, InputError> {
    let _quiet = quiet();
    let unknown = || InputError::Unknown(name.chars().take(60).collect());
    let host = cpal::default_host();
    let default = host.default_input_device();
    let others = host.devices().map_err(|_| unknown())?;
    default
        .into_iter()
        .chain(others)
        .find(|device| describe(device).is_some_and(|input| input.name == name))
        .ok_or_else(unknown)
}

/// `None` for what cannot be opened for hearing.
fn describe(device: &cpal::Device) -> Option<Input> {
    let name = name_of(device)?;
    let config = device.default_input_config().ok().filter(|_| name != NULL)?;
    let description = device.description().map(|text| text.name().to_owned());
    Some(Input {
        description: description.unwrap_or_else(|_| name.clone()),
        name,
        rate: config.sample_rate(),
        channels: config.channels(),
        default: false,
    })
}

fn name_of(device: &cpal::Device) -> Option<String> {
    Some(device.id().ok()?.id().to_owned())
}

/// While it is held, ALSA keeps to itself what it tries and does not find.
#[cfg(target_os = "linux")]
fn quiet() -> impl Sized {
    alsa::Output::local_error_handler()
}

/// Nothing talks elsewhere.
#[cfg(not(target_os = "linux"))]
const fn quiet() {}

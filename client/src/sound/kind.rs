//! What kind of input this seems to be, told by what the system calls it.

use serde::Serialize;

/// A kind of input that matters to a harpist.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Nothing speaks against it: a pickup, an interface, a microphone of its own.
    #[default]
    Plain,
    /// Likely the computer's own microphone.
    BuiltIn,
    /// Likely a headset without a cable, which squeezes sound through a narrow link.
    Headset,
    /// What the computer plays, not what it hears.
    Playback,
}

/// Parts of names that belong to radio headsets.
const HEADSET: &[&str] = &[
    "bluez",
    "bluetooth",
    "hands-free",
    "handsfree",
    "headset (",
    "hfp",
    "hsp",
];
/// Parts of names that belong to what a computer is built with.
const BUILT_IN: &[&str] = &[
    "built-in",
    "builtin",
    "internal mic",
    "internal stereo mic",
    "digital mic",
    "dmic",
    "microphone array",
    "macbook",
    "imac",
    "hda intel",
    "hda-intel",
    "card=pch",
    "sof-",
    "card=sof",
    "alsa_input.pci-",
];
/// Parts of names that belong to what is played.
const PLAYBACK: &[&str] = &[".monitor", "monitor of ", "stereo mix"];
/// Wired inputs come faster than this many samples a second; the speech channel of a radio headset does not.
const HEADSET_RATE_MAX: u32 = 16_000;

impl Kind {
    /// The kind of the input that programs know as `name` and people as `description`, at `rate` samples a second.
    pub fn of(name: &str, description: &str, rate: u32) -> Self {
        let both = format!("{name}\n{description}").to_lowercase();
        let says = |words: &[&str]| words.iter().any(|word| both.contains(word));
        if says(PLAYBACK) {
            Self::Playback
        } else if says(HEADSET) || rate <= HEADSET_RATE_MAX {
            Self::Headset
        } else if says(BUILT_IN) {
            Self::BuiltIn
        } else {
            Self::Plain
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[rustfmt::skip]
    fn an_input_is_known_by_its_names_and_rate() {
        for (name, description, rate, kind) in [
            // Names as sound servers, ALSA and other systems form them.
            ("alsa_input.usb-0d8c_Pickup_One-00.mono-fallback", "Pickup One Mono", 48_000, Kind::Plain),
            ("alsa_input.usb-Interface_24-00.analog-stereo", "Interface 24 Analog Stereo", 96_000, Kind::Plain),
            ("hw:CARD=Device,DEV=0", "USB Audio Device", 44_100, Kind::Plain),
            ("default", "Default Audio Device", 48_000, Kind::Plain),
            ("alsa_input.pci-0000_00_1f.3.analog-stereo", "Built-in Audio Analog Stereo", 48_000, Kind::BuiltIn),
            ("alsa_input.pci-0000_00_1f.3-platform-skl_hda_dsp_generic.HiFi__hw_sofhdadsp_6__source",
             "Digital Microphone", 48_000, Kind::BuiltIn),
            ("hw:CARD=PCH,DEV=0", "HDA Intel PCH, Analog", 48_000, Kind::BuiltIn),
            ("BuiltInMicrophoneDevice", "MacBook Microphone", 48_000, Kind::BuiltIn),
            ("{0.0.1.00000000}.{6a5c}", "Microphone Array (High Definition Audio)", 48_000, Kind::BuiltIn),
            ("bluez_input.00_11_22_33_44_55.0", "Ear Buds", 48_000, Kind::Headset),
            ("{0.0.1.00000000}.{77aa}", "Headset (Ear Buds Hands-Free)", 48_000, Kind::Headset),
            ("input 4", "Ear Buds", 16_000, Kind::Headset),
            ("alsa_output.pci-0000_00_1f.3.analog-stereo.monitor", "Monitor of Built-in Audio", 48_000, Kind::Playback),
        ] {
            assert_eq!(Kind::of(name, description, rate), kind, "{name}, {description}, {rate}");
        }
    }
}

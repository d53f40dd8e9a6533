//! *That was wrong*: the last seconds of sound and what was made of them, kept on this laptop so that they can be looked into.
//!
//! The sound is a file that `consort-station listen` hears again; beside it stands what the station had said.
//! Nothing of it is ever sent.

use std::collections::VecDeque;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use consort_proto::SampleRate;

/// So much of the sound is kept.
pub(crate) const KEPT: Duration = Duration::from_secs(10);
/// The folder below the station's data.
const FOLDER: &str = "wrong";
/// Files beyond this many make room, oldest first: a disk must not fill up with pressed keys.
const FILES_MAX: usize = 100;
/// Lines that a busy ten seconds may have.
const LINES_MAX: usize = 400;

/// The last seconds of a sound.
#[derive(Debug)]
pub(crate) struct Tail {
    samples: VecDeque<f32>,
    room: usize,
    /// How many samples have gone by.
    count: u64,
}

impl Tail {
    /// Nothing yet of a sound of `rate`.
    pub(crate) fn new(rate: SampleRate) -> Self {
        let room = (KEPT.as_secs_f64() * f64::from(rate.get())) as usize;
        Self {
            samples: VecDeque::with_capacity(room),
            room,
            count: 0,
        }
    }

    /// Takes the next samples, and lets go of as many old ones.
    pub(crate) fn push(&mut self, samples: &[f32]) {
        let newest = &samples[samples.len().saturating_sub(self.room)..];
        let over = (self.samples.len() + newest.len()).saturating_sub(self.room);
        self.samples.drain(..over);
        self.samples.extend(newest);
        self.count += samples.len() as u64;
    }

    /// How many samples have gone by.
    #[cfg(test)]
    pub(crate) const fn count(&self) -> u64 {
        self.count
    }

    /// The `count` samples from number `from` of the sound on, or `None` while they are not all there.
    pub(crate) fn from(&self, from: u64, count: usize) -> Option<Vec<f32>> {
        let oldest = self.count - self.samples.len() as u64;
        let skip = usize::try_from(from.checked_sub(oldest)?).ok()?;
        let there = skip.checked_add(count)? <= self.samples.len();
        there.then(|| self.samples.iter().skip(skip).take(count).copied().collect())
    }

    /// Writes them to `path`.
    pub(crate) fn write(&self, path: &Path, rate: SampleRate) -> Result<(), hound::Error> {
        let form = hound::WavSpec {
            channels: 1,
            sample_rate: rate.get(),
            bits_per_sample: 32,
            sample_format: hound::SampleFormat::Float,
        };
        let mut writer = hound::WavWriter::create(path, form)?;
        self.samples
            .iter()
            .try_for_each(|&sample| writer.write_sample(sample))?;
        writer.finalize()
    }
}

/// What the station has said in the last seconds, as lines.
#[derive(Debug, Default)]
pub(crate) struct Lately {
    lines: VecDeque<(Duration, String)>,
}

impl Lately {
    /// Takes in a line that was said at `now`; what is as old as the sound is not kept either.
    pub(crate) fn say(&mut self, now: Duration, line: String) {
        self.lines.push_back((now, line));
        while self.lines.len() > LINES_MAX || self.lines.front().is_some_and(|(at, _)| now.saturating_sub(*at) > KEPT) {
            self.lines.pop_front();
        }
    }

    /// The lines, oldest first.
    pub(crate) fn text(&self) -> String {
        self.lines.iter().map(|(_, line)| format!("{line}\n")).collect()
    }
}

/// Where the next sound is kept below the station's `data`; the lines beside it end in `jsonl` instead.
pub(crate) fn place(data: &Path) -> io::Result<PathBuf> {
    let folder = data.join(FOLDER);
    fs::create_dir_all(&folder)?;
    let mut files: Vec<PathBuf> = fs::read_dir(&folder)?
        .filter_map(|entry| Some(entry.ok()?.path()))
        .collect();
    // Their names count up with time.
    files.sort();
    for old in files.iter().take((files.len() + 2).saturating_sub(FILES_MAX)) {
        fs::remove_file(old)?;
    }
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    Ok(folder.join(format!("wrong-{:013}.wav", since.as_millis())))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_last_ten_seconds_are_kept_whatever_the_blocks() {
        let rate = SampleRate::new(16_000).expect("a rate");
        for block in [1, 160, 999, 200_000] {
            let mut tail = Tail::new(rate);
            let sound: Vec<f32> = (0..200_000).map(|n| n as f32).collect();
            sound.chunks(block).for_each(|piece| tail.push(piece));
            assert_eq!(tail.samples.len(), 160_000, "in blocks of {block}");
            assert!(tail.samples.iter().eq(&sound[40_000..]));
        }
    }

    #[test]
    fn what_was_said_before_the_sound_is_forgotten() {
        let mut lately = Lately::default();
        for second in 0..15 {
            lately.say(Duration::from_secs(second), second.to_string());
        }
        assert_eq!(lately.text(), "4\n5\n6\n7\n8\n9\n10\n11\n12\n13\n14\n");
    }
}

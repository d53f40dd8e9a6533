//! A file that grows by lines: written by a thread of its own, so that whoever has something to write never waits.

use std::fs::{File, OpenOptions};
use std::io::{self, BufWriter, Read, Seek, SeekFrom, Write};
use std::path::Path;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::{self, JoinHandle};

/// Such a file; dropping it waits until everything that was handed over has been written.
#[derive(Debug)]
pub struct Lines {
    sender: Option<Sender<String>>,
    thread: Option<JoinHandle<()>>,
}

impl Lines {
    /// Opens the file at `path`, or begins it; a last line that was cut is taken away.
    pub fn append(path: &Path) -> io::Result<Self> {
        let mut options = OpenOptions::new();
        let mut file = options.read(true).write(true).create(true).truncate(false).open(path)?;
        let end = end_of_last_line(&mut file)?;
        file.set_len(end)?;
        file.seek(SeekFrom::Start(end))?;
        let (sender, lines) = channel();
        let thread = thread::Builder::new()
            .name("lines".to_owned())
            .spawn(move || write_all(file, &lines))?;
        Ok(Self {
            sender: Some(sender),
            thread: Some(thread),
        })
    }

    /// Hands a line over, without its end. It is lost when the disk has refused one before, which was told then.
    pub fn add(&self, line: String) {
        if let Some(sender) = &self.sender {
            // The thread has ended with the first line that the disk did not take.
            let _ = sender.send(line);
        }
    }
}

impl Drop for Lines {
    fn drop(&mut self) {
        self.sender = None;
        if let Some(thread) = self.thread.take() {
            // A panic of the thread was printed when it happened.
            let _ = thread.join();
        }
    }
}

/// Where the last line ends that is whole.
fn end_of_last_line(file: &mut File) -> io::Result<u64> {
    const PIECE: u64 = 64 * 1024;
    let mut end = file.seek(SeekFrom::End(0))?;
    while end > 0 {
        let begin = end.saturating_sub(PIECE);
        file.seek(SeekFrom::Start(begin))?;
        let mut piece = Vec::new();
        Read::by_ref(file).take(end - begin).read_to_end(&mut piece)?;
        if let Some(at) = piece.iter().rposition(|&byte| byte == b'\n') {
            return Ok(begin + at as u64 + 1);
        }
        end = begin;
    }
    Ok(0)
}

/// Writes until nobody can hand over any more, and rests only when all of it is with the system: a program that is killed
/// has lost nothing.
fn write_all(file: File, lines: &Receiver<String>) {
    let mut file = BufWriter::new(file);
    while let Ok(first) = lines.recv() {
        let mut group = std::iter::once(first).chain(lines.try_iter());
        let written = group
            .try_for_each(|line| writeln!(file, "{line}"))
            .and_then(|()| file.flush());
        if let Err(why) = written {
            tracing::warn!(%why, "a file takes no more lines: make room on the disk");
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    #[test]
    fn lines_are_added_after_the_last_whole_one() {
        let place = tempfile::TempDir::with_prefix("consort-lines-").expect("a place");
        let path = place.path().join("lines");
        for (before, after) in [
            ("", "one\ntwo\n"),
            ("old\n", "old\none\ntwo\n"),
            ("old\ncut in tw", "old\none\ntwo\n"),
            ("cut in tw", "one\ntwo\n"),
        ] {
            fs::write(&path, before).expect("a file");
            let lines = Lines::append(&path).expect("lines");
            lines.add("one".to_owned());
            lines.add("two".to_owned());
            drop(lines);
            assert_eq!(fs::read_to_string(&path).expect("the file"), after, "{before:?}");
        }
        let long = format!("{}\n{}", "a".repeat(200_000), "b".repeat(200_000));
        fs::write(&path, long).expect("a file");
        drop(Lines::append(&path).expect("lines"));
        assert_eq!(fs::metadata(&path).expect("the file").len(), 200_001);
    }
}

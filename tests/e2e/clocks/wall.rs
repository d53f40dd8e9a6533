//! A clock on the wall that a test moves under a running program, and under no other.

use std::path::PathBuf;
use std::process::Command;
use std::time::{SystemTime, UNIX_EPOCH};

use consort_tests::process::{Folder, say};

/// The wall of one program.
pub(crate) struct Wall {
    library: PathBuf,
    file: PathBuf,
}

impl Wall {
    /// The wall of `program`; `None`, and said, where the system lets nobody move it.
    pub(crate) fn of(program: &str, folder: &Folder) -> Option<Self> {
        let source = concat!(env!("CARGO_MANIFEST_DIR"), "/e2e/clocks/wall.c");
        let library = PathBuf::from(folder.inside("wall.so"));
        let mut compiler = Command::new("cc");
        compiler
            .args(["-shared", "-fPIC", "-O1", "-o"])
            .arg(&library)
            .arg(source);
        let is_compiled = compiler.output().is_ok_and(|compiled| compiled.status.success());
        let file = PathBuf::from(folder.inside(&format!("{program}.wall")));
        let wall = Self { library, file };
        wall.set(3_600);
        if is_compiled && wall.shown().is_some_and(|ahead| (3_590..3_700).contains(&ahead)) {
            wall.set(0);
            return Some(wall);
        }
        say("left out: this system lets nobody move one program's clock on the wall");
        None
    }

    /// Sets it so many seconds ahead of everyone else's, from this moment on.
    pub(crate) fn set(&self, ahead_s: i64) {
        // In one step: a program that looks meanwhile sees the one or the other.
        let fresh = self.file.with_extension("fresh");
        std::fs::write(&fresh, ahead_s.to_string())
            .and_then(|()| std::fs::rename(&fresh, &self.file))
            .expect("the wall is set");
    }

    /// Hangs it before a program that is going to start.
    pub(crate) fn before(&self, command: &mut Command) {
        command.env("LD_PRELOAD", &self.library).env("CONSORT_WALL", &self.file);
    }

    /// How far ahead another program sees it.
    fn shown(&self) -> Option<i64> {
        let mut asked = Command::new("date");
        self.before(asked.arg("+%s"));
        let shown: i64 = String::from_utf8(asked.output().ok()?.stdout)
            .ok()?
            .trim()
            .parse()
            .ok()?;
        let now = SystemTime::now().duration_since(UNIX_EPOCH).ok()?;
        Some(shown - now.as_secs().cast_signed())
    }
}

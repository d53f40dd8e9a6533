//! A private network of one machine: what announces itself by multicast in a demo or a test must not reach the room.

use std::ffi::OsStr;
use std::process::Command;

use crate::children::{command, succeeds};

/// Brings loopback up with a multicast route, then becomes the program.
const ENTER: &str = "ip link set lo up multicast on && ip route add 224.0.0.0/4 dev lo && exec \"$@\"";

/// Tells the programs' tests that multicast stays on this machine.
pub(crate) const MARK: &str = "CONSORT_ISOLATED";

/// How a private network can be made here.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Isolation {
    /// With the rights of root.
    Root,
    /// As an ordinary user in a user namespace of its own.
    User,
}

impl Isolation {
    /// The way that works on this machine, if one does.
    pub(crate) fn find() -> Option<Self> {
        let works = |flags: &str| succeeds("unshare", &[flags, "sh", "-c", ENTER, "sh", "true"]);
        if !cfg!(target_os = "linux") {
            None
        } else if works("-n") {
            Some(Self::Root)
        } else if works("-rn") {
            Some(Self::User)
        } else {
            None
        }
    }

    /// `program` inside a private network.
    pub(crate) fn command(self, program: impl AsRef<OsStr>) -> Command {
        let flags = match self {
            Self::Root => "-n",
            Self::User => "-rn",
        };
        let mut inside = command("unshare");
        inside
            .args([flags, "sh", "-c", ENTER, "sh"])
            .arg(program)
            .env(MARK, "1");
        inside
    }
}

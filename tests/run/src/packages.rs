//! System packages: finds what is missing and installs it where that is allowed.

use std::io::IsTerminal;

use crate::children::{self, command, must, succeeds};
use crate::{Problem, say};

/// Something that the build or the tests need from the system.
struct Need {
    /// The Debian package.
    package: &'static str,
    /// A command that succeeds when it is there.
    probe: (&'static str, &'static [&'static str]),
}

/// Sound capture on Linux builds against ALSA.
const BUILD: &[Need] = &[
    Need {
        package: "pkg-config",
        probe: ("pkg-config", &["--version"]),
    },
    Need {
        package: "libasound2-dev",
        probe: ("pkg-config", &["--exists", "alsa"]),
    },
];

/// A private network of one machine.
const NETWORK: &[Need] = &[Need {
    package: "iproute2",
    probe: ("ip", &["-Version"]),
}];

/// A sound server of the tests' own, and what plays into it.
const SOUND: &[Need] = &[
    Need {
        package: "dbus",
        probe: ("dbus-daemon", &["--version"]),
    },
    Need {
        package: "pipewire",
        probe: ("pipewire", &["--version"]),
    },
    Need {
        package: "wireplumber",
        probe: ("wireplumber", &["--version"]),
    },
    Need {
        package: "pipewire-pulse",
        probe: ("pipewire-pulse", &["--version"]),
    },
    Need {
        package: "pulseaudio-utils",
        probe: ("paplay", &["--version"]),
    },
];

/// A browser that the tests drive, letters for it to show, and what fetches its accessibility rules.
const BROWSER: &[Need] = &[
    Need {
        package: "chromium",
        probe: ("chromium", &["--version"]),
    },
    Need {
        package: "chromium-driver",
        probe: ("chromedriver", &["--version"]),
    },
    Need {
        package: "fonts-dejavu-core",
        probe: ("test", &["-d", "/usr/share/fonts/truetype"]),
    },
    Need {
        package: "npm",
        probe: ("npm", &["--version"]),
    },
];

/// Makes sure that the programs can be built and the private network can be made.
pub(crate) fn ensure() -> Result<(), Problem> {
    install_all(&[BUILD, NETWORK])
}

/// Makes sure of that, and that every test can run; what cannot be fetched here comes back, one sentence each.
pub(crate) fn ensure_for_tests() -> Result<Vec<Lack>, Problem> {
    ensure()?;
    let mut lacks = Vec::new();
    let mut lack = |what, found: Result<(), Problem>| {
        if let Err(why) = found {
            lacks.push(Lack { what, why });
        }
    };
    lack("sound", install_all(&[SOUND]));
    lack("browser", install_all(&[BROWSER]).and_then(|()| accessibility_rules()));
    Ok(lacks)
}

/// Something that some tests need and that this machine cannot get.
#[derive(Debug)]
pub(crate) struct Lack {
    /// The word by which those tests know it.
    pub(crate) what: &'static str,
    /// Why it is not here.
    pub(crate) why: Problem,
}

/// The rules that the browser tests hold the pages against, as the lock file beside those tests names them.
fn accessibility_rules() -> Result<(), Problem> {
    let folder = children::workspace().join("tests").join("browser");
    let written = |name: &str| {
        std::fs::metadata(folder.join(name))
            .and_then(|file| file.modified())
            .ok()
    };
    // The package tool leaves this file behind when it is done.
    if written("node_modules/.package-lock.json") > written("package-lock.json") {
        return Ok(());
    }
    say("Fetching the accessibility rules …");
    let words = ["ci", "--ignore-scripts", "--no-audit", "--no-fund", "--silent"];
    must(
        command("npm").args(words).current_dir(folder),
        "npm ci in tests/browser",
    )
}

fn install_all(needs: &[&[Need]]) -> Result<(), Problem> {
    if !cfg!(target_os = "linux") {
        return Ok(());
    }
    let missing: Vec<&str> = needs
        .iter()
        .copied()
        .flatten()
        .filter(|need| !succeeds(need.probe.0, need.probe.1))
        .map(|need| need.package)
        .collect();
    if missing.is_empty() {
        return Ok(());
    }
    let line = format!("apt-get install -y {}", missing.join(" "));
    if !succeeds("apt-get", &["--version"]) {
        return Err(format!(
            "missing on this machine: {}: install them with your system's package tool",
            missing.join(", ")
        ));
    }
    let mut prefix: Vec<&str> = Vec::new();
    if !is_root() {
        if !(std::io::stdin().is_terminal() && succeeds("sudo", &["--version"])) {
            return Err(format!(
                "missing on this machine: {}: run `sudo {line}`, then this again",
                missing.join(", ")
            ));
        }
        prefix.push("sudo");
    }
    say(&format!("Installing {} …", missing.join(", ")));
    // A mirror that stumbles once must not fail a run.
    let again = ["-o", "Acquire::Retries=5"];
    run(&prefix, &[&["apt-get", "update", "-qq"][..], &again].concat())?;
    let mut install = [
        &["apt-get", "install", "-y", "-qq", "--no-install-recommends"][..],
        &again,
    ]
    .concat();
    install.extend(&missing);
    run(&prefix, &install)
}

fn run(prefix: &[&str], words: &[&str]) -> Result<(), Problem> {
    let all: Vec<&str> = prefix.iter().chain(words).copied().collect();
    must(
        command(all[0]).args(&all[1..]).env("DEBIAN_FRONTEND", "noninteractive"),
        &all.join(" "),
    )
}

fn is_root() -> bool {
    command("id")
        .arg("-u")
        .output()
        .is_ok_and(|output| output.stdout.trim_ascii() == b"0")
}

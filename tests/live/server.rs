//! A sound server without hardware, for one test: its own folders, its own bus, its own processes.

use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::{Mutex, MutexGuard};
use std::thread;
use std::time::{Duration, Instant};

use consort_tests::process::{Folder, must_have, say};

/// How long any one thing may take on a busy machine; nothing here waits that long when all is well.
pub(crate) const PATIENCE: Duration = Duration::from_secs(60);
/// Where the server's programs are reached.
const DOORS: [&str; 5] = [
    "run/bus",
    "run/pipewire-0",
    "run/pipewire-0-manager",
    "run/pulse/native",
    "run/pulse/pid",
];

/// Sound servers of several tests at once would take the processor from one another, and lose sound.
static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());

/// A running server, ended when dropped.
pub(crate) struct SoundServer {
    pub(crate) folder: Folder,
    /// In the order in which they were started.
    daemons: Vec<Child>,
    _turn: MutexGuard<'static, ()>,
}

/// What plays into an input; to be unplugged by this.
pub(crate) struct Plugged(String);

/// Everything that has to be installed, with a word that makes it answer at once.
const PROGRAMS: [(&str, &str); 6] = [
    ("dbus-daemon", "--version"),
    ("pipewire", "--version"),
    ("wireplumber", "--version"),
    ("pipewire-pulse", "--version"),
    ("pactl", "--version"),
    ("paplay", "--version"),
];

/// Blocks of 1,024 samples: with smaller ones a busy machine loses some.
const SETTINGS: &str = "\
context.properties = {
    default.clock.rate = 48000
    default.clock.allowed-rates = [ 44100 48000 ]
    default.clock.quantum = 1024
    default.clock.min-quantum = 1024
    default.clock.max-quantum = 1024
}
";

impl SoundServer {
    /// Starts one; `None` where it is not installed, which is said, and which is a failure where nothing may be left out.
    #[track_caller]
    pub(crate) fn start(test: &str) -> Option<Self> {
        let turn = ONE_AT_A_TIME.lock().unwrap_or_else(|broken| broken.into_inner());
        let missing: Vec<&str> = PROGRAMS
            .iter()
            .filter(|(program, word)| !answers(Command::new(program).arg(word)))
            .map(|(program, _)| *program)
            .collect();
        if !missing.is_empty() {
            let missing = missing.join(", ");
            assert!(!must_have("sound"), "not installed here: {missing}");
            say(&format!(
                "skipped: not installed here: {missing}; `cargo verify` installs them"
            ));
            return None;
        }
        let mut server = Self {
            folder: Folder::new(test),
            daemons: Vec::new(),
            _turn: turn,
        };
        server.furnish();
        server.start_daemons();
        Some(server)
    }

    /// A program that finds this server and no other.
    pub(crate) fn command(&self, program: impl AsRef<std::ffi::OsStr>) -> Command {
        let mut command = Command::new(program);
        command
            .env("XDG_RUNTIME_DIR", self.folder.path().join("run"))
            .env("HOME", self.folder.path().join("home"))
            .env(
                "DBUS_SESSION_BUS_ADDRESS",
                format!("unix:path={}", self.folder.inside("run/bus")),
            )
            .env(
                "PULSE_SERVER",
                format!("unix:{}", self.folder.inside("run/pulse/native")),
            );
        for name in [
            "XDG_CONFIG_HOME",
            "XDG_STATE_HOME",
            "XDG_DATA_HOME",
            "DISPLAY",
            "PULSE_COOKIE",
        ] {
            command.env_remove(name);
        }
        command
    }

    /// Plugs in something that plays at `rate`; the input it makes is called `NAME.monitor`.
    #[track_caller]
    pub(crate) fn plug(&self, name: &str, rate: u32) -> Plugged {
        let sink = format!("sink_name={name}");
        let rate = format!("rate={rate}");
        let words = [
            "load-module",
            "module-null-sink",
            &sink,
            "format=float32le",
            &rate,
            "channels=2",
        ];
        let plugged = Plugged(self.pactl(&words));
        let begun = Instant::now();
        while !self
            .pactl(&["list", "short", "sources"])
            .contains(&format!("{name}.monitor"))
        {
            assert!(begun.elapsed() < PATIENCE, "{name} does not come up");
            thread::sleep(Duration::from_millis(20));
        }
        plugged
    }

    /// Takes it away again.
    #[track_caller]
    pub(crate) fn unplug(&self, plugged: &Plugged) {
        self.pactl(&["unload-module", &plugged.0]);
    }

    /// Plays `file` into what was plugged in as `name`, to its end.
    #[track_caller]
    pub(crate) fn play(&self, file: &str, name: &str) {
        let status = self
            .command("paplay")
            .args([&format!("--device={name}"), file])
            .stdin(Stdio::null())
            .status()
            .expect("paplay starts");
        assert!(status.success(), "{file} cannot be played into {name}: {status}");
    }

    /// Runs everything in the server at `rate` from now on.
    #[track_caller]
    pub(crate) fn force_rate(&self, rate: u32) {
        let ran =
            answers(
                self.command("pw-metadata")
                    .args(["-n", "settings", "0", "clock.force-rate", &rate.to_string()]),
            );
        assert!(ran, "the rate cannot be set");
    }

    /// Ends every process of the server at once, as a crash would.
    pub(crate) fn kill(&mut self) {
        for mut daemon in self.daemons.drain(..).rev() {
            let _ = daemon.kill();
            let _ = daemon.wait();
        }
    }

    /// Starts the server again after [`Self::kill`].
    #[track_caller]
    pub(crate) fn start_daemons(&mut self) {
        let bus = format!("--address=unix:path={}", self.folder.inside("run/bus"));
        // A crash leaves its doors behind: what is started next would take them for open, knock in vain and end.
        for door in DOORS {
            let _ = std::fs::remove_file(self.folder.path().join(door));
        }
        self.start_daemon("dbus-daemon", &["--session", "--nofork", &bus]);
        self.wait_for_door("run/bus");
        self.start_daemon("pipewire", &[]);
        self.wait_for_door("run/pipewire-0");
        self.start_daemon("wireplumber", &[]);
        self.start_daemon("pipewire-pulse", &[]);
        let begun = Instant::now();
        while !answers(self.command("pactl").arg("info")) {
            assert!(
                begun.elapsed() < PATIENCE,
                "the sound server does not answer: {}",
                self.log()
            );
            thread::sleep(Duration::from_millis(50));
        }
    }

    fn furnish(&self) {
        let settings = self.folder.path().join("home/.config/pipewire/pipewire.conf.d");
        std::fs::create_dir_all(&settings).expect("folders can be made");
        std::fs::write(settings.join("10-quantum.conf"), SETTINGS).expect("files can be written");
        let run = self.folder.path().join("run");
        std::fs::create_dir_all(&run).expect("folders can be made");
        // Sound servers take no folder that others may look into.
        let only_owner = std::os::unix::fs::PermissionsExt::from_mode(0o700);
        std::fs::set_permissions(run, only_owner).expect("own folders can be closed");
    }

    #[track_caller]
    fn start_daemon(&mut self, program: &str, words: &[&str]) {
        let log = std::fs::File::create(self.log_path(program)).expect("files can be written");
        let daemon = self
            .command(program)
            .args(words)
            .stdin(Stdio::null())
            .stdout(log.try_clone().expect("files can be shared"))
            .stderr(log)
            .spawn()
            .unwrap_or_else(|error| panic!("{program} does not start: {error}"));
        self.daemons.push(daemon);
    }

    #[track_caller]
    fn wait_for_door(&self, path: &str) {
        let begun = Instant::now();
        while !self.folder.path().join(path).exists() {
            assert!(begun.elapsed() < PATIENCE, "{path} does not appear: {}", self.log());
            thread::sleep(Duration::from_millis(20));
        }
    }

    /// What `pactl` answers to `words`.
    #[track_caller]
    pub(crate) fn pactl(&self, words: &[&str]) -> String {
        let output = self
            .command("pactl")
            .args(words)
            .stdin(Stdio::null())
            .output()
            .expect("pactl starts");
        assert!(
            output.status.success(),
            "pactl {words:?}: {}",
            String::from_utf8_lossy(&output.stderr)
        );
        String::from_utf8_lossy(&output.stdout).trim().to_owned()
    }

    fn log_path(&self, program: &str) -> PathBuf {
        self.folder.path().join(format!("{program}.log"))
    }

    fn log(&self) -> String {
        let of = |program: &str| std::fs::read_to_string(self.log_path(program)).unwrap_or_default();
        ["dbus-daemon", "pipewire", "wireplumber", "pipewire-pulse"]
            .map(|program| format!("\n--- {program}:\n{}", of(program)))
            .concat()
    }
}

impl Drop for SoundServer {
    fn drop(&mut self) {
        self.kill();
    }
}

fn answers(command: &mut Command) -> bool {
    command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success())
}

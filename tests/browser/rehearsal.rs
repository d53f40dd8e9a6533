//! A coordinator and stations whose pages are looked at: real programs, each station hearing what the test plays to it.

use std::io::Write;
use std::net::TcpListener;
use std::time::{Duration, Instant};

use consort_tests::process::{Folder, Program, run};
use serde_json::Value;

/// How long any one thing may take on a busy machine; nothing here waits that long when all is well.
pub(crate) const PATIENCE: Duration = Duration::from_secs(30);

pub(crate) struct Rehearsal {
    folder: Folder,
    coordinator: Program,
    ports: [u16; 3],
    /// What the coordinator said as it opened: its addresses by name.
    opened: Value,
}

/// A station that hears a harp, and its desk.
pub(crate) struct Harp {
    station: Program,
    sound: std::process::ChildStdin,
    pub(crate) desk: String,
}

impl Rehearsal {
    pub(crate) fn open(test: &str) -> Self {
        let folder = Folder::new(test);
        let ports = free_ports();
        let (coordinator, opened) = start(&folder, ports);
        Self {
            folder,
            coordinator,
            ports,
            opened,
        }
    }

    /// The address of the board, of the control or for joining, by these names.
    pub(crate) fn address(&self, name: &str) -> String {
        let address = self.opened[name].as_str();
        address
            .unwrap_or_else(|| panic!("no {name} in {}", self.opened))
            .to_owned()
    }

    /// Ends the coordinator as a power cut would.
    pub(crate) fn kill(&mut self) {
        self.coordinator.kill();
    }

    /// Opens it again on the same ports.
    pub(crate) fn reopen(&mut self) {
        (self.coordinator, self.opened) = start(&self.folder, self.ports);
    }

    /// Starts `player`'s station, which joins at once; its desk is on TCP `port`, or on any for 0.
    pub(crate) fn harp(&self, player: &str, port: u16) -> Harp {
        let mut harp = self.unlinked(player, port, &["--join", &self.address("join")]);
        harp.expect_joined(player);
        harp
    }

    /// Starts `player`'s station with `more` words, and does not wait until it has joined.
    pub(crate) fn unlinked(&self, player: &str, port: u16, more: &[&str]) -> Harp {
        self.laptop("laptop", player, port, more)
    }

    /// Starts `player`'s station with the check by which a tuning opens, on the harp in the file at `harp`, and joins it.
    pub(crate) fn opening(&self, player: &str, harp: &str) -> Harp {
        let join = self.address("join");
        let mut harp = self.station("laptop", player, 0, &["--harp", harp, "--join", &join]);
        harp.expect_joined(player);
        harp
    }

    /// A file in the rehearsal's own folder.
    pub(crate) fn file(&self, name: &str, text: &str) -> String {
        let path = self.folder.inside(name);
        std::fs::write(&path, text).expect("a file can be written");
        path
    }

    /// Starts a station of `player` on a laptop of its own, beside one that she has already.
    pub(crate) fn another_laptop(&self, player: &str) -> Harp {
        let mut harp = self.laptop("another-laptop", player, 0, &["--join", &self.address("join")]);
        harp.expect_joined(player);
        harp
    }

    /// Starts a station that asks for no opening plucks.
    fn laptop(&self, laptop: &str, player: &str, port: u16, more: &[&str]) -> Harp {
        let more: Vec<&str> = more.iter().copied().chain(["--no-opening"]).collect();
        self.station(laptop, player, port, &more)
    }

    fn station(&self, laptop: &str, player: &str, port: u16, more: &[&str]) -> Harp {
        // A name may hold what no folder's name can.
        let plain: String = player.chars().filter(|c| c.is_alphanumeric()).collect();
        let (data, port) = (self.folder.inside(&format!("{laptop}-{plain}")), port.to_string());
        let mut words = vec![
            "--data",
            &data,
            "--name",
            player,
            "--no-discovery",
            "--desk-port",
            &port,
            "--no-browser",
            "--json",
            "--input",
            "stdin",
        ];
        words.extend(more);
        let mut station = Program::start("consort-station", &words);
        let line = station.line(PATIENCE, |line| line.contains("\"desk\""));
        let (_, line) = line.unwrap_or_else(|| panic!("no desk\n{}", station.transcript()));
        let line: Value = serde_json::from_str(&line).expect("the line is JSON");
        let desk = line["url"].as_str().expect("the desk has an address").to_owned();
        let sound = station.stdin().expect("the station listens");
        Harp { station, sound, desk }
    }

    /// Gives an order from another terminal.
    pub(crate) fn order(&self, words: &[&str]) -> String {
        let data = self.folder.inside("coordinator");
        let words: Vec<&str> = words.iter().copied().chain(["--data", &data]).collect();
        let output = run("consort-coordinator", &words);
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{words:?}: {said}");
        String::from_utf8_lossy(&output.stdout).into_owned()
    }

    pub(crate) fn status(&self) -> Value {
        serde_json::from_str(&self.order(&["status", "--json"])).expect("the status is JSON")
    }
}

impl Harp {
    #[track_caller]
    pub(crate) fn expect_joined(&mut self, player: &str) {
        let joined = self.station.line(PATIENCE, |line| line.contains("\"joined\""));
        assert!(
            joined.is_some(),
            "{player} does not join\n{}",
            self.station.transcript()
        );
    }

    /// Plays a committed recording to the station as fast as it hears, then silence for the last string to ring out.
    pub(crate) fn play(&mut self, recording: &str) {
        let path = format!("{}/recordings/{recording}", env!("CARGO_MANIFEST_DIR"));
        let mut reader = claxon::FlacReader::open(&path).unwrap_or_else(|error| panic!("{path}: {error}"));
        let info = reader.streaminfo();
        assert_eq!((info.sample_rate, info.channels), (48_000, 1), "{path}");
        let full = f32::from(2_u16.pow(15)) * 2_f32.powi(info.bits_per_sample.cast_signed() - 16);
        let sound = reader.samples().map(|sample| sample.expect("a sample") as f32 / full);
        let silence = std::iter::repeat_n(0.0, 48_000);
        let sound: Vec<f32> = sound.chain(silence).collect();
        self.sounds(&sound);
    }

    /// Lets the station hear this sound of 48 kHz.
    pub(crate) fn sounds(&mut self, sound: &[f32]) {
        let bytes: Vec<u8> = sound.iter().copied().flat_map(f32::to_le_bytes).collect();
        self.sound.write_all(&bytes).expect("the station listens");
        self.sound.flush().expect("the station listens");
    }

    /// Ends the station as a power cut would.
    pub(crate) fn kill(&mut self) {
        self.station.kill();
    }
}

/// Waits until `wanted` gives something.
#[track_caller]
pub(crate) fn wait_for<T>(what: &str, mut wanted: impl FnMut() -> Option<T>) -> T {
    let begun = Instant::now();
    loop {
        if let Some(found) = wanted() {
            return found;
        }
        assert!(begun.elapsed() < PATIENCE, "{what} does not come");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// Three neighbouring ports of loopback that are free now.
pub(crate) fn free_ports() -> [u16; 3] {
    let free = |port: u16| TcpListener::bind(("127.0.0.1", port));
    wait_for("three free ports", || {
        let first = free(0).ok()?;
        let port = first.local_addr().ok()?.port();
        let _others = [free(port.checked_add(1)?).ok()?, free(port.checked_add(2)?).ok()?];
        Some([port, port + 1, port + 2])
    })
}

fn start(folder: &Folder, [stations, board, control]: [u16; 3]) -> (Program, Value) {
    let (data, stations, board, control) = (
        folder.inside("coordinator"),
        stations.to_string(),
        board.to_string(),
        control.to_string(),
    );
    let words = [
        "--data",
        &data,
        "--listen",
        "127.0.0.1",
        "--port",
        &stations,
        "--board-port",
        &board,
        "--control-port",
        &control,
        "--no-browser",
        "--no-discovery",
        "--json",
    ];
    let mut coordinator = Program::start("consort-coordinator", &words);
    let line = coordinator.line(PATIENCE, |line| line.contains("\"open\""));
    let (_, line) = line.unwrap_or_else(|| panic!("the coordinator does not open\n{}", coordinator.transcript()));
    (coordinator, serde_json::from_str(&line).expect("the open line is JSON"))
}

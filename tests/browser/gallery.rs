//! Every page in every state: looked at on every screen in both themes, pictured, and checked for accessibility.

use consort_tests::process::Program;
use serde_json::Value;

use crate::axe::Rules;
use crate::browser::{Browser, LAPTOP, PHONE, SMALL_LAPTOP, Screen, THEMES, WALL, ZOOMED};
use crate::network::alone;
use crate::record::Recorded;
use crate::rehearsal::{PATIENCE, Rehearsal, free_ports};
use crate::tools::{Tools, built, screens};

/// A page that is longer than this many screens is pictured no further.
const SCREENS_MAX: u32 = 5;

/// What does not fit beside the screen, or lies upon something that is written.
const BESIDE: &str = "
const wide = document.documentElement.scrollWidth - innerWidth;
if (wide <= 0) return null;
const out = [...document.body.querySelectorAll('*')].filter((part) => part.getBoundingClientRect().right > innerWidth + 1 && !part.closest('.unseen'));
return `${wide} pixels wider than the screen: ${out.slice(0, 3).map((part) => part.outerHTML.slice(0, 120)).join(' ')}`;";

/// Two frames later everything is laid out and drawn.
const DRAWN: &str = "const told = arguments[0]; requestAnimationFrame(() => requestAnimationFrame(() => told(true)));";

/// Pages are looked at by one browser; what is wrong with them is gathered, so that one run tells all of it.
struct Gallery {
    browser: Browser,
    rules: Rules,
    wrong: Vec<String>,
    /// Whether all of a page has to be in sight at once.
    at_once: bool,
}

impl Gallery {
    fn open(tools: &Tools) -> Self {
        Self {
            browser: Browser::open(tools),
            rules: Rules::read(tools),
            wrong: Vec::new(),
            at_once: false,
        }
    }

    /// Looks at the page at `address`, called `name`, once the expression `there` is true.
    fn look(&mut self, name: &str, address: &str, there: &str) {
        for screen in [LAPTOP, WALL, PHONE, ZOOMED] {
            // Each screen opens the page for itself: a phone shows other things than a wall.
            self.browser.screen(screen);
            self.browser.go(address);
            self.browser.wait(name, there);
            if self.at_once && screen.name == LAPTOP.name {
                self.expect_in_sight(name, screen);
                self.browser.screen(SMALL_LAPTOP);
                self.expect_in_sight(name, SMALL_LAPTOP);
                self.browser.screen(screen);
            } else if self.at_once && screen.name == WALL.name {
                self.expect_in_sight(name, screen);
            }
            for (theme, scheme) in THEMES {
                let first = theme == THEMES[0].0;
                // Twice as large it is looked at for what fits, which is the same in both themes.
                if screen.name == ZOOMED.name && !first {
                    continue;
                }
                self.browser.prefer(scheme);
                let screens = self.picture(&format!("{name}-{theme}-{}", screen.name), screen);
                // Nobody scrolls a wall.
                if screen.name == WALL.name && screens > 1 && name.starts_with("board") {
                    self.wrong.push(format!("{name}, {theme}: more than a wall shows"));
                }
                if screen.name != WALL.name && screen.name != ZOOMED.name {
                    let violated = if first {
                        self.rules.violated_by(&self.browser)
                    } else {
                        self.rules.violated_by_colours(&self.browser)
                    };
                    let told = violated
                        .iter()
                        .map(|rule| format!("{name}, {theme}, {}: {rule}", screen.name));
                    self.wrong.extend(told);
                }
            }
        }
        let complaints = self.browser.complaints();
        self.wrong.extend(
            complaints
                .iter()
                .map(|complaint| format!("{name} complains: {complaint}")),
        );
        let far = self.browser.asked_for().into_iter();
        let far = far.filter(|address| !address.starts_with("http://127.0.0.1:") && !address.starts_with("data:"));
        self.wrong
            .extend(far.map(|address| format!("{name} asks for {address}")));
        // What ends next is not to be missed by the page.
        self.browser.go("about:blank");
    }

    /// The same, and all of the page is in sight at once on a screen with a keyboard: hands on a key cannot scroll.
    fn look_at_once(&mut self, name: &str, address: &str, there: &str) {
        self.at_once = true;
        self.look(name, address, there);
        self.at_once = false;
    }

    fn expect_in_sight(&mut self, name: &str, screen: Screen) {
        self.browser.run_until_told(DRAWN);
        let below = self
            .browser
            .run("return document.documentElement.scrollHeight - innerHeight");
        if below.as_f64().is_none_or(|below| below > 0.0) {
            self.wrong
                .push(format!("{name}, {}: {below} pixels are below the screen", screen.name));
        }
    }

    /// Whether all of a board is in sight on a wall, which nobody scrolls.
    fn fits_a_wall(&mut self, name: &str, address: &str, there: &str) {
        self.browser.screen(WALL);
        self.browser.go(address);
        self.browser.wait(name, there);
        if self.picture(&format!("{name}-{}", WALL.name), WALL) > 1 {
            self.wrong.push(format!("{name}: more than a wall shows"));
        }
        self.browser.go("about:blank");
    }

    /// Keeps what the screen shows, and below it the next screens; how many screens long the page is.
    fn picture(&mut self, name: &str, screen: Screen) -> u32 {
        self.browser.run_until_told(DRAWN);
        if let Value::String(beside) = self.browser.run(BESIDE) {
            self.wrong.push(format!("{name}: {beside}"));
        }
        let height = self
            .browser
            .run("return document.documentElement.scrollHeight")
            .as_f64();
        let count = (height.unwrap_or_default() / f64::from(screen.height)).ceil() as u32;
        for part in 0..count.clamp(1, SCREENS_MAX) {
            self.browser.run(&format!("scrollTo(0, {})", part * screen.height));
            let number = if part == 0 {
                String::new()
            } else {
                format!("-{}", part + 1)
            };
            self.browser.picture(&screens().join(format!("{name}{number}.png")));
        }
        self.browser.run("scrollTo(0, 0)");
        count
    }

    #[track_caller]
    fn expect_nothing_wrong(self) {
        assert!(self.wrong.is_empty(), "{}", self.wrong.join("\n"));
    }
}

/// The invented ensemble of so many harps in a state; it ends with the program.
pub(crate) fn show(harps: u32, state: &str) -> (Program, [u16; 3]) {
    let path = built().join("examples/show");
    assert!(
        path.is_file(),
        "the example is not built: `cargo build -p consort-pages --example show`"
    );
    let ports = free_ports();
    let mut show = Program::spawn(std::process::Command::new(path).args([
        harps.to_string(),
        ports[0].to_string(),
        state.to_owned(),
    ]));
    let begun = show.line(PATIENCE, |line| line.starts_with("desk"));
    assert!(begun.is_some(), "the example does not begin\n{}", show.transcript());
    (show, ports)
}

#[test]
fn the_pages_of_a_rehearsal_fit_every_screen_and_break_no_rule() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("gallery");
        let (mut runa, mut teodor) = (rehearsal.harp("Runa", 0), rehearsal.harp("Teodor", 0));
        for recording in ["clean-47-gb7", "clean-47-gb7", "clean-20-ab3", "clean-25-fb4"] {
            runa.play(&format!("{recording}.flac"));
        }
        teodor.play("clean-33-gb5.flac");
        rehearsal.order(&["start", "25"]);
        let mut gallery = Gallery::open(tools);
        let heard = "document.body.textContent.includes('One string holds')";
        let rows = "document.querySelectorAll('#rows .row').length === 2";
        gallery.look("board", &rehearsal.address("board"), rows);
        gallery.look("control", &rehearsal.address("control"), heard);
        let loosen = "document.getElementById('word').textContent === 'Loosen'";
        gallery.look("desk", &teodor.desk, loosen);
        gallery.expect_nothing_wrong();
    });
}

#[test]
fn the_record_fits_every_screen_and_breaks_no_rule() {
    alone(|tools| {
        let recorded = Recorded::open("record-gallery", true);
        let mut gallery = Gallery::open(tools);
        // The desk's key opens the record as well.
        gallery.browser.go(&recorded.desk);
        let there = "document.getElementById('word').textContent !== ''";
        gallery.browser.wait("the desk", there);
        gallery.look("record", &recorded.page, "document.querySelector('#plot svg .fell')");
        gallery.expect_nothing_wrong();
    });
}

#[test]
fn every_state_of_the_desk_fits_every_screen_and_breaks_no_rule() {
    alone(|tools| {
        let (_show, [.., port]) = show(1, "");
        let mut gallery = Gallery::open(tools);
        for state in [
            "flat", "sharp", "ring", "holds", "pluck", "doubt", "pedal", "lever", "limit", "again", "waits", "soft",
            "strong", "moved", "stands", "offline", "new", "changed", "asked", "check", "plays", "dark", "done",
        ] {
            let address = format!("http://127.0.0.1:{port}/{state}/");
            let there = "document.getElementById('word').textContent !== ''";
            gallery.look_at_once(&format!("desk-{state}"), &address, there);
        }
        gallery.expect_nothing_wrong();
    });
}

#[test]
fn boards_of_any_size_fit_every_screen_and_break_no_rule() {
    alone(|tools| {
        let mut gallery = Gallery::open(tools);
        for harps in [0, 1, 12, 30, 60] {
            let (_show, [board, ..]) = show(harps, "");
            // One of the larger ensembles was turned away by the leader.
            let there = shown(harps - u32::from(harps >= 10));
            let board = format!("http://127.0.0.1:{board}/show/");
            gallery.look(&format!("board-{harps}"), &board, &there);
            if harps == 12 {
                gallery.look("board-12-names", &format!("{board}?names=show"), &there);
            } else if harps > 12 {
                gallery.fits_a_wall(&format!("board-{harps}-names"), &format!("{board}?names=show"), &there);
            }
        }
        gallery.expect_nothing_wrong();
    });
}

#[test]
fn a_board_fits_every_screen_when_all_are_ready_a_string_is_called_or_a_thousand_play() {
    alone(|tools| {
        let mut gallery = Gallery::open(tools);
        for (name, harps, state, there) in [
            ("board-all-ready", 12, "ready", shown(12)),
            (
                "board-called",
                12,
                "called",
                "!document.getElementById('called').hidden".to_owned(),
            ),
            ("board-no-start", 12, "no-start", shown(11)),
            (
                "board-1000",
                1_000,
                "",
                "!document.getElementById('crowd').hidden".to_owned(),
            ),
        ] {
            let (_show, [board, ..]) = show(harps, state);
            gallery.look(name, &format!("http://127.0.0.1:{board}/show/"), &there);
        }
        for (harps, state) in [
            (60, "ready"),
            (60, "called"),
            (60, "no-start"),
            (60, "alike"),
            (1_000, "called"),
            (1_000, "no-start"),
        ] {
            let (_show, [board, ..]) = show(harps, state);
            let there = "document.getElementById('counts').textContent.includes(' ready')";
            let board = format!("http://127.0.0.1:{board}/show/?names=show");
            gallery.fits_a_wall(&format!("board-{harps}-{state}-names"), &board, there);
        }
        gallery.expect_nothing_wrong();
    });
}

#[test]
fn the_control_fits_every_screen_and_breaks_no_rule() {
    alone(|tools| {
        let (_show, [_, control, _]) = show(12, "");
        let mut gallery = Gallery::open(tools);
        // Pedals stand in one row, as on the harp.
        let there = "document.querySelectorAll('.harp').length >= 11 \
            && new Set([...document.querySelectorAll('#pedals button')].map((pedal) => pedal.offsetTop)).size === 1";
        gallery.look("control-12", &format!("http://127.0.0.1:{control}/#show"), there);
        gallery.expect_nothing_wrong();
    });
}

/// So many harps are on the board.
fn shown(harps: u32) -> String {
    format!("document.querySelectorAll('#rows .row, #ready li').length >= {harps}")
}

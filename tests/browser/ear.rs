//! Checks by listening at the desk: two strings of a virtual harp together, and one after another.

use consort_harp::{Condition, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Cents, HarpString, Letter, SampleRate, StringNumber, harp_file};

use crate::axe::Rules;
use crate::browser::{Browser, LAPTOP, PHONE, THEMES};
use crate::network::alone;
use crate::rehearsal::{Harp, Rehearsal};
use crate::tools::screens;

/// A harp whose C above middle C stands this far above its octave, cents, and whose other strings are in tune.
const SHARP: f64 = 9.0;
/// How far the lower disc of middle C raises it too far, cents.
const DISC: f64 = 6.0;

/// A virtual harp beside the station that hears it.
struct Player {
    harp: VirtualHarp,
}

impl Player {
    fn sit_down() -> Self {
        let harp = harp_file::preset("pedal-47").expect("a preset");
        let strings = harp.numbered().map(|(number, strung)| HarpString {
            regulation: [0.0, f64::from(u8::from(number == string(Letter::C, 4))) * DISC].map(Cents),
            ..*strung
        });
        let strings = strings.collect();
        let harp = consort_proto::Harp::new(harp.name().to_owned(), harp.kind(), strings).expect("a harp");
        let mut condition = Condition::sound(11);
        condition.far_off = vec![(string(Letter::C, 4), 0.0), (string(Letter::C, 5), SHARP)];
        let stage = Stage {
            rate: SampleRate::STUDIO,
            voices: Voices::Computed,
            pickup: Pickup::GOOD,
            room: Room::default(),
        };
        Self {
            harp: VirtualHarp::new(&harp, &condition, stage),
        }
    }

    /// Knocks on the wood, and is silent.
    fn knock(&mut self, station: &mut Harp) {
        let mut sound = vec![0.0; 48_000 * 4];
        self.harp.render(&mut sound[..48_000]);
        self.harp.knock(2.0);
        self.harp.render(&mut sound[48_000..]);
        station.sounds(&sound);
    }

    /// Plucks strings together, lets them ring, and stops all that sounds.
    fn pluck(&mut self, station: &mut Harp, strings: &[StringNumber], harmonic: bool) {
        let mut sound = vec![0.0; 48_000 * 45 / 10];
        self.harp.render(&mut sound[..48_000]);
        for &string in strings {
            if harmonic {
                self.harp.pluck_harmonic(string, Pluck::ORDINARY);
            } else {
                self.harp.pluck(string, Pluck::ORDINARY);
            }
        }
        self.harp.render(&mut sound[48_000..177_600]);
        self.harp.damp_all();
        self.harp.render(&mut sound[177_600..]);
        station.sounds(&sound);
    }
}

fn string(letter: Letter, octave: i8) -> StringNumber {
    let harp = harp_file::preset("pedal-47").expect("a preset");
    harp.find(letter, octave).expect("a string")
}

fn text(browser: &Browser, id: &str) -> String {
    browser.text(&format!("document.getElementById('{id}').textContent"))
}

fn begin(browser: &Browser, kind: &str, from: StringNumber) {
    browser.run(&format!(
        "document.getElementById('listen-kind').value = '{kind}';
         document.getElementById('listen-string').value = '{from}';
         document.getElementById('listen-begin').click();"
    ));
}

/// The name of a string of the octave above middle C: harps count octaves from E down to F.
fn name(letter: Letter) -> String {
    let octave = if matches!(letter, Letter::C | Letter::D | Letter::E) {
        4
    } else {
        3
    };
    format!("{octave}{letter}")
}

/// Waits until this is asked for.
fn asks(browser: &Browser, what: &str) {
    browser.wait(
        what,
        &format!("document.getElementById('listen-ask').textContent.includes('{what}')"),
    );
}

/// Waits until this was found, and that it means this.
fn finds(browser: &Browser, what: &str, means: &str) {
    browser.wait(
        &format!("{what}, {means}"),
        &format!(
            "document.getElementById('listen-found').textContent.includes('{what}')
             && document.getElementById('listen-means').textContent.includes('{means}')"
        ),
    );
}

#[test]
fn every_check_by_ear_is_made_at_the_desk_and_what_is_heard_is_no_reading() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("ear");
        let mut station = rehearsal.unlinked("Runa", 0, &[]);
        let mut player = Player::sit_down();
        let (lower, higher) = (string(Letter::C, 4), string(Letter::C, 5));
        let browser = Browser::open(tools);
        let rules = Rules::read(tools);
        browser.go(&station.desk);
        browser.wait("the desk", "document.getElementById('word').textContent !== ''");
        browser.press(['e']);
        browser.wait("the dialog", "document.getElementById('listen').open");
        begin(&browser, "octave", lower);
        browser.wait(
            "what to pluck",
            "document.getElementById('listen-ask').textContent.startsWith('Pluck 4C and 3C')",
        );
        player.pluck(&mut station, &[lower, higher], false);
        browser.wait(
            "what was found",
            "document.getElementById('listen-found').textContent.includes('beats a second')",
        );
        // 9 cents of 494 hertz are 2.6 beats, and the octave of a string that is a little stiff is a little wider.
        let found = text(&browser, "listen-found");
        let beats: f64 = found
            .split(' ')
            .next()
            .and_then(|word| word.parse().ok())
            .expect("a number");
        assert!((2.2..3.0).contains(&beats), "{found}");
        let means = text(&browser, "listen-means");
        assert!(means.contains("tune 3C"), "{means}");
        for (theme, scheme) in THEMES {
            for screen in [LAPTOP, PHONE] {
                browser.screen(screen);
                browser.prefer(scheme);
                browser.picture(&screens().join(format!("desk-by-ear-{theme}-{}.png", screen.name)));
                let violated = rules.violated_by(&browser);
                assert!(violated.is_empty(), "{theme}, {}: {violated:?}", screen.name);
            }
        }
        // Somebody knocks on the wood, and what was found stands.
        browser.run(
            "window.told = [];
             new MutationObserver(() => window.told.push(document.getElementById('listen-found').textContent))
                 .observe(document.getElementById('listen-found'), { childList: true, characterData: true, subtree: true });",
        );
        player.knock(&mut station);
        // One string alone is named.
        player.pluck(&mut station, &[higher], false);
        browser.wait(
            "that one is missing",
            "document.getElementById('listen-found').textContent.startsWith('Only 3C')",
        );
        let told = browser.text("window.told.join('; ')");
        assert!(told.starts_with("Only 3C"), "{told}");
        // A harmonic, and its octave.
        begin(&browser, "harmonic", lower);
        browser.wait(
            "what to pluck",
            "document.getElementById('listen-ask').textContent.includes('harmonic')",
        );
        player.pluck(&mut station, &[lower], true);
        browser.wait(
            "the second",
            "document.getElementById('listen-ask').textContent === 'Pluck 3C.'",
        );
        player.pluck(&mut station, &[higher], false);
        browser.wait(
            "what was found",
            "document.getElementById('listen-found').textContent.includes('above the other')",
        );
        browser.screen(LAPTOP);
        browser.picture(&screens().join("desk-by-ear-harmonic.png"));
        // A fifth of strings in tune, and a fourth of which one is sharp by 9 cents of 1,480 hertz.
        begin(&browser, "fifth", lower);
        asks(&browser, "Pluck 4C and 3G together");
        player.pluck(&mut station, &[lower, string(Letter::G, 4)], false);
        finds(&browser, "beats a second", "As it should be.");
        begin(&browser, "fourth", string(Letter::G, 4));
        asks(&browser, "Pluck 3G and 3C together");
        player.pluck(&mut station, &[string(Letter::G, 4), higher], false);
        finds(&browser, "beats a second", "tune 3C");
        // One pitch under two names, at first with the pedal forgotten.
        begin(&browser, "enharmonic", lower);
        asks(&browser, "Put the C pedal in sharp");
        player.pluck(&mut station, &[lower], false);
        finds(
            &browser,
            "whole semitones off: look where the pedal or lever of 4C stands",
            "",
        );
        player.harp.move_pedal(Letter::C, 2);
        player.pluck(&mut station, &[lower], false);
        asks(&browser, "Pluck 4D");
        player.harp.move_pedal(Letter::C, 0);
        player.pluck(&mut station, &[string(Letter::D, 4)], false);
        finds(&browser, "4D lies", "tune 4D");
        let lies = text(&browser, "listen-found");
        let cents: f64 = lies
            .split(' ')
            .nth(2)
            .and_then(|word| word.parse().ok())
            .expect("cents");
        assert!((cents - DISC).abs() < 1.0, "{lies}");
        // A scale, and its last string stands out.
        begin(&browser, "scale", lower);
        let scale = [
            Letter::C,
            Letter::D,
            Letter::E,
            Letter::F,
            Letter::G,
            Letter::A,
            Letter::B,
        ];
        let strings = scale.map(|letter| string(letter, 4));
        for (place, string) in strings.into_iter().chain([higher]).enumerate() {
            let name = scale.get(place).map_or_else(|| "3C".to_owned(), |letter| name(*letter));
            asks(&browser, &format!("Pluck {name}"));
            player.pluck(&mut station, &[string], false);
        }
        finds(&browser, "", "3C stands out by");
        browser.picture(&screens().join("desk-by-ear-scale.png"));
        let strings = text(&browser, "strings");
        assert!(
            strings.contains("3C: not heard yet") && strings.contains("4C: not heard yet"),
            "{strings}"
        );
        browser.expect_quiet();
    });
}

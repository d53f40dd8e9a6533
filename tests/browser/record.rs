//! The record's page: what the station tells of a harp, what is written there, and what is taken back.

use std::path::Path;

use consort_tests::process::{Folder, Program};
use serde_json::Value;

use crate::browser::Browser;
use crate::network::alone;
use crate::rehearsal::PATIENCE;
use crate::walnut;

/// A station with the walnut harp's record, and the addresses of its desk and its record's page.
pub(crate) struct Recorded {
    _station: Program,
    _folder: Folder,
    pub(crate) desk: String,
    pub(crate) page: String,
}

impl Recorded {
    /// Starts it; `filled` says whether the record holds anything yet.
    pub(crate) fn open(test: &str, filled: bool) -> Self {
        let folder = Folder::new(test);
        let data = folder.inside("data");
        std::fs::create_dir_all(&data).expect("a folder");
        if filled {
            walnut::write(&Path::new(&data).join("record.sqlite"));
        }
        let mut words = vec![
            "--data",
            &data,
            "--harp",
            "pedal-47",
            "--no-discovery",
            "--desk-port",
            "0",
        ];
        words.extend(["--no-browser", "--no-opening", "--json", "--input", "stdin"]);
        let mut station = Program::start("consort-station", &words);
        let line = station.line(PATIENCE, |line| line.contains("\"desk\""));
        let (_, line) = line.unwrap_or_else(|| panic!("no desk\n{}", station.transcript()));
        let line: Value = serde_json::from_str(&line).expect("the line is JSON");
        let desk = line["url"].as_str().expect("the desk has an address").to_owned();
        let (origin, _) = desk.split_once('#').expect("a token");
        let page = format!("{origin}record/");
        Self {
            _station: station,
            _folder: folder,
            desk,
            page,
        }
    }
}

/// What the part `id` says.
fn says(browser: &Browser, id: &str) -> String {
    browser.text(&format!("document.getElementById('{id}').textContent"))
}

#[test]
fn the_record_says_what_is_wrong_draws_it_and_takes_back_what_was_written() {
    alone(|tools| {
        let recorded = Recorded::open("record-page", true);
        let browser = Browser::open(tools);
        browser.go(&recorded.desk);
        browser.wait("the desk", "document.getElementById('word').textContent !== ''");
        browser.run("document.querySelector('a[href=\"record/\"]').click()");
        browser.wait("the findings", "document.querySelectorAll('#findings > li').length > 3");
        let findings = says(&browser, "findings");
        for headline in [
            "3B: the pin slips",
            "2E: a false string",
            "4F: still stretching",
            "Gut strings: the room",
            "G pedal: its regulation",
        ] {
            assert!(findings.contains(headline), "{headline} in {findings}");
        }
        assert!(findings.contains("Push the key in while turning"), "{findings}");
        browser.wait("a drawing", "document.querySelector('#plot svg .fell')");
        let drawn = browser.text("document.querySelector('#plot svg').getAttribute('aria-label')");
        assert_eq!(drawn, "3B: as left, and as found next time");
        let steps = says(&browser, "steps-rows");
        assert!(steps.contains("+8.0 ±") && steps.contains("not yet"), "{steps}");
        // What is off in a letter is looked at in all positions before it is allowed for, and taken back.
        browser.run(
            "[...document.querySelectorAll('#allow-letters button')].find((one) => one.textContent === 'G').click()",
        );
        let allowed = says(&browser, "allow-rows");
        assert!(allowed.contains("3G−8.0+0.0 → −8.0+8.0 → +0.0"), "{allowed}");
        assert!(says(&browser, "allow-says").starts_with("G is not allowed for."));
        browser.click("allow-do");
        browser.wait(
            "the choice",
            "document.getElementById('allow-says').textContent.startsWith('G is allowed for:')",
        );
        browser.click("undo");
        browser.wait(
            "its end",
            "document.getElementById('allow-says').textContent.startsWith('G is not allowed for.')",
        );
        // A string that was put on is written down, seen in the plan's list, and taken back.
        browser.run("document.querySelector('#fitted').closest('details').open = true");
        browser.run("document.querySelector('#fitted [name=string]').value = '20'");
        browser.run("document.querySelector('#fitted').requestSubmit()");
        browser.wait(
            "the entry",
            "document.getElementById('written').textContent.includes(`3B, put on on ${document.querySelector('#fitted [name=day]').value}`)",
        );
        browser.click("undo");
        browser.wait(
            "what was taken back",
            "document.getElementById('answer').textContent.startsWith('Taken out again: 3B')",
        );
        browser.wait(
            "its end",
            "!document.getElementById('written').textContent.includes(`3B, put on on ${document.querySelector('#fitted [name=day]').value}`)",
        );
        // What was written down long ago is taken out by itself, and put back.
        browser.run("document.querySelector('[aria-label^=\"Take out: Winter concert\"]').click()");
        browser.wait(
            "what was taken out",
            "document.getElementById('answer').textContent.startsWith('Taken out again: Winter concert')",
        );
        browser.click("undo");
        browser.wait(
            "what is back",
            "document.getElementById('answer').textContent.startsWith('Back again: Winter concert')",
        );
        // The days before a concert belong to the harp, and the whole harp is drawn into a file.
        // While she is in the form, nothing new from the station writes over what she chose.
        browser.run("document.querySelector('#sheet').closest('details').open = true");
        browser.run("const days = document.querySelector('#concert-days'); days.focus(); days.value = '21'");
        assert_eq!(browser.text("document.activeElement.id"), "concert-days");
        browser.run("document.querySelector('#sheet').requestSubmit()");
        browser.wait(
            "the plan around them",
            "document.getElementById('plan-rows').textContent.includes('after the concert')",
        );
        browser.run("fetch(document.getElementById('save-harp').href).then((file) => file.text()).then((text) => { document.body.dataset.drawn = text.includes('<svg') && text.includes('3B'); })");
        browser.wait("the whole harp", "document.body.dataset.drawn === 'true'");
        browser.run("fetch(document.getElementById('save-shopping').href).then((file) => file.text()).then((text) => { document.body.dataset.bought = text; })");
        browser.wait("the list for the shop", "document.body.dataset.bought");
        let bought = browser.text("document.body.dataset.bought");
        assert!(
            bought.starts_with("count,what\n") && bought.contains("1,\"2nd octave E, No. 8, gut\"\n"),
            "{bought}"
        );
        // What cannot be is refused in the page, in the words of the command line.
        browser.run("document.querySelector('#room [name=humidity]').value = '140'");
        browser.run("document.querySelector('#room').requestSubmit()");
        browser.wait(
            "the refusal",
            "document.getElementById('answer').textContent.includes('a humidity of 140 % is none')",
        );
        let complaints = browser.complaints();
        // The refusal itself is told by the browser, too.
        assert!(complaints.iter().all(|line| line.contains("422")), "{complaints:?}");
    });
}

#[test]
fn a_record_without_a_harp_says_what_to_do_and_strangers_are_shown_nothing() {
    alone(|tools| {
        let recorded = Recorded::open("record-empty", false);
        let browser = Browser::open(tools);
        browser.go(&recorded.page);
        browser.wait(
            "where to come from",
            "document.getElementById('about').textContent.startsWith('Open the desk')",
        );
        browser.go(&recorded.desk);
        browser.wait("the desk", "document.getElementById('word').textContent !== ''");
        browser.go(&recorded.page);
        browser.wait("what it holds", "document.getElementById('about').textContent.includes('Too early') || document.getElementById('nothing').textContent.includes('Too early to say') || document.getElementById('about').textContent.includes('holds no harp yet')");
        // A harp has discs from the first day on, and its page says how they are checked.
        browser.wait(
            "the check of the regulation",
            "document.getElementById('steps-says').textContent.includes('consort-station record check')",
        );
    });
}

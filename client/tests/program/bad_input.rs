//! Whatever cannot be meant or done is said in one line that tells what to do, and the exit code says so too.

use std::net::TcpListener;

use crate::running::{ALONE, Folder, Running, program, recordings, run, told};
use crate::sound::{MIDDLE_C_FLAT_HZ, pluck, write_wav};

/// Runs the program and checks its exit code and its one line; nothing may be left on standard output.
#[track_caller]
fn check(words: &[&str], code: i32, says: &[&str]) {
    let (ended, lines, complaints) = told(&run(words));
    assert_eq!(ended, Some(code), "{words:?}: {complaints:?}");
    assert!(lines.is_empty(), "{words:?}: {lines:?}");
    let [line] = complaints.as_slice() else {
        panic!("{words:?} says more or less than one line: {complaints:?}");
    };
    assert!(line.starts_with("station: "), "{words:?}: {line}");
    for part in says {
        assert!(line.contains(part), "{words:?} does not say “{part}”: {line}");
    }
}

#[test]
#[rustfmt::skip]
fn what_cannot_be_meant_is_said_before_anything_is_opened() {
    let key = "a".repeat(52);
    let no_key = "consort://192.168.1.20:4700/abc/abc".to_owned();
    let no_token = format!("consort://192.168.1.20:4700/{key}/abc");
    for (words, code, says) in [
        (&["--pitch", "0"][..],               2, &["0 Hz", "380 to 480 Hz"][..]),
        (&["--pitch", "4400"],                2, &["4400 Hz", "380 to 480 Hz"]),
        (&["--pitch", "A"],                   2, &["“A” is not a pitch", "442"]),
        (&["--pitch=-440"],                   2, &["380 to 480 Hz"]),
        (&["targets", "--pitch", "NaN"],      2, &["“NaN” is not a pitch", "442"]),
        (&["targets", "--temperament", "x"],  2, &["“x”", "vallotti", "twelve offsets"]),
        (&["targets", "--setting", "H"],      2, &["“H” is not a pedal setting"]),
        (&["targets", "--harp", "grand"],     1, &["“grand”", "pedal-47", "lever-34"]),
        (&["targets", "--harp", "no.toml"],   1, &["no.toml", "name and place"]),
        (&["harp", "grand"],                  1, &["“grand”", "pedal-47"]),
        (&["--name", " "],                    2, &["at least one letter"]),
        (&["--rate", "5"],                    2, &["5 samples per second", "8000"]),
        (&["--rate", "fast"],                 2, &["“fast”", "48000"]),
        (&["--coordinator", "hall"],          2, &["“hall”", "192.168.1.20"]),
        (&["--code", "48291373"],             2, &["one digit", "leader's screen"]),
        (&["--code", "4829137"],              2, &["8 digits"]),
        (&["--code", "hello"],                2, &["“h”", "8 digits"]),
        (&["--code", "48291372", "--no-discovery"], 1, &["--coordinator"]),
        (&["--join", "hello"],                2, &["starts with consort://"]),
        (&["--join", "consort://hall/a/b"],   2, &["address “hall”"]),
        (&["--join", &no_key],                2, &["key part"]),
        (&["--join", &no_token],              2, &["last part"]),
        (&["--advice", "xml"],                2, &["“xml”", "json"]),
        (&["--desk-port", "70000"],           2, &["70000"]),
        (&["--input", "no.wav"],              1, &["no.wav", "name and the folder"]),
        (&["--loud"],                         2, &["--loud", "--help"]),
        (&["sing"],                           2, &["sing", "--help"]),
        (&["listen"],                         2, &["FILE"]),
    ] {
        check(words, code, says);
    }
}

#[test]
fn help_and_version_are_answers_not_complaints() {
    for word in ["--help", "--version", "-h"] {
        let (code, lines, complaints) = told(&run(&[word]));
        assert_eq!((code, complaints.len()), (Some(0), 0), "{word}");
        assert!(!lines.is_empty(), "{word}");
    }
}

#[test]
fn a_harp_file_that_is_no_harp_says_what_is_wrong_with_it() {
    let folder = Folder::new("harp-files");
    let (_, lines, _) = told(&run(&["harp", "lever-22"]));
    let good = lines.join("\n");
    let run_of = |from: &str, to: &str| {
        format!("\n[[runs]]\nfrom = \"{from}\"\nto = \"{to}\"\nmaterial = \"nylon\"\nmechanism = \"lever\"\n")
    };
    let of = |runs: &str| format!("name = \"Mine\"\nkind = \"lever\"\n{runs}");
    for (name, text, says) in [
        ("doubled", format!("{good}\n{}", run_of("C3", "C3")), "twice"),
        (
            "missing",
            of(&format!("{}{}", run_of("C6", "C5"), run_of("A4", "C3"))),
            "B4",
        ),
        ("unknown", of(&run_of("H6", "C3")), "“H6”"),
        ("empty", String::new(), "cannot be read"),
        ("letter", "Dear harpist".to_owned(), "cannot be read"),
    ] {
        let path = folder.at(&format!("{name}.toml"));
        std::fs::write(&path, text).expect("write");
        let (code, lines, complaints) = told(&run(&["targets", "--harp", &path]));
        let line = complaints.join("\n");
        assert_eq!((code, lines.len()), (Some(1), 0), "{name}: {line}");
        assert!(line.contains(&path) && line.contains(says), "{name}: {line}");
    }
}

#[test]
fn a_recording_that_cannot_be_heard_is_named_and_the_others_are_heard() {
    let folder = Folder::new("recordings");
    let sound = pluck(MIDDLE_C_FLAT_HZ, 48_000);
    let good = folder.at("good.wav");
    write_wav(&good, 48_000, 16, &[&sound]);
    std::fs::write(folder.at("text.wav"), "Dear harpist, this is a letter.\n".repeat(40)).expect("write");
    std::fs::write(folder.at("empty.wav"), "").expect("write");
    std::fs::write(folder.at("head.wav"), &std::fs::read(&good).expect("read")[..30]).expect("write");
    write_wav(&folder.at("nothing.wav"), 48_000, 16, &[&[]]);
    write_wav(&folder.at("silent.wav"), 48_000, 16, &[&[0.0; 48_000]]);
    write_wav(&folder.at("slow.wav"), 4_000, 16, &[&sound]);
    for (name, says) in [
        ("text.wav", "WAV or FLAC"),
        ("head.wav", "WAV or FLAC"),
        ("empty.wav", "is empty"),
        ("nothing.wav", "is empty"),
        ("silent.wav", "only silence"),
        ("slow.wav", "4000 samples a second"),
        ("absent.wav", "name and the folder"),
    ] {
        let path = folder.at(name);
        let (code, lines, complaints) = told(&run(&["listen", "--json", &path, &good]));
        assert_eq!(
            (code, lines.len(), complaints.len()),
            (Some(1), 1, 1),
            "{name}: {complaints:?}"
        );
        assert!(lines[0].contains("good.wav"), "{name}: {lines:?}");
        assert!(
            complaints[0].contains(&path) && complaints[0].contains(says),
            "{complaints:?}"
        );
        let (data, input) = (folder.at("data"), format!("file:{path}"));
        // A station that was to hear it alone says the same and does not start.
        let words = [&["--data", &data, "--input", &input], &ALONE[..]].concat();
        let (code, _, complaints) = told(&run(&words));
        assert_eq!((code, complaints.len()), (Some(1), 1), "{name}: {complaints:?}");
        assert!(complaints[0].contains(name), "{name}: {complaints:?}");
    }
}

#[test]
fn a_recording_that_breaks_off_is_heard_as_far_as_it_goes() {
    let folder = Folder::new("cut");
    let whole = folder.at("whole.wav");
    write_wav(&whole, 48_000, 16, &[&pluck(MIDDLE_C_FLAT_HZ, 48_000)]);
    let flac = std::fs::read(recordings().join("clean-22-cb4.flac")).expect("recording");
    for (name, bytes) in [("cut.wav", std::fs::read(&whole).expect("read")), ("cut.flac", flac)] {
        let path = folder.at(name);
        std::fs::write(&path, &bytes[..bytes.len() * 2 / 3]).expect("write");
        let (code, lines, complaints) = told(&run(&["listen", "--json", &path]));
        assert_eq!(
            (code, lines.len(), complaints.len()),
            (Some(1), 1, 1),
            "{name}: {complaints:?}"
        );
        assert!(lines[0].contains("\"string\":26"), "{name}: {lines:?}");
        assert!(
            complaints[0].contains("breaks off after 1.3 s"),
            "{name}: {complaints:?}"
        );
    }
}

#[test]
fn a_data_folder_that_cannot_be_used_is_named() {
    let folder = Folder::new("data");
    let file = folder.at("letter");
    std::fs::write(&file, "a letter").expect("write");
    for (data, says) in [
        (file.as_str(), "is a file"),
        ("/proc/consort", "nothing can be written"),
        ("/dev/null/consort", "nothing can be written"),
    ] {
        let words = [&["--data", data, "--input", "stdin"], &ALONE[..]].concat();
        check(&words, 1, &[data, says, "--data"]);
    }
    assert_eq!(std::fs::read_to_string(&file).expect("read"), "a letter");
}

#[test]
fn a_home_that_cannot_be_written_is_said_with_the_way_around_it() {
    let output = program()
        .args(["--input", "stdin"])
        .args(ALONE)
        .env("HOME", "/proc/nobody")
        .env_remove("XDG_DATA_HOME")
        .output()
        .expect("run");
    let (code, _, complaints) = told(&output);
    assert_eq!((code, complaints.len()), (Some(1), 1), "{complaints:?}");
    assert!(complaints[0].contains("/proc/nobody") && complaints[0].contains("--data"));
}

#[test]
fn a_second_copy_on_one_folder_is_refused_and_the_first_goes_on() {
    let folder = Folder::new("held");
    let data = folder.at("data");
    let mut first = Running::start(&data, &[]);
    first.desk();
    let words = [&["--data", &data, "--input", "stdin"], &ALONE[..]].concat();
    check(&words, 1, &["another copy", &data]);
    first.play(&pluck(MIDDLE_C_FLAT_HZ, 48_000));
    first.next_with("verdict", "settled");
}

#[test]
fn a_desk_port_in_use_is_named_with_the_option_that_changes_it() {
    let folder = Folder::new("port");
    let taken = TcpListener::bind("127.0.0.1:0").expect("bind");
    let port = taken.local_addr().expect("address").port().to_string();
    let data = folder.at("data");
    let words = [
        "--data",
        &data,
        "--input",
        "stdin",
        "--no-discovery",
        "--no-browser",
        "--desk-port",
        &port,
    ];
    check(&words, 1, &[&port, "--desk-port", "another program"]);
}

#[test]
fn an_input_that_is_not_there_is_not_replaced_by_another() {
    let folder = Folder::new("input");
    let data = folder.at("data");
    let words = [&["--data", &data, "--input", "Pickup of Nowhere"], &ALONE[..]].concat();
    check(&words, 1, &["Pickup of Nowhere", "consort-station inputs"]);
    let kept = folder.at("kept.wav");
    let words = ["capture", &kept, "--input", "Pickup of Nowhere"];
    check(&words, 1, &["Pickup of Nowhere", "consort-station inputs"]);
    assert!(!std::path::Path::new(&kept).exists(), "nothing was begun");
}

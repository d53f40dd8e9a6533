//! Whatever cannot be meant or done is said in one line that tells what to do, and the exit code says so too.

use std::net::{TcpListener, UdpSocket};

use crate::running::{Running, fresh_folder, program, run};

/// Runs the program and checks its exit code and its one line.
#[track_caller]
fn check(words: &[&str], code: i32, says: &[&str]) {
    let output = run(words);
    let line = String::from_utf8(output.stderr).expect("text");
    assert_eq!(output.status.code(), Some(code), "{words:?}: {line}");
    assert_eq!(line.lines().count(), 1, "{words:?}: {line}");
    assert!(line.starts_with("coordinator: "), "{words:?}: {line}");
    for part in says {
        assert!(line.contains(part), "{words:?} does not say “{part}”: {line}");
    }
    assert!(output.stdout.is_empty(), "{words:?}: {:?}", output.stdout);
}

#[test]
#[rustfmt::skip]
fn what_cannot_be_meant_is_said_before_anything_is_opened() {
    for (words, says) in [
        (&["--pitch", "0"][..],                     &["0 Hz", "380 to 480 Hz"][..]),
        (&["--pitch", "4400"],                      &["4400 Hz", "380 to 480 Hz"]),
        (&["--pitch", "A"],                         &["“A” is not a pitch", "442"]),
        (&["--pitch", "NaN"],                       &["“NaN” is not a pitch", "442"]),
        (&["--pitch=-440"],                         &["380 to 480 Hz"]),
        (&["--temperament", "loud"],                &["there is no temperament called “loud”", "vallotti"]),
        (&["--temperament", "0 1 2"],               &["twelve are needed"]),
        (&["--setting", "H"],                       &["“H” is not a pedal setting"]),
        (&["--start", "soon"],                      &["“soon” is not a start", "19:30"]),
        (&["--name", " "],                          &["at least one letter"]),
        (&["--port", "70000"],                      &["70000"]),
        (&["--listen", "here"],                     &["here"]),
        (&["--loud"],                               &["--loud"]),
        (&["pitch"],                                &["<HZ>"]),
        (&["pitch", "4400"],                        &["380 to 480 Hz"]),
        (&["sing"],                                 &["sing"]),
    ] {
        check(words, 2, says);
    }
}

#[test]
fn an_order_without_a_coordinator_says_so() {
    let folder = fresh_folder("nobody");
    let data = folder.to_str().expect("path");
    for order in [
        &["pitch", "442"][..],
        &["status"],
        &["link"],
        &["round"],
        &["undo"],
        &["stop"],
        &["setting", "Eb"],
    ] {
        check(
            &[order, &["--data", data]].concat(),
            1,
            &["no session is open", data, "consort-coordinator"],
        );
    }
    assert!(!folder.exists(), "an order makes no folder");
}

#[test]
fn an_order_that_cannot_be_meant_is_not_sent() {
    let folder = fresh_folder("meant");
    let data = folder.to_str().expect("path");
    check(
        &["temperament", "loud", "--data", data],
        1,
        &["there is no temperament called “loud”"],
    );
    check(
        &["setting", "H", "dur", "--data", data],
        1,
        &["“H dur” is not a pedal setting"],
    );
    check(
        &["temperament", "vallotti", "--home", "H", "--data", data],
        2,
        &["“H” is not a note to be at home on", "as in D or Eb"],
    );
    check(&["start", "soon", "--data", data], 1, &["“soon” is not a start"]);
    // Twelve pure fifths, 701.955 cents each, lie a Pythagorean comma above seven octaves: 23.46 cents.
    check(
        &[&["temperament"][..], &["701.955"; 12], &["--data", data]].concat(),
        1,
        &["these fifths do not close", "23.46 cents more than seven octaves"],
    );
}

#[test]
fn a_port_in_use_is_named_with_the_option_that_changes_it() {
    let udp = UdpSocket::bind("127.0.0.1:0").expect("udp");
    let tcp = TcpListener::bind("127.0.0.1:0").expect("tcp");
    let udp_port = udp.local_addr().expect("address").port().to_string();
    let tcp_port = tcp.local_addr().expect("address").port().to_string();
    let folder = fresh_folder("ports");
    let data = folder.to_str().expect("path");
    for (ports, option) in [
        ([udp_port.as_str(), "0", "0"], "--port"),
        (["0", tcp_port.as_str(), "0"], "--board-port"),
        (["0", "0", tcp_port.as_str()], "--control-port"),
    ] {
        let port = ports.iter().find(|port| **port != "0").expect("one port");
        let words = [
            "--no-discovery",
            "--no-browser",
            "--listen",
            "127.0.0.1",
            "--data",
            data,
            "--port",
            ports[0],
            "--board-port",
            ports[1],
            "--control-port",
            ports[2],
        ];
        check(&words, 1, &[port, option, "another program"]);
    }
}

#[test]
fn a_data_folder_that_cannot_be_used_is_named() {
    let file = fresh_folder("file");
    std::fs::write(&*file, "a letter").expect("write");
    let file = file.to_str().expect("path");
    for (data, says) in [
        (file, "is a file"),
        ("/proc/consort", "nothing can be written"),
        ("/dev/null/consort", "nothing can be written"),
    ] {
        check(
            &["--no-discovery", "--no-browser", "--data", data],
            1,
            &[data, says, "--data"],
        );
    }
    assert_eq!(std::fs::read_to_string(file).expect("read"), "a letter");
}

#[test]
fn a_home_that_cannot_be_written_is_said_with_the_way_around_it() {
    let output = program()
        .args(["--no-discovery", "--no-browser"])
        .env("HOME", "/proc/nobody")
        .env_remove("XDG_DATA_HOME")
        .output()
        .expect("run");
    let line = String::from_utf8(output.stderr).expect("text");
    assert_eq!((output.status.code(), line.lines().count()), (Some(1), 1), "{line}");
    assert!(line.contains("/proc/nobody") && line.contains("--data"), "{line}");
}

#[test]
fn a_second_copy_on_one_folder_is_refused_and_the_first_goes_on() {
    let first = Running::start(&fresh_folder("held"));
    let data = first.folder.to_str().expect("path");
    check(
        &["--no-discovery", "--no-browser", "--data", data],
        1,
        &["another copy", data, "--data"],
    );
    assert_eq!(first.status()["epoch"], 1);
}

#[test]
fn help_and_version_are_answers_not_complaints() {
    for word in ["--help", "--version", "-h"] {
        let output = run(&[word]);
        assert_eq!(output.status.code(), Some(0), "{word}");
        assert!(!output.stdout.is_empty() && output.stderr.is_empty(), "{word}");
    }
}

//! An input that goes is told, waited for, told again when it is back, and never replaced by another one.

use crate::server::SoundServer;
use crate::station::{Pluck, assert_hears, expect_input, from_file, hearing, write_sound};

/// The harp's own string, and the string that a neighbour plucks.
const OWN: &str = "clean-22-cb4.flac";
const NEIGHBOUR: &str = "clean-40-gb6.flac";
/// Gb6 is the eighth string from the top.
const NEIGHBOURS_STRING: &str = "\"string\":8,";

/// Both strings as files of `server`, and what is heard in the harp's own.
fn sounds(server: &SoundServer) -> (String, String, Vec<Pluck>) {
    let own = server.folder.inside("own.wav");
    let neighbour = server.folder.inside("neighbour.wav");
    write_sound(&own, &[OWN]);
    write_sound(&neighbour, &[NEIGHBOUR]);
    let wanted = from_file(&own);
    assert_eq!(wanted.len(), 1);
    (own, neighbour, wanted)
}

#[test]
fn an_unplugged_input_is_waited_for_and_no_other_is_heard_in_its_place() {
    let Some(server) = SoundServer::start("live-unplugged") else {
        return;
    };
    let (own, neighbour, wanted) = sounds(&server);
    server.plug("neighbour", 48_000);
    let harp = server.plug("harp", 48_000);
    let mut station = hearing(&server, "harp.monitor");
    expect_input(&mut station, "hears");
    assert_hears(&mut station, &server, (&own, "harp"), &wanted, 0.3);

    server.unplug(&harp);
    expect_input(&mut station, "lost");
    // Left to itself, the server would give the station the neighbour's sound now.
    server.play(&neighbour, "neighbour");
    assert_eq!(server.pactl(&["list", "short", "source-outputs"]), "");

    server.plug("harp", 48_000);
    expect_input(&mut station, "hears");
    assert_hears(&mut station, &server, (&own, "harp"), &wanted, 0.3);
    assert!(
        !station.has_printed(NEIGHBOURS_STRING),
        "the neighbour was heard\n{}",
        station.transcript()
    );
}

#[test]
fn a_sound_server_that_dies_and_comes_back_costs_the_time_in_between() {
    let Some(mut server) = SoundServer::start("live-crash") else {
        return;
    };
    let (own, _, wanted) = sounds(&server);
    server.plug("harp", 48_000);
    let mut station = hearing(&server, "harp.monitor");
    expect_input(&mut station, "hears");
    for _ in 0..2 {
        server.kill();
        expect_input(&mut station, "lost");
        server.start_daemons();
        server.plug("harp", 48_000);
        expect_input(&mut station, "hears");
        assert_hears(&mut station, &server, (&own, "harp"), &wanted, 0.3);
    }
}

#[test]
fn an_input_that_was_never_there_ends_the_station_with_one_sentence() {
    let Some(server) = SoundServer::start("live-unknown") else {
        return;
    };
    let mut station = hearing(&server, "nowhere.monitor");
    let ended = station.wait(crate::server::PATIENCE);
    assert_eq!(ended.and_then(|status| status.code()), Some(1));
    let said = station.transcript();
    assert!(said.contains("there is no input called “nowhere.monitor”"), "{said}");
}

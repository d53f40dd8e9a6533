//! What is said while a code is proven.

use std::time::Duration;

use consort_proto::message::Refusal;
use consort_proto::{Proof, Share, ToCoordinator, ToStation};

use crate::{SESSION, check_to_coordinator, check_to_station};

#[test]
#[rustfmt::skip]
fn proving_a_code() {
    let share = |side: u8| {
        let mut share = [0x33; 33];
        share[0] = side;
        Share(share)
    };
    check_to_coordinator(
        ToCoordinator::PairStart(share(0x41)),
        &[
            ("kind",               &[5, 0]),
            ("must understand",    &[1]),
            ("length",             &[34, 0, 0, 0]),
            ("exchange 1",         &[1]),
            ("side A",             &[0x41]),
            ("point",              &[0x33; 32]),
        ],
    );
    check_to_station(
        ToStation::PairReply { session: SESSION, share: share(0x42) },
        &[
            ("kind",               &[106, 0]),
            ("must understand",    &[1]),
            ("length",             &[49, 0, 0, 0]),
            ("session",            &SESSION.0),
            ("side B",             &[0x42]),
            ("point",              &[0x33; 32]),
        ],
    );
    check_to_coordinator(
        ToCoordinator::PairConfirm { name: "Zoë".parse().expect("a name"), proof: Proof([0x44; 32]) },
        &[
            ("kind",               &[6, 0]),
            ("must understand",    &[1]),
            ("length",             &[37, 0, 0, 0]),
            ("name of the harpist", &[4, b'Z', b'o', 0xc3, 0xab]),
            ("proof",              &[0x44; 32]),
        ],
    );
    check_to_station(
        ToStation::PairAccept { ensemble: "Duo".parse().expect("a name"), proof: Proof([0x55; 32]) },
        &[
            ("kind",               &[107, 0]),
            ("must understand",    &[1]),
            ("length",             &[36, 0, 0, 0]),
            ("ensemble",           &[3, b'D', b'u', b'o']),
            ("proof",              &[0x55; 32]),
        ],
    );
    check_to_station(
        ToStation::Refused(Refusal::Resting { left: Duration::from_millis(30_000) }),
        &[
            ("kind",               &[108, 0]),
            ("must understand",    &[1]),
            ("length",             &[3, 0, 0, 0]),
            ("30000 ms",           &[251, 0x30, 0x75]),
        ],
    );
}

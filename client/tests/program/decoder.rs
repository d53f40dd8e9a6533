//! Bytes of any kind are decoded or refused, and never more.

use std::sync::OnceLock;

use consort_station::sound::decode::Decoder;
use proptest::prelude::*;

use crate::running::{Folder, recordings};
use crate::sound::{MIDDLE_C_FLAT_HZ, pluck, write_wav};

/// Decodes all that can be decoded; says how many samples that were, if it was sound at all.
fn decode(bytes: &[u8]) -> Option<usize> {
    let mut decoder = Decoder::open(bytes).ok()?;
    let mut block = Vec::new();
    let mut samples = 0;
    while let Ok(true) = decoder.next_block(&mut block) {
        assert_eq!(block.len() % decoder.channels, 0, "whole frames only");
        samples += block.len();
    }
    Some(samples)
}

/// A sound file of each kind.
fn originals() -> &'static [Vec<u8>; 2] {
    static MADE: OnceLock<[Vec<u8>; 2]> = OnceLock::new();
    MADE.get_or_init(|| {
        let folder = Folder::new("originals");
        let path = folder.at("pluck.wav");
        let sound = pluck(MIDDLE_C_FLAT_HZ, 8_000);
        write_wav(&path, 8_000, 16, &[&sound[..4_000]]);
        let flac = std::fs::read(recordings().join("clean-22-cb4.flac")).expect("recording");
        [std::fs::read(path).expect("read"), flac]
    })
}

#[test]
fn whole_files_are_decoded_whole_and_cut_ones_as_far_as_they_go() {
    for (original, samples) in originals().iter().zip([4_000, 96_000]) {
        assert_eq!(decode(original), Some(samples));
        let cut = decode(&original[..original.len() / 2]).expect("the first half is sound");
        assert!(cut > samples / 4 && cut < samples * 3 / 4, "{cut} of {samples}");
    }
}

proptest! {
    // A failure is shown with its bytes' recipe; a file of old failures would only say the same again.
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn arbitrary_bytes_never_panic(start in 0..3_usize, rest in prop::collection::vec(any::<u8>(), 0..2_000)) {
        let bytes = [[&b""[..], b"RIFF", b"fLaC"][start], &rest].concat();
        decode(&bytes);
    }

    #[test]
    fn damaged_files_never_panic(
        which in 0..2_usize,
        damage in prop::collection::vec((0.0..1.0_f64, any::<u8>()), 1..12),
        in_head in any::<bool>(),
        cut in 0.0..1.0_f64,
    ) {
        let mut bytes = originals()[which].clone();
        let reach = if in_head { 64.0 } else { bytes.len() as f64 };
        for (place, value) in damage {
            bytes[(place * reach) as usize] = value;
        }
        bytes.truncate((cut * 1.2 * bytes.len() as f64) as usize);
        decode(&bytes);
    }
}

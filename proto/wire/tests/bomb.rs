//! A frame that announces far more than it carries makes nobody reserve it.

use consort_wire::{
    HEADER_LEN, PAYLOAD_MAX, decode_from_deputy, decode_to_coordinator, decode_to_deputy, decode_to_station,
};

#[global_allocator]
static ALLOCATOR: dhat::Alloc = dhat::Alloc;

/// The most that decoding one frame may ever hold.
const PEAK_MAX: usize = 2 * 1024 * 1024;

/// What may stay behind once a frame is dropped: far less than any list of it.
const LEFT_MAX: usize = 4 * 1024;

/// A payload in which every list and text announces `count` items, up to `length` bytes.
fn payload(count: &[u8], length: usize) -> Vec<u8> {
    count.iter().copied().cycle().take(length).collect()
}

#[test]
fn a_bombed_length_reserves_at_most_two_mebibytes() {
    let _profiler = dhat::Profiler::builder().testing().build();
    let bombs: [&[u8]; 4] = [
        // Two, four and eight bytes of length, and a length that just fits the decoder's own limit.
        &[251, 0xff, 0xff],
        &[252, 0xff, 0xff, 0xff, 0x3f],
        &[253, 0, 0, 0, 0x40, 0, 0, 0, 0],
        &[252, 0x00, 0x10, 0x00, 0x00],
    ];
    let kinds = [1..=11_u16, 101..=111, 201..=203, 301..=305];
    for kind in kinds.into_iter().flatten() {
        for bomb in bombs {
            for length in [bomb.len(), 64, 4096, PAYLOAD_MAX as usize] {
                let payload = payload(bomb, length);
                let mut frame = Vec::with_capacity(HEADER_LEN + length);
                frame.extend(kind.to_le_bytes());
                frame.push(1);
                frame.extend((length as u32).to_le_bytes());
                frame.extend(&payload);
                let before = dhat::HeapStats::get();
                let (to_coordinator, to_station) = (decode_to_coordinator(&frame), decode_to_station(&frame));
                let (from_deputy, to_deputy) = (decode_from_deputy(&frame), decode_to_deputy(&frame));
                // Kinds of fixed size may take a bomb for a number; those with lists and texts may not.
                let meant = [
                    matches!(to_coordinator, Ok(Some(_))),
                    matches!(to_station, Ok(Some(_))),
                    matches!(from_deputy, Ok(Some(_))),
                    matches!(to_deputy, Ok(Some(_))),
                ];
                assert!(![1, 2, 6, 7, 102, 107, 109, 110, 301, 302, 305].contains(&kind) || !meant.contains(&true));
                drop((to_coordinator, to_station, from_deputy, to_deputy));
                let after = dhat::HeapStats::get();
                let reserved = after.total_bytes - before.total_bytes;
                assert!(
                    reserved as usize <= PEAK_MAX,
                    "kind {kind}, {bomb:?}, {length} bytes: {reserved}"
                );
                // The test's own thread and its reporter share the allocator, so that a little may have moved.
                assert!(after.curr_bytes < before.curr_bytes + LEFT_MAX);
            }
        }
    }
    assert!(dhat::HeapStats::get().max_bytes <= PEAK_MAX);
}

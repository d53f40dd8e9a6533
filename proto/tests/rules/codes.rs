//! The joining code: what is typed, what is told at once, and what is never drawn.

use std::collections::BTreeSet;

use consort_proto::JoinCode;
use consort_proto::code::NotAJoinCode;

fn code(text: &str) -> Result<JoinCode, NotAJoinCode> {
    text.parse()
}

#[test]
#[rustfmt::skip]
fn a_code_may_be_typed_with_spaces_and_hyphens() {
    let meant = code("48291372").expect("a code");
    assert_eq!(meant.to_string(), "4829 1372");
    assert_eq!(&meant.ascii(), b"48291372");
    for text in ["4829 1372", "4829-1372", " 48 29 13 72 ", "4829\u{a0}1372", "4829–1372\n", "4-8-2-9-1-3-7-2"] {
        assert_eq!(code(text), Ok(meant), "{text}");
    }
}

#[test]
#[rustfmt::skip]
fn what_is_not_a_code_says_which_part_is_wrong() {
    for (text, why) in [
        ("",              NotAJoinCode::Digits(0)),
        ("4829 137",      NotAJoinCode::Digits(7)),
        ("4829 13720",    NotAJoinCode::Digits(9)),
        ("4829 137O",     NotAJoinCode::Character('O')),
        ("4829+1372",     NotAJoinCode::Character('+')),
        ("٤٨٢٩١٣٧٢",      NotAJoinCode::Character('٤')),
        ("4829 1373",     NotAJoinCode::Check),
    ] {
        assert_eq!(code(text), Err(why), "{text}");
    }
    // As long as a book: counted, and not kept.
    assert_eq!(code(&"1".repeat(100_000)), Err(NotAJoinCode::Digits(100_000)));
}

/// The published example: 572 has the check digit 4.
#[test]
fn the_check_digit_is_damms() {
    assert!(code("0000 5724").is_ok());
}

#[test]
fn every_single_slip_and_every_swap_of_neighbours_is_told() {
    // Every value of every digit in many surroundings: multiples of a prime go through the codes evenly.
    for number in (0..10_000_000_u64).step_by(7_919) {
        let right = JoinCode::drawn(number).ascii();
        let told = |typed: [u8; 8]| {
            let text = std::str::from_utf8(&typed).expect("digits");
            assert_eq!(code(text), Err(NotAJoinCode::Check), "{text} for {right:?}");
        };
        for place in 0..8 {
            for digit in (b'0'..=b'9').filter(|&digit| digit != right[place]) {
                let mut typed = right;
                typed[place] = digit;
                told(typed);
            }
        }
        for place in (0..7).filter(|&place| right[place] != right[place + 1]) {
            let mut typed = right;
            typed.swap(place, place + 1);
            told(typed);
        }
    }
}

#[test]
fn each_of_ten_million_codes_can_be_drawn_and_read_back() {
    let drawn: BTreeSet<[u8; 8]> = (0..10_000_000_u64)
        .step_by(997)
        .map(|number| {
            let drawn = JoinCode::drawn(number);
            assert_eq!(code(&drawn.to_string()), Ok(drawn));
            assert_eq!(JoinCode::drawn(number + 10_000_000), drawn);
            drawn.ascii()
        })
        .collect();
    assert_eq!(drawn.len(), 10_000_000_usize.div_ceil(997));
    assert_eq!(JoinCode::drawn(1_234_567).to_string(), "1234 5671");
}

#[test]
fn a_code_does_not_reach_a_log() {
    assert_eq!(format!("{:?}", JoinCode::drawn(4_829_137)), "JoinCode(…)");
}

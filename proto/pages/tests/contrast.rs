//! Contrast, computed from the colours of the pages themselves, in both themes.
//!
//! Relative luminance and contrast ratio as WCAG 2.2 defines them: 4.5 for text, 3 for graphics that carry meaning.

use std::collections::BTreeMap;

const PAGE: &str = include_str!("../page/page.css");
const DESK: &str = include_str!("../page/desk.css");

/// The colours that stand in the block that begins with `selector`, by name.
fn colours(selector: &str) -> BTreeMap<&'static str, u32> {
    let from = PAGE.find(selector).unwrap_or_else(|| panic!("{selector}"));
    let block = PAGE[from..].split('}').next().expect("a block");
    let named = block.split("--").skip(1).filter_map(|rest| {
        let (name, value) = rest.split_once(':')?;
        let hex = value.trim().strip_prefix('#')?;
        Some((name, u32::from_str_radix(hex.get(..6)?, 16).ok()?))
    });
    named.collect()
}

fn luminance(colour: u32) -> f64 {
    let part = |shift: u32| {
        let share = f64::from(colour >> shift & 0xff) / 255.0;
        if share <= 0.040_45 {
            share / 12.92
        } else {
            ((share + 0.055) / 1.055).powf(2.4)
        }
    };
    0.2126 * part(16) + 0.7152 * part(8) + 0.0722 * part(0)
}

fn contrast(one: u32, other: u32) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

/// Black on white is 21 : 1, and #777777 on white 4.48 : 1 (WCAG 2.2, and its widely given example).
#[test]
fn the_ratio_is_that_of_the_standard() {
    assert!((contrast(0, 0xff_ffff) - 21.0).abs() < 0.01);
    assert!((contrast(0x77_7777, 0xff_ffff) - 4.48).abs() < 0.01);
}

#[test]
fn text_and_marks_stand_out_in_both_themes() {
    #[rustfmt::skip]
    let pairs = [
        // what           on           at least
        ("ink",           "bg",        4.5),
        ("ink2",          "bg",        4.5),
        ("ink",           "panel",     4.5),
        ("ink2",          "panel",     4.5),
        ("c",             "bg",        4.5),
        ("f",             "bg",        4.5),
        ("gild-ink",      "bg",        4.5),
        ("gild-ink",      "panel",     4.5),
        ("on-gild",       "gild-fill", 4.5),
        ("gut",           "bg",        3.0),
        ("gild",          "bg",        3.0),
        ("edge",          "bg",        3.0),
        ("faint",         "bg",        3.0),
    ];
    for theme in [
        ":root {",
        ":root[data-theme=\"stage\"] {",
        ":root:not([data-theme=\"day\"]) {",
    ] {
        let colours = colours(theme);
        for (what, on, least) in pairs {
            let ratio = contrast(colours[what], colours[on]);
            assert!(ratio >= least, "{theme} {what} on {on}: {ratio:.2}, at least {least}");
        }
    }
}

/// From the start on the desk is dim, and can still be read.
#[test]
fn the_dim_clock_can_be_read() {
    let dark = DESK
        .split(".dark {")
        .nth(1)
        .and_then(|rest| rest.split('}').next())
        .expect("the dark desk");
    let clock = DESK
        .split(".dark .figure {")
        .nth(1)
        .and_then(|rest| rest.split('}').next())
        .expect("its clock");
    let hex = |text: &str, before: &str| {
        let from = text.find(before).expect(before) + before.len();
        u32::from_str_radix(&text[from..from + 6], 16).expect("a colour")
    };
    let ground = hex(dark, "background: #");
    assert!(contrast(hex(dark, " color: #"), ground) >= 4.5);
    assert!(contrast(hex(clock, " color: #"), ground) >= 3.0, "it is large");
    assert!(luminance(hex(clock, " color: #")) < 0.2, "no light on a dark stage");
}

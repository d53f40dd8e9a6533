//! Names of people and ensembles: what cannot be read, hides, or turns the text around is refused; markup is only text.

use consort_proto::Name;

/// What some page, terminal or database would take for more than a name.
const MARKUP: [&str; 25] = [
    "<b>Runa</b>",
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "\"><svg onload=alert(1)>",
    "'><iframe src=//x>",
    "&lt;b&gt;",
    "&#x202e;Runa",
    "javascript:alert(1)",
    "${alert(1)}",
    "{{constructor}}",
    "{ $name }",
    "]]><!--",
    "--><style>*{display:none}",
    "</title><h1>",
    "Runa'; DROP TABLE station",
    "Runa\" OR \"1\"=\"1",
    "%s%n%x",
    "../../session.sqlite",
    "C:\\autorun",
    "$(reboot)",
    "`id`",
    "=HYPERLINK(\"x\")",
    "@SUM(A1)",
    "null",
    "undefined",
];

/// Characters that nobody sees, or that move the others about; none of them belongs into a name.
const HIDDEN: [char; 25] = [
    '\u{0}', '\u{7}', '\u{8}', '\t', '\n', '\r', '\u{1b}', '\u{7f}', '\u{85}', '\u{9b}', '\u{200b}', '\u{200c}',
    '\u{200e}', '\u{200f}', '\u{202a}', '\u{202b}', '\u{202d}', '\u{202e}', '\u{2060}', '\u{2066}', '\u{2067}',
    '\u{2068}', '\u{2069}', '\u{feff}', '\u{2028}',
];

#[test]
fn two_hundred_hostile_names_are_refused_or_only_text() {
    let mut tried = 0;
    for markup in MARKUP {
        // As they stand, padded, in the other case, and doubled.
        for text in [
            markup.to_owned(),
            format!("  {markup} "),
            markup.to_uppercase(),
            format!("{markup}{markup}"),
        ] {
            tried += 1;
            if let Ok(name) = text.parse::<Name>() {
                assert!(
                    name.as_str().chars().count() <= 40 && name.as_str().len() <= 160,
                    "{text}"
                );
                assert_eq!(
                    name.as_str(),
                    text.trim(),
                    "a name is text, and stays as it was written"
                );
            }
        }
    }
    for hidden in HIDDEN {
        for text in [
            format!("Ru{hidden}na"),
            format!("{hidden}{hidden}Runa{hidden}x"),
            format!("x{hidden}"),
            hidden.to_string(),
        ] {
            tried += 1;
            let named = text.parse::<Name>();
            // At the ends, what is no more than white space is cut off as everywhere.
            let seen = named.as_ref().map(|name| name.as_str().contains(hidden));
            assert!(named.is_err() || seen == Ok(false), "{text:?}: {named:?}");
        }
    }
    assert!(tried >= 200, "{tried}");
}

#[test]
fn a_name_of_ten_thousand_characters_is_none() {
    for text in ["a".repeat(10_000), "🎵".repeat(10_000), "a\u{301}".repeat(5_000)] {
        assert!(text.parse::<Name>().is_err());
    }
}

//! What holds for every note, setting, name and link, and that no text whatever makes a parser panic.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};

use consort_proto::harp_file;
use consort_proto::name::NotAName;
use consort_proto::target::{ReferencePitch, Tuning};
use consort_proto::{
    Accidental, Fingerprint, Hz, JoinLink, JoinToken, Letter, Name, Note, Scheme, Setting, Temperament,
};
use proptest::prelude::*;

fn accidental() -> impl Strategy<Value = Accidental> {
    (-1..=1).prop_map(|semitones| Accidental::from_semitones(semitones).expect("an accidental"))
}

fn letter() -> impl Strategy<Value = Letter> {
    (0_usize..7).prop_map(|place| Letter::ALL[place])
}

fn note() -> impl Strategy<Value = Note> {
    (letter(), accidental(), -1_i8..=9).prop_map(|(letter, accidental, octave)| Note::new(letter, accidental, octave))
}

fn setting() -> impl Strategy<Value = Setting> {
    proptest::array::uniform7(accidental()).prop_map(Setting::from_accidentals)
}

fn address() -> impl Strategy<Value = SocketAddr> {
    let v4 = any::<[u8; 4]>().prop_map(|octets| IpAddr::V4(Ipv4Addr::from(octets)));
    let v6 = any::<[u8; 16]>().prop_map(|octets| IpAddr::V6(Ipv6Addr::from(octets)));
    (prop_oneof![v4, v6], any::<u16>()).prop_map(|(ip, port)| SocketAddr::new(ip, port))
}

fn join_link() -> impl Strategy<Value = JoinLink> {
    (
        proptest::collection::vec(address(), 0..=8),
        any::<[u8; 32]>(),
        any::<[u8; 16]>(),
    )
        .prop_map(|(addresses, key, token)| JoinLink {
            addresses,
            coordinator: Fingerprint(key),
            token: JoinToken(token),
        })
}

/// Text that comes close to what the parsers take, and text that does not.
fn text() -> impl Strategy<Value = String> {
    prop_oneof![
        any::<String>(),
        "[ A-Ha-h♭♯♮b#|,.:/0-9\\[\\]=\"+-]{0,60}",
        "consort://[0-9a-z.:,/\\[\\]%]{0,120}",
        "(name|kind|open|runs|strings|note|from|to|regulation|\\[\\[|\\]\\]|\\{|\\}|=|\"|C4|G7|lever|nan|-?[0-9]{1,30}|\n| ){0,40}",
    ]
}

/// A harp file that is one, unless an argument is drawn that makes it none.
fn harp_text() -> impl Strategy<Value = String> {
    let place = || prop_oneof![8 => "[A-G][3-6]", 1 => "[A-H][b#]?-?[0-9]{1,3}"];
    let material = prop_oneof![8 => "gut|wire|nylon", 1 => "silk|"];
    let error = prop_oneof![8 => -50.0..=50.0, 1 => any::<f64>(), 1 => Just(f64::NAN), 1 => Just(f64::INFINITY)];
    let errors = proptest::collection::vec(error, 0..4);
    (place(), place(), place(), material, errors).prop_map(|(from, to, note, material, errors)| {
        let errors: Vec<String> = errors.iter().map(|error| format!("{error:?}").to_lowercase()).collect();
        format!(
            "name = \"Mine\"\nkind = \"other\"\n[[runs]]\nfrom = \"{from}\"\nto = \"{to}\"\nmaterial = \"gut\"\n\
             mechanism = \"lever\"\n[[strings]]\nnote = \"{note}\"\nmaterial = \"{material}\"\nregulation = [{}]\n",
            errors.join(", ")
        )
    })
}

/// Characters that show nothing, or turn what follows.
const INVISIBLE: [char; 16] = [
    '\u{0}',
    '\u{1b}',
    '\u{7f}',
    '\u{9d}',
    '\u{ad}',
    '\u{61c}',
    '\u{200b}',
    '\u{200d}',
    '\u{200e}',
    '\u{202e}',
    '\u{2066}',
    '\u{2069}',
    '\u{feff}',
    '\u{e000}',
    '\u{e0041}',
    '\u{10fffd}',
];

proptest! {
    #[test]
    fn a_note_reads_as_it_prints(note in note()) {
        prop_assert_eq!(note.to_string().parse::<Note>(), Ok(note));
        prop_assert_eq!(note.to_string().to_lowercase().parse::<Note>(), Ok(note));
    }

    /// Harp names have one digit and no accidental: octaves 0 to 9 from the top.
    #[test]
    fn a_harp_name_leads_back_to_its_string(letter in letter(), octave in -1_i8..=7) {
        let string = Note::new(letter, Accidental::Natural, octave);
        prop_assume!((0..=9).contains(&string.harp_octave()));
        prop_assert_eq!(Note::from_harp_name(&string.harp_name()), Ok(string));
        prop_assert_eq!(Note::from_harp_name(&string.harp_name().to_lowercase()), Ok(string));
    }

    #[test]
    fn a_packet_number_leads_back_to_its_string(number in prop_oneof!["0{1,3}", "[1-5]?[1-9]", "[1-6]0"]) {
        let string = Note::from_packet_number(&number).expect("a string");
        prop_assert_eq!(string.packet_number(), number);
    }

    #[test]
    fn a_setting_reads_as_it_prints(setting in setting()) {
        prop_assert_eq!(setting.to_string().parse::<Setting>(), Ok(setting));
    }

    #[test]
    fn a_join_link_reads_as_it_prints(link in join_link()) {
        let text = link.to_string();
        prop_assert_eq!(text.parse::<JoinLink>(), Ok(link.clone()));
        prop_assert_eq!(format!(" {text}\n").parse::<JoinLink>(), Ok(link));
    }

    /// A link that was cut while copying never passes for a whole one.
    #[test]
    fn a_cut_join_link_is_refused(link in join_link(), cut in 1_usize..200) {
        let text = link.to_string();
        let kept = text.len().saturating_sub(cut);
        prop_assert!(text[..kept].parse::<JoinLink>().is_err());
    }

    #[test]
    fn a_fingerprint_reads_as_it_prints_and_starts_with_its_tag(key in any::<[u8; 32]>()) {
        let text = Fingerprint(key).to_string();
        prop_assert_eq!(text.len(), 52);
        prop_assert!(text.starts_with(&Fingerprint(key).tag()));
        prop_assert_eq!(text.parse::<Fingerprint>(), Ok(Fingerprint(key)));
        prop_assert!(text[..51].parse::<Fingerprint>().is_err());
    }

    #[test]
    fn a_name_reads_as_it_prints(text in "\\PC{0,50}") {
        if let Ok(name) = text.parse::<Name>() {
            prop_assert_eq!(name.as_str().parse::<Name>(), Ok(name.clone()));
            prop_assert!((1..=Name::CHARS_MAX).contains(&name.as_str().chars().count()));
            prop_assert!(name.as_str().len() <= Name::BYTES_MAX);
        }
    }

    #[test]
    fn invisible_characters_in_names_are_refused(
        before in "[A-Za-zäöé]{1,10}", place in 0_usize..16, after in "[A-Za-z]{1,10}",
    ) {
        let hidden = format!("{before}{}{after}", INVISIBLE[place]);
        prop_assert_eq!(hidden.parse::<Name>(), Err(NotAName::Invisible));
        let harp = format!(
            "name = \"{before}\\U{:08X}{after}\"\nkind = \"other\"\n[[runs]]\nfrom = \"C4\"\nto = \"C4\"\n\
             material = \"gut\"\nmechanism = \"fixed\"\n",
            u32::from(INVISIBLE[place]),
        );
        prop_assert!(matches!(harp_file::parse(&harp), Err(harp_file::HarpFileError::Harp(_))));
    }

    #[test]
    fn no_text_makes_a_parser_panic_and_every_refusal_is_short(text in text()) {
        let refusals = [
            text.parse::<Note>().err().map(|refusal| refusal.to_string()),
            Note::from_harp_name(&text).err().map(|refusal| refusal.to_string()),
            Note::from_packet_number(&text).err().map(|refusal| refusal.to_string()),
            text.parse::<Setting>().err().map(|refusal| refusal.to_string()),
            text.parse::<Name>().err().map(|refusal| refusal.to_string()),
            text.parse::<JoinLink>().err().map(|refusal| refusal.to_string()),
            text.parse::<Fingerprint>().err().map(|refusal| refusal.to_string()),
            text.parse::<ReferencePitch>().err().map(|refusal| refusal.to_string()),
        ];
        for refusal in refusals.into_iter().flatten() {
            prop_assert!(refusal.chars().count() <= 240, "{}", refusal);
        }
        prop_assert!(Scheme::from_word(&text).is_none_or(|scheme| scheme.word() == text));
        let refusal = harp_file::parse(&text).expect_err("no harp has so few words").to_string();
        prop_assert!(refusal.chars().count() <= 240 && !refusal.contains('\n'), "{}", refusal);
    }

    #[test]
    fn a_harp_file_is_a_playable_harp_or_refused(text in harp_text()) {
        match harp_file::parse(&text) {
            Ok(harp) => {
                for string in harp.strings() {
                    prop_assert!(string.regulation.iter().all(|error| error.abs().0 <= 50.0), "{:?}", string);
                    let target = Tuning::default().open_target(string);
                    prop_assert!(Hz::new(target.get()).is_ok(), "{:?}", string);
                }
            }
            Err(refusal) => {
                let refusal = refusal.to_string();
                prop_assert!(refusal.chars().count() <= 240 && !refusal.contains('\n'), "{}", refusal);
            }
        }
    }

    /// Whatever twelve numbers are given, each target lies within 60 cents of equal temperament, or they are refused.
    #[test]
    fn own_offsets_stay_near_equal_temperament_or_are_refused(
        offsets in proptest::collection::vec(prop_oneof![-80.0..80.0, any::<f64>()], 0..14), note in note(),
    ) {
        if let Ok(temperament) = Temperament::own(&offsets) {
            let tuning = Tuning { temperament, ..Tuning::default() };
            let from_equal = tuning.frequency(note).cents_above(Tuning::default().frequency(note));
            prop_assert!(from_equal.abs().0 <= 60.0 + 1e-9, "{:?}", from_equal);
        }
    }
}

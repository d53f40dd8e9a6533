//! A harp as the desk's set-up shows it and sends it back.

use consort_proto::harp_file::{self, HarpFileError};
use consort_proto::{Accidental, Harp, HarpString, Kind, Material, Mechanism, Note};
use serde::{Deserialize, Serialize};

/// A harp, string by string.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct HarpShape {
    /// What people call it.
    pub name: String,
    /// How it changes its accidentals.
    pub kind: Kind,
    /// Its strings from the top.
    pub strings: Vec<StringShape>,
}

/// One string of a harp.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct StringShape {
    /// Its letter and scientific octave, as in `C4`.
    pub note: String,
    /// How it is tuned open.
    pub open: Accidental,
    /// What it is made of.
    pub material: Material,
    /// What can shorten it.
    pub mechanism: Mechanism,
}

impl HarpShape {
    /// The shape of `harp`; regulation errors are not shown.
    pub fn of(harp: &Harp) -> Self {
        let shape = |string: &HarpString| StringShape {
            note: string.open.scientific_name(),
            open: string.open.accidental,
            material: string.material,
            mechanism: string.mechanism,
        };
        Self {
            name: harp.name().to_owned(),
            kind: harp.kind(),
            strings: harp.strings().iter().map(shape).collect(),
        }
    }

    /// The harp file that it stands for; strings that `before` has as well keep their regulation errors.
    pub fn file(&self, before: &Harp) -> Result<String, HarpFileError> {
        let mut strings = Vec::new();
        for shape in &self.strings {
            let note: Note = shape.note.parse()?;
            let same = before
                .strings()
                .iter()
                .find(|string| string.open.steps() == note.steps());
            strings.push(HarpString {
                open: Note::new(note.letter, shape.open, note.octave),
                material: shape.material,
                mechanism: shape.mechanism,
                regulation: same.map(|string| string.regulation).unwrap_or_default(),
            });
        }
        let harp = Harp::new(self.name.trim().to_owned(), self.kind, strings)?;
        harp_file::write(&harp)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shape_goes_to_the_page_and_comes_back_as_the_same_harp() {
        for name in harp_file::preset_names() {
            let harp = harp_file::preset(name).expect("a preset");
            let sent = serde_json::to_string(&HarpShape::of(&harp)).expect("JSON");
            let back: HarpShape = serde_json::from_str(&sent).expect("a shape");
            let text = back.file(&harp).expect("a file");
            assert_eq!(harp_file::parse(&text).expect("a harp"), harp);
        }
    }

    #[test]
    fn a_harp_of_no_strings_of_two_hundred_or_with_a_hole_is_refused_in_a_sentence() {
        let harp = harp_file::preset("lever-22").expect("a preset");
        let shape = HarpShape::of(&harp);
        let with = |strings: Vec<StringShape>| {
            HarpShape {
                strings,
                ..shape.clone()
            }
            .file(&harp)
        };
        assert!(
            with(Vec::new())
                .expect_err("none")
                .to_string()
                .contains("1 to 63 strings")
        );
        let many = vec![shape.strings[0].clone(); 200];
        assert!(
            with(many)
                .expect_err("too many")
                .to_string()
                .contains("1 to 63 strings")
        );
        let mut torn = shape.strings.clone();
        torn.remove(7);
        assert!(with(torn).is_err());
        let mut strange = shape.strings.clone();
        strange[0].note = "<b>H9".to_owned();
        assert!(with(strange).is_err());
        let unnamed = HarpShape {
            name: "  ".to_owned(),
            ..shape
        }
        .file(&harp);
        assert!(unnamed.expect_err("no name").to_string().contains("name"));
    }
}

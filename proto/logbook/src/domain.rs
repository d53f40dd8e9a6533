//! What the cores know of harps, pitches and people, as it stands in a logbook.

use consort_proto::message::{Content, Report};
use consort_proto::pairing::Share;
use consort_proto::{
    Agreement, Binding, Cents, Document, Fingerprint, Harp, HarpString, Hz, JoinCode, JoinLink, JoinToken, Kind, Mark,
    Material, Mechanism, Name, Note, Proof, Reading, ReferencePitch, Revision, Round, Seat, Sequence, SessionId,
    Setting, StringNumber, StringStory, Temperament, Tenure, Tolerance, Tuning, Uptime, Verdict,
};
use serde_json::Value;

use crate::disguise::Disguise;
use crate::written::{Items, Unread, Written, texts};
use crate::{choices, fields, wrapped};

texts!(Note, Setting, Fingerprint);

wrapped!(Cents, Revision, Round, Sequence, SessionId, Share, Uptime);

fields! {
    Tenure { seat, epoch }
    Seat { tenure, name }
    Tuning { a4, temperament, setting }
    Tolerance { middle, wires, top }
    Agreement { session, revision, ensemble, tuning, tolerance, round, called }
    Document { agreement, epoch, start_in, beat_every, seats }
    Report { sequence, session, round, tenure, age, content }
    Reading { string, hz, sigma, level_dbfs, verdict }
    JoinLink { addresses, coordinator, token }
}

choices! {
    Mark { "new" New, "missing" Missing }
    Verdict { "settled" Settled, "unsure" Unsure }
    Content { "reading" Reading(reading), "mark" Mark { string, mark } }
    Kind { "pedal" Pedal, "lever" Lever, "other" Other }
    Material { "nylon" Nylon, "gut" Gut, "fluorocarbon" Fluorocarbon, "wire" Wire }
    Mechanism { "discs" Discs, "lever" Lever, "fixed" Fixed }
}

impl Written for Hz {
    fn write(&self, disguise: &mut Disguise) -> Value {
        self.get().write(disguise)
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        Self::new(f64::read(value)?).map_err(|_| Unread::not("frequency", value))
    }
}

impl Written for ReferencePitch {
    fn write(&self, disguise: &mut Disguise) -> Value {
        self.hz().write(disguise)
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        Self::new(f64::read(value)?).map_err(|_| Unread::not("reference pitch", value))
    }
}

impl Written for StringNumber {
    fn write(&self, disguise: &mut Disguise) -> Value {
        self.get().write(disguise)
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        Self::new(u32::read(value)?).map_err(|_| Unread::not("string of a harp", value))
    }
}

impl Written for Temperament {
    /// The word of a known one, or twelve offsets.
    fn write(&self, _: &mut Disguise) -> Value {
        let offsets = || self.offsets().map(|offset| format!("{:?}", offset.0)).join(" ");
        self.scheme()
            .map_or_else(offsets, |scheme| scheme.word().to_owned())
            .into()
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        let text = value.as_str().and_then(|text| text.parse().ok());
        text.ok_or_else(|| Unread::not("temperament", value))
    }
}

impl Written for Name {
    fn write(&self, disguise: &mut Disguise) -> Value {
        disguise.name(self.as_str()).into()
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        let name = value.as_str().and_then(|text| text.parse().ok());
        name.ok_or_else(|| Unread::not("name", value))
    }
}

impl Written for JoinCode {
    fn write(&self, disguise: &mut Disguise) -> Value {
        disguise.code(*self).to_string().into()
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        let code = value.as_str().and_then(|text| text.parse().ok());
        code.ok_or_else(|| Unread::not("joining code", value))
    }
}

impl Written for JoinToken {
    fn write(&self, disguise: &mut Disguise) -> Value {
        disguise.token(*self).0.write(disguise)
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        Written::read(value).map(Self)
    }
}

/// What proves something to the shells and is only passed on by the cores is left out.
impl Written for Proof {
    fn write(&self, _: &mut Disguise) -> Value {
        Value::Null
    }

    fn read(_: &Value) -> Result<Self, Unread> {
        Ok(Self([0; 32]))
    }
}

/// The same.
impl Written for Binding {
    fn write(&self, _: &mut Disguise) -> Value {
        Value::Null
    }

    fn read(_: &Value) -> Result<Self, Unread> {
        Ok(Self([0; 32]))
    }
}

impl Written for HarpString {
    fn write(&self, disguise: &mut Disguise) -> Value {
        let [first, second] = self.regulation;
        Value::Array(vec![
            self.open.write(disguise),
            self.material.write(disguise),
            self.mechanism.write(disguise),
            (first, second).write(disguise),
        ])
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        let mut items = Items::of(value)?;
        Ok(Self {
            open: items.take()?,
            material: items.take()?,
            mechanism: items.take()?,
            regulation: items.take().map(|(first, second)| [first, second])?,
        })
    }
}

impl Written for Harp {
    fn write(&self, disguise: &mut Disguise) -> Value {
        let strings: Vec<HarpString> = self.strings().to_vec();
        Value::Array(vec![
            disguise.name(self.name()).into(),
            self.kind().write(disguise),
            strings.write(disguise),
        ])
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        let mut items = Items::of(value)?;
        Self::new(items.take()?, items.take()?, items.take()?).map_err(|why| Unread(why.to_string()))
    }
}

impl Written for StringStory {
    fn write(&self, disguise: &mut Disguise) -> Value {
        (self.readings().to_vec(), self.mark()).write(disguise)
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        let (readings, mark): (Vec<Reading>, Option<Mark>) = Written::read(value)?;
        let mut story = Self::default();
        readings.into_iter().for_each(|reading| story.hear(reading));
        story.set_mark(mark);
        Ok(story)
    }
}

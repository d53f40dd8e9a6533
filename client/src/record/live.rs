//! The record's page beside the desk: read from the disk when somebody looks, written by what she types there.

use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

use axum::extract::{Query, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::http::{HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use consort_proto::Harp;
use consort_record::Date;
use consort_record_store::{Kept, Store};
use serde::Deserialize;
use serde_json::json;

use super::allow;
use super::args::{self, RecordOrder};
use super::plot::{self, Drawn};
use super::shelf::{self, ShelfOrder};
use super::{Form, NotDone, Read, page, shown, today, told, write};

/// The record of one station, as its page sees it.
#[derive(Clone, Debug)]
pub(crate) struct Live(Arc<Inner>);

#[derive(Debug)]
struct Inner {
    path: PathBuf,
    /// The harp that is heard here, which is shown unless another is asked for.
    harp: Arc<Harp>,
    open: Mutex<Option<Open>>,
}

/// The record while somebody looks at it.
#[derive(Debug)]
struct Open {
    store: Store,
    /// What was told last, and for which version and harp.
    read: Option<(String, Read)>,
    /// Changes made through this page.
    written: u64,
}

/// What a page asks for.
#[derive(Clone, Debug, Default, Deserialize)]
struct Asked {
    /// A harp's name; the one that is heard here without it.
    harp: Option<String>,
    /// The day of a technician's appointment.
    regulation: Option<String>,
    /// The picture that the page has.
    since: Option<String>,
    /// A string's number or name; the drawing is of the whole harp without it.
    string: Option<String>,
    /// How wide the drawing is to be, pixels.
    wide: Option<f64>,
    /// Whether the drawing is to be kept as a file.
    file: Option<String>,
}

/// What is written down: the order of the same name with its words as they were typed.
#[derive(Clone, Debug, Deserialize)]
struct Typed {
    write: String,
    harp: Option<String>,
    string: Option<String>,
    day: Option<String>,
    material: Option<String>,
    gauge: Option<String>,
    length: Option<String>,
    deed: Option<String>,
    note: Option<String>,
    name: Option<String>,
    temperature: Option<String>,
    humidity: Option<String>,
    pins: Option<String>,
    player: Option<String>,
    made: Option<String>,
    concert_days: Option<String>,
    yields: Option<String>,
}

impl Live {
    /// The record at `path` of a station that hears `harp`; nothing is opened before somebody looks.
    pub(crate) fn new(path: PathBuf, harp: Arc<Harp>) -> Self {
        Self(Arc::new(Inner {
            path,
            harp,
            open: Mutex::new(None),
        }))
    }

    /// What the page asks for, to be served behind the desk's guard.
    pub(crate) fn routes(self) -> Router {
        Router::new()
            .route("/record/record.json", get(look))
            .route("/record/plot", get(plot))
            .route("/record/sheet", get(sheet))
            .route("/record/shopping", get(shopping))
            .route("/record/write", post(write_down))
            .with_state(self)
    }

    /// Does `work` with the record where waiting for the disk holds up nobody; a refusal is a sentence.
    async fn with<T: Send + 'static>(
        self,
        work: impl FnOnce(&mut Open, &Harp) -> Result<T, NotDone> + Send + 'static,
    ) -> Result<T, Response> {
        let refused = |code: StatusCode, why: String| (code, Json(json!({ "why": why }))).into_response();
        let done = tokio::task::spawn_blocking(move || {
            let mut open = self.0.open.lock().unwrap_or_else(PoisonError::into_inner);
            if open.is_none() {
                *open = Some(Open {
                    store: Store::open(&self.0.path)?,
                    read: None,
                    written: 0,
                });
            }
            match open.as_mut() {
                Some(open) => work(open, &self.0.harp).map_err(|why| why.at(&self.0.path)),
                None => Err(NotDone::Meaningless("the record is not open".to_owned())),
            }
        });
        match done.await {
            Ok(Ok(done)) => Ok(done),
            Ok(Err(why)) => Err(refused(StatusCode::UNPROCESSABLE_ENTITY, why.to_string())),
            Err(why) => Err(refused(StatusCode::INTERNAL_SERVER_ERROR, why.to_string())),
        }
    }
}

impl Open {
    /// The harp called `name`; without a name the one that is heard here, else the first.
    fn kept(&self, name: Option<&str>, heard: &Harp) -> Result<Kept, NotDone> {
        if name.is_some() {
            return Ok(self.store.harp(name)?);
        }
        let harps = self.store.harps()?;
        let same = |kept: &&Kept| kept.sheet.harp.strings() == heard.strings();
        let named = |kept: &&Kept| same(kept) && kept.sheet.harp.name() == heard.name();
        let first = harps
            .iter()
            .find(named)
            .or_else(|| harps.iter().find(same))
            .or(harps.first());
        first.cloned().map_or_else(|| Ok(self.store.harp(None)?), Ok)
    }

    /// Changes whenever anything was written, by whomever, and when the day changes.
    fn version(&self, kept: &Kept, regulation: Option<&str>) -> Result<String, NotDone> {
        let (disk, own, today) = (self.store.version()?, self.written, today());
        let process = std::process::id();
        let technician = regulation.unwrap_or_default();
        Ok(format!("{process}.{disk}.{own}.{today}.{}.{technician}", kept.tag))
    }

    /// What the record of `kept` tells now; told once for each version.
    fn read(&mut self, kept: &Kept) -> Result<&Read, NotDone> {
        let version = self.version(kept, None)?;
        if self.read.as_ref().is_none_or(|(known, _)| *known != version) {
            self.read = Some((version, told(&self.store, kept, today())?));
        }
        match &self.read {
            Some((_, read)) => Ok(read),
            None => Err(NotDone::Meaningless("the record is not read".to_owned())),
        }
    }
}

async fn look(State(live): State<Live>, Query(asked): Query<Asked>) -> Response {
    let looked = live.with(move |open, heard| {
        let kept = open.kept(asked.harp.as_deref(), heard)?;
        let version = open.version(&kept, asked.regulation.as_deref())?;
        if asked.since.as_ref() == Some(&version) {
            return Ok(None);
        }
        let technician: Option<Date> = asked.regulation.as_deref().map(str::parse).transpose()?;
        open.read(&kept)?;
        let Some((_, read)) = &open.read else { return Ok(None) };
        Ok(Some(shown::page(&open.store, &kept, read, technician, version)?))
    });
    match looked.await {
        Ok(Some(page)) => Json(page).into_response(),
        Ok(None) => StatusCode::NO_CONTENT.into_response(),
        Err(refusal) => refusal,
    }
}

async fn plot(State(live): State<Live>, Query(asked): Query<Asked>) -> Response {
    let in_file = asked.file.is_some();
    let drawn = live.with(move |open, heard| {
        let kept = open.kept(asked.harp.as_deref(), heard)?;
        let string = asked
            .string
            .as_deref()
            .map(|word| args::string(word, &kept.sheet))
            .transpose()?;
        let read = open.read(&kept)?;
        let wide = asked.wide.filter(|wide| wide.is_finite()).unwrap_or(Drawn::FILE.wide);
        let drawn = Drawn {
            wide: wide.clamp(320.0, 1_200.0),
            in_file,
        };
        Ok(match string {
            Some(string) => (
                plot::history(&read.life, &read.played, string, drawn, &read.words),
                format!("{}.svg", shown::name(string, read)),
            ),
            None => (
                plot::harp(&read.life, &read.played, drawn, &read.words),
                "harp.svg".to_owned(),
            ),
        })
    });
    match drawn.await {
        Ok((svg, name)) => file(in_file.then_some(name), "image/svg+xml", svg),
        Err(refusal) => refusal,
    }
}

async fn sheet(State(live): State<Live>, Query(asked): Query<Asked>) -> Response {
    let made = live.with(move |open, heard| {
        let kept = open.kept(asked.harp.as_deref(), heard)?;
        let tunings = open.store.tunings(kept.id)?;
        let technician: Option<Date> = asked.regulation.as_deref().map(str::parse).transpose()?;
        Ok(page::page(open.read(&kept)?, tunings, technician))
    });
    match made.await {
        Ok(html) => file(Some("record.html".to_owned()), "text/html; charset=utf-8", html),
        Err(refusal) => refusal,
    }
}

/// What is to be bought for the plan, as a list for the shop.
async fn shopping(State(live): State<Live>, Query(asked): Query<Asked>) -> Response {
    let listed = live.with(move |open, heard| {
        let name = open.kept(asked.harp.as_deref(), heard)?.sheet.harp.name().to_owned();
        let order = ShelfOrder::Shopping {
            regulation: asked.regulation,
        };
        let lines = shelf::carry_out(&mut open.store, Some(&name), &order, (today(), Form::Csv))?;
        Ok(lines.join("\n") + "\n")
    });
    match listed.await {
        Ok(list) => file(Some("shopping.csv".to_owned()), "text/csv; charset=utf-8", list),
        Err(refusal) => refusal,
    }
}

async fn write_down(State(live): State<Live>, Json(typed): Json<Typed>) -> Response {
    let written = live.with(move |open, heard| {
        let kept = open.kept(typed.harp.as_deref(), heard)?;
        let name = kept.sheet.harp.name().to_owned();
        let (order, by) = (typed.order()?, (today(), Form::Text));
        let said = match &order {
            RecordOrder::Shelf(order) => shelf::carry_out(&mut open.store, Some(&name), order, by)?,
            RecordOrder::Allow { letters, off, .. } => {
                let asked = allow::Asked {
                    letters: letters.as_deref(),
                    off: *off,
                    setting: None,
                };
                allow::choose_and_say(&mut open.store, Some(&name), asked, today())?
            }
            order => write::carry_out(&mut open.store, Some(&name), order, by)?,
        };
        open.written += 1;
        Ok(said.join(" "))
    });
    match written.await {
        Ok(says) => Json(json!({ "says": says })).into_response(),
        Err(refusal) => refusal,
    }
}

/// A text, to be kept under `name` if it has one.
fn file(name: Option<String>, kind: &'static str, text: String) -> Response {
    let mut response = ([(CONTENT_TYPE, kind)], text).into_response();
    let kept = name.and_then(|name| HeaderValue::from_str(&format!("attachment; filename=\"{name}\"")).ok());
    if let Some(kept) = kept {
        response.headers_mut().insert(CONTENT_DISPOSITION, kept);
    }
    response
}

impl Typed {
    /// The order that was typed.
    fn order(self) -> Result<RecordOrder, NotDone> {
        let day = |day: Option<String>| day.ok_or_else(|| NotDone::Meaningless("say on which day".to_owned()));
        Ok(match self.write.as_str() {
            "fitted" => RecordOrder::Fitted {
                string: self.string.unwrap_or_default(),
                day: day(self.day)?,
                material: self.material,
                gauge: figure(self.gauge)?,
                length: self.length,
            },
            "did" => RecordOrder::Did {
                deed: self.deed.unwrap_or_default(),
                day: day(self.day)?,
                string: self.string,
                note: self.note.unwrap_or_default(),
            },
            "concert" => RecordOrder::Concert {
                day: day(self.day)?,
                name: self.name.unwrap_or_else(|| "concert".to_owned()),
            },
            "room" => RecordOrder::Room {
                temperature: figure(self.temperature)?,
                humidity: figure(self.humidity)?,
                at: None,
            },
            "sheet" => RecordOrder::Harp {
                pins: self.pins,
                player: self.player,
                made: self.made,
                concert_days: self
                    .concert_days
                    .as_deref()
                    .map(args::concert_days)
                    .transpose()
                    .map_err(NotDone::Meaningless)?,
            },
            "bought" => RecordOrder::Shelf(ShelfOrder::Add {
                name: self.name.unwrap_or_default(),
                string: self.string.unwrap_or_default(),
                yields: whole(self.yields)?.unwrap_or(1),
                material: self.material,
                gauge: figure(self.gauge)?,
                bought: self.day,
            }),
            "spoilt" => RecordOrder::Shelf(ShelfOrder::Spoilt {
                name: self.name.unwrap_or_default(),
                note: self.note.unwrap_or_default(),
            }),
            "allow" | "allow-no-longer" => RecordOrder::Allow {
                letters: self.name,
                off: self.write == "allow-no-longer",
                plays: None,
            },
            "taken-out" => RecordOrder::TakeOut {
                entry: self.name.unwrap_or_default(),
            },
            "undo" => RecordOrder::Undo,
            other => {
                let shown: String = other.chars().take(40).collect();
                return Err(NotDone::Meaningless(format!(
                    "“{shown}” is nothing that can be written down"
                )));
            }
        })
    }
}

/// A typed number; a comma stands for a point.
fn figure(typed: Option<String>) -> Result<Option<f64>, NotDone> {
    let parsed = typed.map(|typed| {
        let number: Result<f64, _> = typed.trim().replace(',', ".").parse();
        number.map_err(|_| {
            let shown: String = typed.chars().take(40).collect();
            NotDone::Meaningless(format!("“{shown}” is not a number, as in 20.5"))
        })
    });
    parsed.transpose()
}

/// A typed number of things.
fn whole(typed: Option<String>) -> Result<Option<u32>, NotDone> {
    let parsed = typed.map(|typed| {
        typed.trim().parse().map_err(|_| {
            let shown: String = typed.chars().take(40).collect();
            NotDone::Meaningless(format!("“{shown}” is not a whole number, as in 3"))
        })
    });
    parsed.transpose()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_typed_on_the_page_means_an_order_or_says_why_not() {
        let order = |text: &str| {
            let typed: Typed = serde_json::from_str(text).expect(text);
            typed.order().map_err(|why| why.to_string())
        };
        let room = order(r#"{"write":"room","temperature":"20,5"}"#).expect("an order");
        assert!(
            matches!(room, RecordOrder::Room { temperature: Some(warm), humidity: None, .. } if warm == 20.5),
            "{room:?}"
        );
        for (text, says) in [
            (r#"{"write":"fitted","string":"3"}"#, "say on which day"),
            (
                r#"{"write":"fitted","string":"3","day":"2026-11-25","gauge":"thick"}"#,
                "“thick” is not a number",
            ),
            (
                r#"{"write":"sheet","concert_days":"-3"}"#,
                "“-3” is no number of days before a concert: give a whole one, from 0 to 60",
            ),
            (r#"{"write":"bought","yields":"-3"}"#, "“-3” is not a whole number"),
            (r#"{"write":"sing"}"#, "“sing” is nothing that can be written down"),
        ] {
            let why = order(text).expect_err(text);
            assert!(why.contains(says), "{text}: {why}");
        }
    }
}

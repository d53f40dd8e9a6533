//! Drawings of the record as SVG: one string's history with the room below it, and the whole harp as it is usually found.

use std::fmt::Write;

use consort_proto::{Letter, StringNumber};
use consort_record::Life;
use consort_record::telling::string_name;

use super::list;

/// Width and height of a drawing, in its own units.
const WIDE: f64 = 930.0;
const HIGH: f64 = 330.0;
/// Where the figures' axis stands, and where the picture ends.
const LEFT: f64 = 52.0;
const RIGHT: f64 = 918.0;
/// The colours of the page: ink, second ink, gut, red C, dark F, and amber for what needs her.
const STYLE: &str = "text{font:15px sans-serif;fill:#574b3c}.ink{stroke:#1f1810}.ink2{stroke:#574b3c}\
    .gut{stroke:#8c7650}.c{stroke:#9e1b10}.f{stroke:#13224a}.gild{fill:#f3b13f}path,rect{fill:none;stroke-width:2}";

/// `string` over the tunings of `life`: filled as left, open as found next time, humidity and temperature below.
pub(super) fn history(life: &Life, string: StringNumber) -> String {
    let name = string_name(string, &life.sheet);
    let mut svg = begun(&format!("{name}: as left and as found next time"));
    let (Some(first), Some(last)) = (life.visits.first(), life.visits.last()) else {
        return ended(svg);
    };
    let Some(kind) = life.sheet.harp.string(string) else {
        return ended(svg);
    };
    let span = last.at.days_since(first.at).max(1.0);
    let x = |at: consort_record::Moment| LEFT + (RIGHT - LEFT) * at.days_since(first.at) / span;
    let cents = |visit: &consort_record::Visit, reading: Option<consort_proto::Reading>| {
        reading.map(|reading| reading.hz.cents_above(visit.tuning.open_target(kind)).0)
    };
    let seen = |visit: &consort_record::Visit| {
        let seen = visit.strings.get(&string)?;
        Some((cents(visit, seen.found)?, cents(visit, seen.left)?))
    };
    let most = life
        .visits
        .iter()
        .filter_map(seen)
        .map(|(found, _)| found.abs())
        .fold(5.0, f64::max)
        .min(60.0);
    let y = |cents: f64| 100.0 - 80.0 * (cents / most).clamp(-1.0, 1.0);
    for mark in [-most, -most / 2.0, 0.0, most / 2.0, most] {
        let class = if mark == 0.0 { "ink" } else { "ink2" };
        add(
            &mut svg,
            &format!(
                "<path class=\"{class}\" d=\"M{LEFT} {0:.1}H{RIGHT}\"/><text x=\"44\" y=\"{1:.1}\" text-anchor=\"end\">{mark:.0}</text>",
                y(mark),
                y(mark) + 5.0
            ),
        );
    }
    let mut before: Option<(f64, f64)> = None;
    for visit in &life.visits {
        let Some((found, left)) = seen(visit) else { continue };
        let at = x(visit.at);
        if let Some((from, was)) = before {
            let fell = if found < was - 5.0 { " gild" } else { "" };
            add(
                &mut svg,
                &format!(
                    "<path class=\"gut{fell}\" d=\"M{from:.1} {:.1}L{at:.1} {:.1}\"/>",
                    y(was),
                    y(found)
                ),
            );
            add(
                &mut svg,
                &format!(
                    "<rect class=\"ink\" x=\"{:.1}\" y=\"{:.1}\" width=\"8\" height=\"8\"/>",
                    at - 4.0,
                    y(found) - 4.0
                ),
            );
        }
        add(
            &mut svg,
            &format!(
                "<rect class=\"ink\" style=\"fill:#1f1810\" x=\"{:.1}\" y=\"{:.1}\" width=\"8\" height=\"8\"/>",
                at - 4.0,
                y(left) - 4.0
            ),
        );
        before = Some((at, left));
    }
    let room: Vec<_> = life
        .climates
        .iter()
        .filter(|climate| climate.at >= first.at && climate.at <= last.at)
        .collect();
    let figures = |of: fn(&consort_record::Climate) -> Option<f64>| -> Vec<(f64, f64)> {
        room.iter()
            .filter_map(|climate| Some((x(climate.at), of(climate)?)))
            .collect()
    };
    curve(
        &mut svg,
        &figures(|climate| climate.humidity_percent),
        225.0,
        "humidity",
        "%",
        "",
    );
    curve(
        &mut svg,
        &figures(|climate| climate.temperature_c),
        285.0,
        "room",
        "°C",
        " stroke-dasharray=\"8 5\"",
    );
    add(
        &mut svg,
        &format!("<text x=\"{LEFT}\" y=\"325\">{}</text>", first.at.date()),
    );
    add(
        &mut svg,
        &format!(
            "<text x=\"{RIGHT}\" y=\"325\" text-anchor=\"end\">{}</text>",
            last.at.date()
        ),
    );
    ended(svg)
}

/// A curve of the room around the height `middle`, with its least and most.
fn curve(svg: &mut String, points: &[(f64, f64)], middle: f64, name: &str, unit: &str, dash: &str) {
    let least = points.iter().map(|point| point.1).fold(f64::INFINITY, f64::min);
    let most = points.iter().map(|point| point.1).fold(f64::NEG_INFINITY, f64::max);
    if points.len() < 2 {
        return;
    }
    let path: Vec<String> = points
        .iter()
        .map(|(x, figure)| {
            format!(
                "{x:.1} {:.1}",
                middle - 20.0 * ((figure - least) / (most - least).max(1.0) - 0.5)
            )
        })
        .collect();
    add(svg, &format!("<path class=\"ink2\"{dash} d=\"M{}\"/>", path.join("L")));
    add(
        svg,
        &format!(
            "<text x=\"{LEFT}\" y=\"{:.1}\">{name} {least:.0}–{most:.0} {unit}</text>",
            middle - 16.0
        ),
    );
}

/// All strings, the lowest first, bowed as far as they are usually found: straight is in tune.
pub(super) fn harp(life: &Life) -> String {
    let mut svg = begun("every string as it is usually found before tuning");
    let usual = list::usual(life);
    let count = life.sheet.harp.len().max(2) as f64;
    for (number, string) in life.sheet.harp.numbered() {
        let place = 1.0 - (f64::from(number.get()) - 1.0) / (count - 1.0);
        let x = RIGHT - (RIGHT - LEFT) * (1.0 - place);
        let x = WIDE - x;
        let (top, bottom) = (
            260.0 - 40.0 * place - (210.0 - 160.0 * (1.0 - place).powf(0.6)).abs() * 0.9,
            280.0 - 40.0 * (1.0 - place),
        );
        let class = match string.open.letter {
            Letter::C => "c",
            Letter::F => "f",
            _ => "gut",
        };
        match usual.get(&number) {
            Some(usual) => {
                // Flat bows to the lower strings, sharp to the higher ones.
                let bow = usual.found.signum() * 12.0 * (usual.found.abs() / 50.0).min(1.0).powf(0.6);
                add(
                    &mut svg,
                    &format!(
                        "<path class=\"{class}\" d=\"M{x:.1} {top:.1}Q{:.1} {:.1} {x:.1} {bottom:.1}\"/>",
                        x + 2.0 * bow,
                        f64::midpoint(top, bottom)
                    ),
                );
            }
            None => add(
                &mut svg,
                &format!("<path class=\"{class}\" stroke-dasharray=\"2 6\" d=\"M{x:.1} {top:.1}V{bottom:.1}\"/>"),
            ),
        }
        if string.open.letter == Letter::C {
            add(
                &mut svg,
                &format!(
                    "<text x=\"{x:.1}\" y=\"310\" text-anchor=\"middle\">{}</text>",
                    string_name(number, &life.sheet)
                ),
            );
        }
    }
    ended(svg)
}

fn begun(title: &str) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDE} {HIGH}\" role=\"img\" aria-label=\"{title}\">\
         <style>{STYLE}</style><title>{title}</title>\n"
    )
}

fn ended(mut svg: String) -> String {
    svg.push_str("</svg>\n");
    svg
}

fn add(svg: &mut String, piece: &str) {
    // Writing into a string never fails.
    let _ = writeln!(svg, "{piece}");
}

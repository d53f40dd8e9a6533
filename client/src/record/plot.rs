//! One string's history as SVG: filled as left, open as found next time, the room's air below on the same days.

mod axis;
mod harp;

use std::fmt::Write;

use consort_proto::{Harp, StringNumber};
use consort_record::telling::string_name;
use consort_record::{Climate, Deed, Life, Moment};
use consort_words::{Arg, Key, Words};

pub(super) use harp::harp;

/// How a drawing is made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Drawn {
    /// Its width in pixels, from 320 to 1,200; letters keep their size.
    pub(super) wide: f64,
    /// Whether it stands alone and so brings its colours along.
    pub(super) in_file: bool,
}

impl Drawn {
    /// A drawing for a file.
    pub(super) const FILE: Self = Self {
        wide: 930.0,
        in_file: true,
    };
}

/// Where the figures' axis stands, and how much stays free on the right.
const LEFT: f64 = 44.0;
const FREE: f64 = 14.0;
/// The figures lie between these heights, the air below them, the days at the foot.
const TOP: f64 = 42.0;
const BOTTOM: f64 = 208.0;
const HUMIDITY: f64 = 262.0;
const WARMTH: f64 = 318.0;
const DAYS: f64 = 346.0;
const HIGH: f64 = 372.0;
/// The page's colours by day and, where the system is dark, of the stage, for a drawing that stands alone.
const STYLE: &str = "svg{background:#f7f2e8}text{font-family:sans-serif;fill:#574b3c}path,rect{fill:none;stroke-width:2}\
    .mesh{stroke:#d3c7b2;stroke-width:1}.zero{stroke:#1f1810}.within{stroke:#574b3c;stroke-dasharray:0 7;stroke-linecap:round}\
    .fall,.gut{stroke:#8c7650}.fell{fill:#c27800;fill-opacity:.55;stroke:none}.found{fill:#f7f2e8;stroke:#1f1810}\
    .left{fill:#1f1810;stroke:#1f1810}.day{stroke:#574b3c;stroke-dasharray:5 4}.said{fill:#1f1810}.air{stroke:#574b3c}\
    .c{stroke:#9e1b10}.f{stroke:#13224a}";

/// `string` over the tunings of `life`, against the targets of `played`, the harp with what is allowed for now.
pub(super) fn history(life: &Life, played: &Harp, string: StringNumber, drawn: Drawn, words: &Words) -> String {
    let name = string_name(string, &life.sheet);
    let mut picture = Picture::begin(
        drawn,
        HIGH,
        &words.say(Key::PlotHistory, &[("string", Arg::from(name))]),
    );
    let Some(kind) = played.string(string) else {
        return picture.end();
    };
    let visits: Vec<Told> = life
        .visits
        .iter()
        .filter_map(|visit| {
            let seen = visit.strings.get(&string)?;
            let target = visit.tuning.open_target(kind);
            Some(Told {
                at: visit.at,
                found: seen.found?.hz.cents_above(target).0,
                left: seen.left?.hz.cents_above(target).0,
            })
        })
        .collect();
    let (Some(first), Some(last)) = (visits.first(), visits.last()) else {
        let unheard = words.say(Key::PlotUnheard, &[]);
        picture.text("said", LEFT, TOP, &unheard, "");
        return picture.end();
    };
    let within = life.visits.last().map_or(2.0, |visit| visit.tolerance.of(kind).0);
    let days = axis::Days::new(first.at, last.at, (LEFT, drawn.wide - FREE));
    let heights = axis::Heights::new(
        visits.iter().flat_map(|told| [told.found, told.left]),
        within,
        (TOP, BOTTOM),
    );
    picture.frame(&heights, within, words);
    picture.falls(&visits, (&days, &heights), within);
    for (at, key) in marked(life, string) {
        if (first.at..=last.at).contains(&at) {
            let x = days.x(at);
            picture.add(format_args!(
                "<path class=\"day\" d=\"M{x:.1} {}V{BOTTOM}\"/>",
                TOP - 12.0
            ));
            let (to, anchor) = if x > drawn.wide / 2.0 {
                (-6.0, "end")
            } else {
                (6.0, "start")
            };
            picture.text("said", x + to, BOTTOM - 6.0, &words.say(key, &[]), anchor);
        }
    }
    picture.air(life, &days, words);
    for (at, text) in days.ticks(words) {
        let x = days.x(at);
        picture.add(format_args!("<path class=\"air\" d=\"M{x:.1} {}v-7\"/>", DAYS - 14.0));
        let anchor = if x > drawn.wide - 60.0 { "end" } else { "start" };
        picture.text("", x, DAYS + 2.0, &text, anchor);
    }
    picture.end()
}

/// One tuning of the string, cents from its target.
struct Told {
    at: Moment,
    found: f64,
    left: f64,
}

/// Days on which something was done to the string, and what stands beside the line.
fn marked(life: &Life, string: StringNumber) -> Vec<(Moment, Key)> {
    let fitted = life.fittings.iter().filter(|fitting| fitting.string == string);
    let pushed = life.events.iter().filter(|event| event.deed == Deed::PinPushed(string));
    let broke = life.events.iter().filter(|event| event.deed == Deed::Broke(string));
    let renewed = life.events.iter().filter(|event| event.deed == Deed::Restrung);
    fitted
        .map(|fitting| (fitting.on.noon(), Key::PlotNewString))
        .chain(pushed.map(|event| (event.on.noon(), Key::PlotPinPushed)))
        .chain(broke.map(|event| (event.on.noon(), Key::PlotBroke)))
        .chain(renewed.map(|event| (event.on.noon(), Key::PlotNewString)))
        .collect()
}

/// A drawing in the making.
struct Picture {
    svg: String,
    wide: f64,
}

impl Picture {
    fn begin(drawn: Drawn, high: f64, title: &str) -> Self {
        let wide = drawn.wide;
        let title = escaped(title);
        let style = if drawn.in_file {
            format!("<style>{STYLE}</style>")
        } else {
            String::new()
        };
        Self {
            svg: format!(
                "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"plot\" viewBox=\"0 0 {wide} {high}\" role=\"img\" \
                 aria-label=\"{title}\" font-size=\"14\">{style}<title>{title}</title>\n"
            ),
            wide,
        }
    }

    fn end(mut self) -> String {
        self.svg.push_str("</svg>\n");
        self.svg
    }

    fn add(&mut self, piece: std::fmt::Arguments<'_>) {
        // Writing into a string never fails.
        let _ = writeln!(self.svg, "{piece}");
    }

    fn text(&mut self, class: &str, x: f64, y: f64, text: &str, anchor: &str) {
        let anchor = if anchor.is_empty() { "start" } else { anchor };
        let text = escaped(text);
        self.add(format_args!(
            "<text class=\"{class}\" x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\">{text}</text>"
        ));
    }

    /// The figures' lines, the tolerance, and what the marks mean.
    fn frame(&mut self, heights: &axis::Heights, within: f64, words: &Words) {
        let right = self.wide - FREE;
        for cents in heights.marks() {
            let y = heights.y(cents);
            let class = if cents == 0.0 { "zero" } else { "mesh" };
            self.add(format_args!("<path class=\"{class}\" d=\"M{LEFT} {y:.1}H{right}\"/>"));
            let figure = format!("{cents:.0}").replace('-', "−");
            self.text("", LEFT - 8.0, y + 5.0, &figure, "end");
        }
        for side in [-within, within] {
            let y = heights.y(side);
            self.add(format_args!("<path class=\"within\" d=\"M{LEFT} {y:.1}H{right}\"/>"));
        }
        self.text("", 2.0, 16.0, &words.say(Key::PlotCents, &[]), "");
        let x = LEFT + 40.0;
        self.mark("left", x, 11.0);
        self.text("", x + 10.0, 16.0, &words.say(Key::PlotLeft, &[]), "");
        self.mark("found", x + 92.0, 11.0);
        self.text("", x + 102.0, 16.0, &words.say(Key::PlotFound, &[]), "");
    }

    /// From how it was left to how it was found next time: amber where it fell out of tolerance.
    fn falls(&mut self, visits: &[Told], (days, heights): (&axis::Days, &axis::Heights), within: f64) {
        for pair in visits.windows(2) {
            let (x0, x1) = (days.x(pair[0].at), days.x(pair[1].at));
            let (y0, y1) = (heights.y(pair[0].left), heights.y(pair[1].found));
            if (pair[1].found - pair[0].left).abs() > within {
                self.add(format_args!(
                    "<path class=\"fell\" d=\"M{x0:.1} {y0:.1}H{x1:.1}V{y1:.1}z\"/>"
                ));
            }
            self.add(format_args!(
                "<path class=\"fall\" d=\"M{x0:.1} {y0:.1}L{x1:.1} {y1:.1}\"/>"
            ));
        }
        for told in visits {
            let x = days.x(told.at);
            if (told.found - told.left).abs() > 0.05 {
                self.mark("found", x, heights.y(told.found));
            }
            self.mark("left", x, heights.y(told.left));
        }
    }

    /// Humidity and temperature, where they were noted.
    fn air(&mut self, life: &Life, days: &axis::Days, words: &Words) {
        type Figure = fn(&Climate) -> Option<f64>;
        let figures: [(Figure, f64, Key, &str); 2] = [
            (|air| air.humidity_percent, HUMIDITY, Key::PlotHumidity, ""),
            (
                |air| air.temperature_c,
                WARMTH,
                Key::PlotRoom,
                " stroke-dasharray=\"8 5\"",
            ),
        ];
        let mut any = false;
        for (figure, middle, key, dash) in figures {
            let points: Vec<(f64, f64)> = life
                .climates
                .iter()
                .filter(|air| days.contains(air.at))
                .filter_map(|air| Some((days.x(air.at), figure(air)?)))
                .collect();
            if points.len() < 2 {
                continue;
            }
            any = true;
            let least = points.iter().map(|point| point.1).fold(f64::INFINITY, f64::min);
            let most = points.iter().map(|point| point.1).fold(f64::NEG_INFINITY, f64::max);
            let at = |&(x, figure): &(f64, f64)| {
                format!(
                    "{x:.1} {:.1}",
                    middle - 24.0 * ((figure - least) / (most - least).max(1.0) - 0.5)
                )
            };
            let path: Vec<String> = points.iter().map(at).collect();
            self.add(format_args!("<path class=\"air\"{dash} d=\"M{}\"/>", path.join("L")));
            let range = match [least, most].map(|figure| format!("{figure:.0}")) {
                [least, most] if least == most => least,
                [least, most] => format!("{least}–{most}"),
            };
            let says = words.say(key, &[("range", Arg::from(range))]);
            self.text("", LEFT, middle - 18.0, &says, "");
        }
        if !any {
            self.text("", LEFT, HUMIDITY, &words.say(Key::PlotNoAir, &[]), "");
        }
    }

    fn mark(&mut self, class: &str, x: f64, y: f64) {
        let (x, y) = (x - 4.0, y - 4.0);
        self.add(format_args!(
            "<rect class=\"{class}\" x=\"{x:.1}\" y=\"{y:.1}\" width=\"8\" height=\"8\"/>"
        ));
    }
}

/// `text` as it may stand in XML.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

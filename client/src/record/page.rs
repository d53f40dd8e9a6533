//! The page for teacher or technician: one HTML file without anything from elsewhere, made to be printed.

use consort_pages::{RecordAllowances, RecordSteps};
use consort_proto::StringNumber;
use consort_record::telling::string_name;
use consort_record::{About, Date, Replacement, Rules, Why, plan as restring, tell};
use consort_words::{Arg, Key};

use super::plot::{self, Drawn};
use super::{Read, allow, list, said, shown};

/// Black on white, serif heads, thin rules: it prints on any machine.
const STYLE: &str = "body{font:17px/1.4 sans-serif;color:#1f1810;max-width:60rem;margin:2rem auto;padding:0 1rem}\
    h1,h2,h3{font-family:serif;font-weight:400;line-height:1.15}h1{font-size:2.2rem}\
    li{border-top:1px solid #d3c7b2;padding:.6rem 0;list-style:none}ol{padding:0}p{margin:.2rem 0}\
    table{border-collapse:collapse;width:100%}th,td{text-align:left;padding:.3rem .6rem .3rem 0;\
    border-bottom:1px solid #d3c7b2}svg{width:100%;height:auto}main svg{background:none}main svg .found{fill:#fff}section{break-inside:avoid}\
    .action{font-weight:600}.doubt{color:#574b3c}@media print{body{margin:0;font-size:11pt}}";

/// The page as HTML, of a harp that was tuned so often in all, with the plan for a technician on the day `regulation`.
pub(super) fn page(read: &Read, tunings: usize, regulation: Option<Date>) -> String {
    let sheet = &read.life.sheet;
    let name = escaped(sheet.harp.name());
    let head = |key| escaped(&read.words.say(key, &[]));
    let title = escaped(
        &read
            .words
            .say(Key::PrintedTitle, &[("harp", Arg::from(sheet.harp.name()))]),
    );
    let mut html = format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\
         <title>{title}</title><style>{STYLE}</style></head>\n<body><main>\n<h1>{name}</h1>\n<p>{} · {}</p>\n",
        escaped(&shown::about(tunings, read)),
        read.today
    );
    html.push_str(&format!("<section><h2>{}</h2>\n", head(Key::PrintedFindings)));
    if let Some(nothing) = &read.nothing {
        html.push_str(&format!("<p>{}</p>\n", escaped(nothing)));
    }
    if !read.findings.is_empty() {
        html.push_str("<ol>\n");
        for finding in &read.findings {
            let told = tell(finding, sheet, &read.words);
            html.push_str(&format!(
                "<li><h3>{}</h3><p>{}</p><p class=\"action\">{}</p><p class=\"doubt\">{}</p></li>\n",
                escaped(&told.headline),
                escaped(&told.evidence),
                escaped(&told.action),
                escaped(&told.doubt)
            ));
        }
        html.push_str("</ol>\n");
    }
    html.push_str(&format!("</section>\n<section><h2>{}</h2>\n", head(Key::PrintedUsual)));
    html.push_str(&plot::harp(&read.life, &read.played, Drawn::FILE, &read.words));
    html.push_str("</section>\n");
    for string in shown(read) {
        html.push_str(&format!("<section><h2>{}</h2>\n", string_name(string, sheet)));
        html.push_str(&plot::history(
            &read.life,
            &read.played,
            string,
            Drawn::FILE,
            &read.words,
        ));
        html.push_str("</section>\n");
    }
    let plan = restring(
        &read.chronicle,
        &read.life,
        &read.findings,
        read.today,
        &Rules::of(sheet, regulation),
    );
    let coming = said::coming(read);
    if !plan.is_empty() || !coming.is_empty() {
        html.push_str(&format!("<section><h2>{}</h2>\n", head(Key::PrintedPlan)));
        let known: Vec<_> = plan.iter().filter(|entry| entry.why != Why::Unknown).collect();
        if !known.is_empty() {
            html.push_str(&plan_of(&known, read));
        }
        let caution = read.words.say(Key::PlanCaution, &[]);
        let unknown = list::of_unknown_age(&plan, read);
        for sentence in coming.iter().chain(&unknown).chain([&caution]) {
            html.push_str(&format!("<p>{}</p>\n", escaped(sentence)));
        }
        html.push_str("</section>\n");
    }
    if let Some(steps) = shown::steps(read) {
        html.push_str(&table_of(&steps, &head(Key::PrintedSteps)));
    }
    if let Some(allowances) = allow::page(read) {
        html.push_str(&allowed_of(&allowances, &head(Key::AllowHead), read));
    }
    html.push_str("</main></body></html>\n");
    html
}

/// The strings to replace as a table.
fn plan_of(entries: &[&Replacement], read: &Read) -> String {
    let heads = [Key::PrintedString, Key::PrintedPutOn, Key::PrintedWhy, Key::PrintedWhen];
    let heads = heads.map(|key| format!("<th scope=\"col\">{}</th>", escaped(&read.words.say(key, &[]))));
    let mut html = format!("<table><thead><tr>{}</tr></thead><tbody>\n", heads.join(""));
    for entry in entries {
        let (why, when) = list::reasons(entry, &read.words);
        html.push_str(&format!(
            "<tr><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>\n",
            string_name(entry.string, &read.life.sheet),
            entry.fitted.map_or_else(String::new, |day| day.to_string()),
            escaped(&why),
            escaped(&when)
        ));
    }
    html.push_str("</tbody></table>\n");
    html
}

/// The table of discs or levers under `head`, for the technician.
fn table_of(steps: &RecordSteps, head: &str) -> String {
    let heads: Vec<String> = steps
        .letters
        .iter()
        .map(|letter| format!("<th scope=\"col\">{letter}</th>"))
        .collect();
    let mut html = format!(
        "<section><h2>{head}</h2>\n<table><thead><tr><td></td>{}</tr></thead><tbody>\n",
        heads.join("")
    );
    for row in &steps.rows {
        html.push_str(&format!("<tr><th scope=\"row\">{}</th>", row.octave));
        for cell in &row.cells {
            let steps = cell.iter().flat_map(|cell| cell.steps.iter().zip(&cell.off));
            let shown: Vec<String> = steps
                .map(|(step, off)| {
                    if *off {
                        format!("<strong>{}</strong>", escaped(step))
                    } else {
                        escaped(step)
                    }
                })
                .collect();
            html.push_str(&format!("<td>{}</td>", shown.join("<br>")));
        }
        html.push_str("</tr>\n");
    }
    html.push_str(&format!(
        "</tbody></table>\n<p>{}</p></section>\n",
        escaped(&steps.says)
    ));
    html
}

/// What is allowed for under `head`, with every position before and with it; nothing where nothing is chosen.
fn allowed_of(allowances: &RecordAllowances, head: &str, read: &Read) -> String {
    let chosen: Vec<_> = allowances.letters.iter().filter(|letter| letter.on).collect();
    if chosen.is_empty() {
        return String::new();
    }
    let heads = [
        read.words.say(Key::PrintedString, &[]),
        read.words.say(Key::AllowMoves, &[]),
    ];
    let heads: Vec<String> = heads
        .iter()
        .chain(&allowances.positions)
        .map(|head| format!("<th scope=\"col\">{}</th>", escaped(head)))
        .collect();
    let mut html = format!("<section><h2>{head}</h2>\n");
    for letter in chosen {
        html.push_str(&format!(
            "<p>{}</p>\n<table><thead><tr>{}</tr></thead><tbody>\n",
            escaped(&letter.says),
            heads.join("")
        ));
        for string in &letter.strings {
            let moves = string
                .moves
                .as_ref()
                .or(string.stays.as_ref())
                .map_or("", String::as_str);
            html.push_str(&format!("<tr><td>{}</td><td>{}</td>", string.name, escaped(moves)));
            for (before, after) in string.before.iter().zip(&string.after) {
                let figure = |cents: &Option<String>| escaped(cents.as_deref().unwrap_or("?"));
                html.push_str(&format!("<td>{} → {}</td>", figure(before), figure(after)));
            }
            html.push_str("</tr>\n");
        }
        html.push_str("</tbody></table>\n");
    }
    html.push_str(&format!("<p>{}</p></section>\n", escaped(&allowances.caution)));
    html
}

/// Strings with findings, whose history is drawn.
fn shown(read: &Read) -> Vec<StringNumber> {
    let mut strings: Vec<StringNumber> = read
        .findings
        .iter()
        .filter_map(|finding| match finding.about {
            About::String(string) => Some(string),
            About::Letter(_) | About::Material(_) => None,
        })
        .collect();
    strings.sort_unstable();
    strings.dedup();
    strings
}

/// `text` as it may stand in HTML.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

//! What a session came to, to be kept: a page to print, and the strings as CSV. The JSON is the status.

use consort_pages::SessionImage;
use consort_words::{Arg, Key, Words};

/// How the page looks, on a screen and on paper.
pub const STYLE: &str = include_str!("summary.css");

/// Every string of every harp, one a line, after a line that names the columns; RFC 4180.
pub fn csv(session: &SessionImage<'_>) -> String {
    let mut text = "seat,player,harp,string,note,standing,cents\r\n".to_owned();
    for seat in session.seats.iter().filter(|seat| !seat.removed) {
        for ((number, string), standing) in seat.harp.numbered().zip(seat.readiness.standings()) {
            let cents = standing
                .cents()
                .map_or_else(String::new, |cents| format!("{:.2}", cents.0));
            text.push_str(&format!(
                "{},{},{},{number},{},{},{cents}\r\n",
                seat.seat,
                field(seat.name.as_str()),
                field(seat.harp.name()),
                string.open,
                standing.word(),
            ));
        }
    }
    text
}

/// The session on one page; `head` is what brings its style.
pub fn page(session: &SessionImage<'_>, head: &str, words: &Words) -> String {
    let say = |key| escaped(&words.say(key, &[]));
    let seats = || session.seats.iter().filter(|seat| !seat.removed);
    let count = [
        ("ready", Arg::from(seats().filter(|seat| seat.is_ready()).count())),
        ("harps", Arg::from(seats().count())),
    ];
    let rows: String = seats()
        .map(|seat| {
            let readiness = words.readiness(seat.harp, seat.readiness);
            let says = match seat.presence.counts() {
                true => readiness,
                false => words.say(Key::BoardLastReported, &[("says", Arg::from(readiness))]),
            };
            let strings = seat.harp.numbered().zip(seat.readiness.standings());
            let left: Vec<String> = strings
                .filter(|(_, standing)| !matches!(standing, consort_proto::Standing::Holds(_)))
                .map(|((_, string), standing)| format!("{} {}", string.open.harp_name(), words.standing(*standing)))
                .collect();
            format!(
                "<tr><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>\n",
                seat.seat,
                escaped(seat.name.as_str()),
                escaped(seat.harp.name()),
                escaped(&says),
                seat.readiness.holding(),
                escaped(&left.join(", ")),
            )
        })
        .collect();
    let heads = [
        Key::SummarySeat,
        Key::SummaryPlayer,
        Key::SummaryHarp,
        Key::SummaryState,
        Key::SummaryHolds,
        Key::SummaryOthers,
    ];
    let heads: String = heads.map(|key| format!("<th scope=\"col\">{}</th>", say(key))).concat();
    let title = words.say(
        Key::SummaryTitle,
        &[("ensemble", Arg::from(session.agreement.ensemble.as_str()))],
    );
    let round = words.say(Key::RoundLine, &[("round", Arg::from(session.agreement.round.0))]);
    format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{title}</title>\n\
         <link rel=\"icon\" href=\"data:,\">\n{head}\n</head>\n<body>\n<main>\n<h1>{title}</h1>\n\
         <p>{agreement} · {round} · {ready}</p>\n<table>\n<thead><tr>{heads}</tr></thead>\n<tbody>\n{rows}</tbody>\n</table>\n\
         </main>\n</body>\n</html>\n",
        title = escaped(&title),
        agreement = escaped(&words.agreement(session.agreement)),
        round = escaped(&round),
        ready = escaped(&words.say(Key::BoardReadyOf, &count)),
    )
}

/// Text as it stands in HTML, whoever wrote it.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

/// Text as a field of CSV.
fn field(text: &str) -> String {
    match text.contains([',', '"', '\n', '\r']) {
        true => format!("\"{}\"", text.replace('"', "\"\"")),
        false => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_pages::SeatImage;
    use consort_proto::{
        Agreement, Cents, Name, Readiness, Revision, Round, SessionId, Standing, Tolerance, Tuning, harp_file,
    };

    #[test]
    fn names_with_markup_and_commas_stay_text_and_every_string_has_its_line() {
        let agreement = Agreement {
            session: SessionId([3; 16]),
            revision: Revision(1),
            ensemble: "Trio <Wend>".parse().expect("a name"),
            tuning: Tuning::default(),
            tolerance: Tolerance::default(),
            round: Round(2),
            called: None,
        };
        let name: Name = "Anna \"<b>\", of Wend".parse().expect("a name");
        let harp = harp_file::preset("lever-22").expect("a preset");
        let mut standings = vec![Standing::Holds(Cents(0.25)); harp.len()];
        standings[1] = Standing::NotHeard;
        standings[2] = Standing::WillNotHold(Cents(-9.0));
        let readiness = Readiness::judged(standings);
        let session = SessionImage::of(&agreement, vec![SeatImage::of(4, &name, &harp, &readiness)]);
        let csv = csv(&session);
        assert_eq!(csv.lines().count(), 1 + harp.len());
        assert!(csv.contains("4,\"Anna \"\"<b>\"\", of Wend\","), "{csv}");
        assert!(
            csv.lines().nth(1).is_some_and(|line| line.ends_with(",holds,0.25")),
            "{csv}"
        );
        assert!(
            csv.lines().nth(2).is_some_and(|line| line.ends_with(",not-heard,")),
            "{csv}"
        );
        let page = page(&session, "", &Words::english());
        assert!(
            page.contains("Trio &lt;Wend&gt;") && page.contains("Anna &quot;&lt;b&gt;&quot;, of Wend"),
            "{page}"
        );
        assert!(!page.contains("<b>") && page.contains("will not hold"), "{page}");
    }
}

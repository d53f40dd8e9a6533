//! The harp's record on the command line: what the station writes into it, what is written by hand, and what it says.

mod allowance;
mod bad_record;
mod check;
mod findings;
mod harps;
mod renewed;
mod shelf;
mod written;

use crate::running::{objects, run, told};

/// Runs `record` on the data in `data` with `words`; it has to work, and gives its lines.
#[track_caller]
pub(crate) fn record(data: &str, words: &[&str]) -> Vec<String> {
    let (code, lines, complaints) = told(&run(&[&["--data", data, "record"], words].concat()));
    assert_eq!((code, complaints.len()), (Some(0), 0), "{words:?}: {complaints:?}");
    lines
}

/// Runs `record` with `words`, which it has to refuse, and gives its sentence.
#[track_caller]
pub(crate) fn refused(data: &str, words: &[&str]) -> String {
    let (code, _, complaints) = told(&run(&[&["--data", data, "record"], words].concat()));
    assert_eq!((code, complaints.len()), (Some(1), 1), "{words:?}: {complaints:?}");
    complaints[0].clone()
}

/// Nine daily tunings of a concert harp as a list of readings: every string is left in tune and found a cent or so off;
/// string 20 (3B) is found eight cents flat from the fifth tuning on.
pub(crate) fn readings() -> String {
    let (_, lines, _) = told(&run(&["targets", "--json"]));
    let mut csv = "tuning,place,a4_hz,temperament,setting,at_unix_ms,string,note,position,hz,sigma_cents\n".to_owned();
    for day in 0..9_u32 {
        let begun_s = 1_730_000_000 + i64::from(day) * 86_400;
        // 2024-10-27T03:33:20Z, checked against `date --utc --date=@1730000000`.
        let date = [
            "10-27", "10-28", "10-29", "10-30", "10-31", "11-01", "11-02", "11-03", "11-04",
        ][day as usize];
        for (place, target) in objects(&lines).iter().enumerate() {
            let (string, note) = (place + 1, target["note"].as_str().expect("note"));
            let hz = target["target_hz"].as_f64().expect("target");
            let wanders = f64::from((day * 7 + place as u32 * 5) % 11) / 5.0 - 1.0;
            let found = if string == 20 && day >= 4 {
                wanders - 8.0
            } else {
                wanders
            };
            for (later, cents) in [(0, found), (3_000, 0.0)] {
                csv += &format!(
                    "2024-{date}T03:33:20Z,home,440,equal,C,{},{string},{note},0,{},0.2\n",
                    begun_s * 1_000 + 20_000 * place as i64 + later,
                    hz * f64::exp2(cents / 1_200.0),
                );
            }
        }
    }
    csv
}

//! A trial hands sound over no faster than it is taken, and advice as soon as it is printed.

use std::process::Command;
use std::time::Duration;

use consort_harp::deed::Deed;
use consort_harp::trial::Trial;
use consort_harp::{Condition, Harpist, Pace, VirtualHarp};

use crate::mirror::{RATE, concert_harp, stage};

const LOOSEN: &str = r#"{"string":26,"word":"Loosen","cents":20.0,"why":"","place":null}"#;

#[cfg(unix)]
#[test]
fn what_a_station_prints_reaches_the_harpist_while_she_plays() {
    // It speaks at once, and again once it has heard two seconds of sound.
    let script = format!(
        "echo ready; echo '{LOOSEN}'; head -c {} > /dev/null; echo '{LOOSEN}'; cat > /dev/null",
        8 * RATE
    );
    let mut trial = Trial::start(Command::new("sh").args(["-c", &script]), RATE, false).expect("a shell");
    let mut before = Vec::new();
    assert!(trial.is_ready(Duration::from_secs(10), |line| before.push(line.to_owned())));
    assert_eq!(before, ["ready", LOOSEN]);
    let harp = VirtualHarp::new(&concert_harp(), &Condition::sound(1), stage());
    let mut harpist = Harpist::new(harp, Pace::PROFESSIONAL, false, 1);
    let (mut said, mut turned) = (Vec::new(), false);
    while harpist.now_s() < 6.0 {
        trial
            .step(&mut harpist, |time_s, line| said.push((time_s, line.to_owned())))
            .expect("it takes the sound");
        turned |= harpist
            .take_log()
            .iter()
            .any(|done| matches!(done.deed, Deed::Turned { degrees, .. } if degrees < 0.0));
    }
    trial.end(|_| {}).expect("it ends");
    assert_eq!(said.len(), 1, "{said:?}");
    let heard_s = said[0].0;
    // What may wait in the pipe is 60 ms of sound; the rest is the shell's own delay.
    assert!((2.0..2.5).contains(&heard_s), "she read it after {heard_s} s of sound");
    assert!(turned, "she turned down by what she read");
}

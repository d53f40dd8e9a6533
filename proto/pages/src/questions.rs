//! What the leader is asked: who may come in, whose seat may change hands, which measured pitch is agreed on.

use consort_proto::message::Proposal;
use consort_proto::{Name, ReferencePitch};
use consort_words::{Arg, Key, Words};
use serde_json::json;

use crate::board::tenths;
use crate::image::SessionImage;
use crate::question::Question;

/// What the leader of `session` is asked, the most pressing first.
pub(crate) fn questions(session: &SessionImage<'_>, words: &Words) -> Vec<Question> {
    let say = |key| words.say(key, &[]);
    let knocking = session.knocking.iter().map(|(name, key)| {
        let args = [("name", Arg::from(name.as_str())), ("tag", Arg::from(key.tag()))];
        let station = key.to_string();
        Question::new(
            words.say(Key::JoiningKnocking, &args),
            [
                (
                    say(Key::JoiningKnockingYes),
                    json!({"order": "admit", "station": station}),
                ),
                (
                    say(Key::JoiningKnockingNo),
                    json!({"order": "decline", "station": station}),
                ),
            ],
        )
    });
    let wanted = session.seats.iter().filter_map(|seat| {
        let (name, key) = seat.wanted_by?;
        let args = [
            ("name", Arg::from(name.as_str())),
            ("tag", Arg::from(key.tag())),
            ("seat", Arg::from(seat.seat.to_string())),
            ("holder", Arg::from(seat.name.as_str())),
        ];
        let answer = |yes: bool| json!({"order": "give-up", "seat": seat.seat, "yes": yes});
        Some(Question::new(
            words.say(Key::SeatWanted, &args),
            [
                (say(Key::SeatWantedYes), answer(true)),
                (say(Key::SeatWantedNo), answer(false)),
            ],
        ))
    });
    let proposed = session
        .proposal
        .iter()
        .map(|(name, proposal)| measured(*name, *proposal, session, words));
    let next = session.next_pitch.map(|a4| {
        let pitch = [("pitch", Arg::from(a4.hz().get().to_string()))];
        let answer = (say(Key::NextPitchNo), json!({"order": "next-pitch", "hz": null}));
        Question::new(words.say(Key::NextPitchSays, &pitch), [answer])
    });
    let watching = session.watching.iter().map(|&(key, granted)| {
        let tag = [("tag", Arg::from(key.tag()))];
        let (says, answer) = match granted {
            true => (Key::WatchingMay, Key::WatchingRevoke),
            false => (Key::WatchingSays, Key::WatchingGrant),
        };
        let order = json!({"order": "deputy", "station": key.to_string(), "granted": !granted});
        Question::new(words.say(says, &tag), [(say(answer), order)])
    });
    knocking
        .chain(wanted)
        .chain(proposed)
        .chain(next)
        .chain(watching)
        .collect()
}

/// A pitch that `name` has measured: to half a hertz, which is as fine as anybody agrees, and never agreed by itself.
fn measured(name: Option<&Name>, proposal: Proposal, session: &SessionImage<'_>, words: &Words) -> Question {
    let agreed = session.agreement.tuning.a4.hz();
    let name = name.map_or_else(|| words.say(Key::ProposalOwn, &[]), |name| name.to_string());
    let measured = proposal.a4.hz();
    let off = measured.cents_above(agreed);
    let half = (measured.get() * 2.0).round() / 2.0;
    let half = ReferencePitch::new(half).unwrap_or(proposal.a4).hz().get();
    let near = off.is_within(session.agreement.tolerance.middle) || half == agreed.get();
    let args = [
        ("name", Arg::from(name)),
        ("pitch", Arg::from(((measured.get() * 10.0).round() / 10.0).to_string())),
        ("cents", Arg::from(tenths(proposal.sigma).to_string())),
        ("off", Arg::from(words.cents_apart(off))),
        ("agreed", Arg::from(agreed.get().to_string())),
    ];
    let pitch = [("pitch", Arg::from(half.to_string()))];
    let keep = (words.say(Key::ProposalNo, &args), json!({"order": "drop-proposal"}));
    let now = (
        words.say(Key::ProposalYes, &pitch),
        json!({"order": "pitch", "hz": half}),
    );
    let next = (
        words.say(Key::ProposalNext, &pitch),
        json!({"order": "next-pitch", "hz": half}),
    );
    if half == agreed.get() {
        Question::new(words.say(Key::ProposalNear, &args), [keep])
    } else if near {
        Question::new(words.say(Key::ProposalNear, &args), [keep, now, next])
    } else {
        Question::new(words.say(Key::ProposalSays, &args), [now, next, keep])
    }
}

//! What stations and coordinators say to each other, as it stands in a logbook.

use consort_proto::message::{Proposal, Refusal};
use consort_proto::{Hello, ToCoordinator, ToStation};

use crate::{choices, fields};

fields! {
    Hello { name, harp, token, process, newest }
    Proposal { a4, sigma }
}

choices! {
    ToCoordinator {
        "hello" Hello(hello),
        "reports" Reports(reports),
        "beat" Beat,
        "leave" Leave,
        "share" PairStart(share),
        "proof" PairConfirm { name, proof },
        "knock" Knock(name),
        "take over" TakeOver { seat },
        "give up" GiveUp { seat, yes },
        "help" Help(wanted),
        "propose" Propose(proposal),
    }
    ToStation {
        "welcome" Welcome { session, epoch, acked, tenure },
        "agreement" Agreement(document),
        "acked" Acked(sequence),
        "beat" Beat { epoch, revision },
        "refused" Refused(why),
        "share" PairReply { session, share },
        "proof" PairAccept { ensemble, proof },
        "admitted" Admitted { ensemble },
        "take over asked" TakeOverAsked { seat, name, by },
        "take over denied" TakeOverDenied { seat },
        "places" Places(places),
        "tones" Tones { allowed },
    }
    Refusal {
        "not invited" NotInvited,
        "joining closed" JoiningClosed,
        "removed" Removed,
        "superseded" Superseded,
        "full" Full,
        "misspoke" Misspoke,
        "wrong code" WrongCode,
        "resting" Resting { left },
        "not now" NotNow,
        "asked" Asked,
        "declined" Declined,
        "copied" Copied,
        "seat taken" SeatTaken,
    }
}

//! The pages of both programs: the board, the leader's control, the harpist's desk and her harp's record.
//!
//! This crate holds the files of the pages, the shape of the data that each page receives (every sentence finished, so
//! that a page only sets text), the guard in front of pages that may change something, and the stream that keeps a
//! page fresh.
//! It opens no socket: the programs bind their listeners and hand in routers.

mod asset;
mod board;
mod control;
mod desk;
mod guard;
mod hand;
mod harp;
mod headline;
mod image;
mod links;
mod listening;
mod order;
mod proposal;
mod question;
mod questions;
mod record;
mod remaining;
mod seat;
mod stream;
mod together;
mod viewing;
mod watch;

pub use asset::{control_files, desk_files, record_files};
pub use board::BoardPage;
pub use control::{Cheapest, ControlPage, SettingChoice, Station, TemperamentChoice, Tolerances};
pub use desk::{DeskPage, DeskPedal, DeskPedals, DeskString, KeyTurn, StringInHand, Telling};
pub use guard::{Guard, same, with_headers};
pub use hand::Hand;
pub use harp::{HarpShape, StringShape};
pub use image::{CodeImage, Presence, SeatImage, SessionImage};
pub use links::{Links, Qr};
pub use listening::{ListeningPage, ListeningSound};
pub use order::ChangeBody;
pub use proposal::{Consequence, NotAProposal, Proposal};
pub use question::{Answer, Question};
pub use record::{
    RecordAllowance, RecordAllowances, RecordAllowed, RecordFinding, RecordLength, RecordPage, RecordReplacement,
    RecordStepCell, RecordStepRow, RecordSteps, RecordString,
};
pub use remaining::{RegisterRemaining, Remaining, RemainsRow, RemainsTable, remaining};
pub use seat::{BoardHarp, StringState};
pub use stream::{Pace, paced, stream};
pub use together::{Called, CalledHarp, RegisterShown, Together};
pub use viewing::{VIEWERS_MAX, board, board_behind};
pub use watch::{CheapestPitch, age_says, room_says};

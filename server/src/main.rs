//! The coordinator: opens a session, holds the agreement, shows the board.

fn main() {}

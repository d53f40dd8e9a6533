//! How to join and where to look, as text and as pictures for a camera.

use qrcode::{Color, QrCode};
use serde::Serialize;

/// How to join and where to look, each also as a picture for a camera.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Links {
    /// Where the coordinator is, for a station that does not find it by itself.
    pub address: String,
    /// The tag of the coordinator's key, which a station names when a code does not match.
    pub tag: String,
    /// The join link.
    pub join: String,
    /// The join link as a QR code; null when it is too long for one.
    pub join_qr: Option<Qr>,
    /// The board's address.
    pub board: String,
    /// The board's address as a QR code; null when it is too long for one.
    pub board_qr: Option<Qr>,
}

/// A QR code (ISO/IEC 18004) as an SVG path of dark squares, one unit each.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Qr {
    /// Squares along one side, without the quiet zone of four that has to stay light around them.
    pub side: usize,
    /// The path data of the dark squares.
    pub path: String,
}

impl Links {
    /// The coordinator's `address` and the `tag` of its key, the `join` link and the address of the `board`, the last two
    /// with their pictures.
    pub fn new(address: String, tag: String, join: String, board: String) -> Self {
        Self {
            address,
            tag,
            join_qr: Qr::of(&join),
            board_qr: Qr::of(&board),
            join,
            board,
        }
    }
}

impl Qr {
    /// `text` as a QR code; `None` when it is longer than the largest code holds.
    pub fn of(text: &str) -> Option<Self> {
        let code = QrCode::new(text).ok()?;
        let side = code.width();
        let colors = code.to_colors();
        let mut path = String::new();
        for (y, row) in colors.chunks(side).enumerate() {
            let mut x = 0;
            while x < side {
                let dark = row[x..].iter().take_while(|color| **color == Color::Dark).count();
                if dark > 0 {
                    path.push_str(&format!("M{x} {y}h{dark}v1h-{dark}z"));
                }
                x += dark.max(1);
            }
        }
        Some(Self { side, path })
    }
}

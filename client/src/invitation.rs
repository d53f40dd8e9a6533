//! What the leader gives to a player: a code, a join link, or the coordinator's address, all typed into one place.

use std::net::SocketAddr;
use std::str::FromStr;

use consort_link::Event;
use consort_proto::code::NotAJoinCode;
use consort_proto::join::NotAJoinLink;
use consort_proto::{JoinCode, JoinLink, discovery};

/// A way to the coordinator that a player was given.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum Invitation {
    /// The code on the leader's screen.
    Code(JoinCode),
    /// The join link.
    Link(JoinLink),
    /// The address beside the code.
    Address(SocketAddr),
}

/// Why a text is none of them.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
pub enum NotAnInvitation {
    /// It looks like a code.
    #[error(transparent)]
    Code(#[from] NotAJoinCode),
    /// It looks like a join link.
    #[error(transparent)]
    Link(#[from] NotAJoinLink),
    /// It looks like nothing that is known here.
    #[error(
        "“{0}” is neither a code nor a join link: type the 8 digits that the leader shows, or paste the whole join link"
    )]
    Neither(String),
}

impl From<Invitation> for Event {
    fn from(invitation: Invitation) -> Self {
        match invitation {
            Invitation::Code(code) => Self::JoinCode(code),
            Invitation::Link(link) => Self::JoinLink(link),
            Invitation::Address(address) => Self::Address(address),
        }
    }
}

impl FromStr for Invitation {
    type Err = NotAnInvitation;

    fn from_str(text: &str) -> Result<Self, NotAnInvitation> {
        if text.contains("://") {
            return Ok(Self::Link(text.parse()?));
        }
        if let Some(address) = address(text) {
            return Ok(Self::Address(address));
        }
        match text.parse() {
            Ok(code) => Ok(Self::Code(code)),
            Err(NotAJoinCode::Character(_) | NotAJoinCode::Digits(0)) => {
                Err(NotAnInvitation::Neither(text.trim().chars().take(60).collect()))
            }
            Err(why) => Err(why.into()),
        }
    }
}

/// An address with or without its port.
pub fn address(text: &str) -> Option<SocketAddr> {
    let text = text.trim();
    let without_port = || text.parse().ok().map(|ip| SocketAddr::new(ip, discovery::PORT));
    text.parse().ok().or_else(without_port)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[rustfmt::skip]
    fn one_field_takes_a_code_a_link_or_an_address() {
        let link = format!("consort://192.168.1.20:4700/{}/{}", "a".repeat(52), "a".repeat(26));
        for (text, meant) in [
            ("4829 1372",          Invitation::Code("48291372".parse().expect("a code"))),
            (" 4829-1372 ",        Invitation::Code("48291372".parse().expect("a code"))),
            (link.as_str(),        Invitation::Link(link.parse().expect("a link"))),
            ("192.168.1.20",       Invitation::Address(([192, 168, 1, 20], 4700).into())),
            ("192.168.1.20:4800",  Invitation::Address(([192, 168, 1, 20], 4800).into())),
        ] {
            assert_eq!(text.parse(), Ok(meant), "{text}");
        }
    }

    #[test]
    #[rustfmt::skip]
    fn what_is_none_of_them_says_what_is_wrong_with_it() {
        for (text, says) in [
            ("hello",              "“hello” is neither a code nor a join link"),
            ("",                   "type the 8 digits"),
            ("192.168.1",          "type the 8 digits"),
            ("4829 1373",          "one digit of the code looks off"),
            ("4829 137",           "8 digits, as in 4829 1372, not 7"),
            ("consort://x",        "the address “x”"),
            ("https://hall/",      "starts with consort://"),
        ] {
            let why = text.parse::<Invitation>().expect_err(text).to_string();
            assert!(why.contains(says), "{text}: {why}");
        }
    }
}

//! Where other computers reach this one.

use std::net::{IpAddr, SocketAddr};

use consort_proto::discovery;

/// The addresses at which a socket bound to `bound` can be reached, the likeliest first; at most as many as a join link
/// carries.
///
/// Without any network it is this computer alone.
pub(crate) fn reachable(bound: SocketAddr) -> Vec<SocketAddr> {
    if !bound.ip().is_unspecified() {
        return vec![bound];
    }
    likeliest(own())
        .into_iter()
        .map(|ip| SocketAddr::new(ip, bound.port()))
        .collect()
}

/// Every address of this computer, in order; none where the system does not say.
pub(crate) fn own() -> Vec<IpAddr> {
    let interfaces = if_addrs::get_if_addrs().unwrap_or_default();
    let mut addresses: Vec<IpAddr> = interfaces.iter().map(if_addrs::Interface::ip).collect();
    addresses.sort_unstable();
    addresses
}

/// An address as a person types it: without its port where that is the usual one.
pub(crate) fn typed(address: SocketAddr) -> String {
    match address.port() {
        discovery::PORT => address.ip().to_string(),
        _ => address.to_string(),
    }
}

/// A join link carries no more.
const ADDRESSES_MAX: usize = 8;

/// Drops what nobody else can reach and sorts the rest; this computer alone where nothing is left.
fn likeliest(addresses: Vec<IpAddr>) -> Vec<IpAddr> {
    let mut reachable: Vec<IpAddr> = addresses
        .into_iter()
        // IPv6 listens only where it was asked for.
        .filter(|ip| ip.is_ipv4() && !ip.is_loopback() && !ip.is_unspecified())
        .collect();
    reachable.sort_by_key(|ip| (rank(*ip), *ip));
    reachable.dedup();
    reachable.truncate(ADDRESSES_MAX);
    if reachable.is_empty() {
        reachable.push(IpAddr::from([127, 0, 0, 1]));
    }
    reachable
}

/// Home and school networks first; the range of container bridges and self-given addresses last.
fn rank(ip: IpAddr) -> u8 {
    match ip {
        IpAddr::V4(ip) => match ip.octets() {
            [192, 168, ..] => 0,
            [10, ..] => 1,
            [172, 16..=31, ..] => 3,
            [169, 254, ..] => 4,
            _ => 2,
        },
        IpAddr::V6(_) => 5,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rooms_own_network_comes_first_and_loopback_only_alone() {
        for (all, expected) in [
            (
                "127.0.0.1 172.17.0.1 10.0.0.4 192.168.1.20 ::1 fe80::1",
                "192.168.1.20 10.0.0.4 172.17.0.1",
            ),
            ("169.254.7.7 127.0.0.1", "169.254.7.7"),
            ("127.0.0.1 ::1", "127.0.0.1"),
            ("", "127.0.0.1"),
        ] {
            let parse = |text: &str| -> Vec<IpAddr> {
                text.split_whitespace().map(|ip| ip.parse().expect("address")).collect()
            };
            assert_eq!(likeliest(parse(all)), parse(expected), "{all}");
        }
    }

    #[test]
    fn a_link_never_carries_more_than_it_may() {
        let many = (0..40).map(|last| IpAddr::from([10, 1, 1, last])).collect();
        assert_eq!(likeliest(many).len(), ADDRESSES_MAX);
    }
}

//! This laptop's own networks.

use std::net::{IpAddr, Ipv4Addr};

/// Whether `address` is of a network that this laptop is in itself, so that nothing but that network, or a firewall, can
/// stand between; never for this laptop's own loopback.
pub(crate) fn is_near(address: IpAddr) -> bool {
    let IpAddr::V4(there) = address else { return false };
    let interfaces = if_addrs::get_if_addrs().unwrap_or_default();
    let own = interfaces.iter().filter_map(|interface| match &interface.addr {
        if_addrs::IfAddr::V4(own) if !own.ip.is_loopback() => Some((own.ip, own.netmask)),
        if_addrs::IfAddr::V4(_) | if_addrs::IfAddr::V6(_) => None,
    });
    own.into_iter().any(|(here, mask)| is_one_network(here, there, mask))
}

fn is_one_network(here: Ipv4Addr, there: Ipv4Addr, mask: Ipv4Addr) -> bool {
    let of = |address: Ipv4Addr| u32::from(address) & u32::from(mask);
    of(here) == of(there) && here != there
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_laptops_of_one_network_share_what_the_mask_covers() {
        for (here, there, mask, one) in [
            ("192.168.4.23", "192.168.4.9", "255.255.255.0", true),
            ("192.168.4.23", "192.168.5.9", "255.255.255.0", false),
            ("10.1.200.4", "10.1.3.9", "255.255.0.0", true),
            ("192.168.4.23", "192.168.4.23", "255.255.255.0", false),
        ] {
            let parsed = |text: &str| -> Ipv4Addr { text.parse().expect("an address") };
            assert_eq!(
                is_one_network(parsed(here), parsed(there), parsed(mask)),
                one,
                "{there}"
            );
        }
    }
}

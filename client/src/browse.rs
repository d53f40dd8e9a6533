//! Looking for coordinators by multicast DNS: what is found is a hint where one may be, never a proof.

use std::net::{IpAddr, SocketAddr};
use std::time::Duration;

use consort_link::{Event, Stranger};
use consort_proto::discovery::{SERVICE, TXT_ENSEMBLE, TXT_TAG};
use mdns_sd::{IfKind, ResolvedService, ServiceDaemon, ServiceEvent};
use tokio::sync::mpsc;

use crate::config::Discovery;

/// Why nothing can be found on this network; a join link or an address does all the same.
#[derive(Debug, thiserror::Error)]
#[error("coordinators cannot be looked for on this network ({0}): use the join link, or the code with the address")]
pub(crate) struct NotLooking(#[from] mdns_sd::Error);

/// The question is asked anew so often: the answers to it may get lost, and by itself it would soon be asked but rarely.
const ASK_EVERY: Duration = Duration::from_secs(5);

/// A tag is eight letters and digits; longer ones are not ours.
const TAG_MAX: usize = 16;

/// Looks for coordinators and tells `events` of each sighting, until nobody listens any more.
pub(crate) async fn look(discovery: Discovery, events: mpsc::Sender<Event>) -> Result<(), NotLooking> {
    let mut daemon = start(discovery)?;
    let mut network = addresses();
    while !events.is_closed() {
        let network_now = addresses();
        if network_now != network {
            // The daemon does not notice an interface that went and came back, so it is started anew.
            network = network_now;
            let _ = daemon.shutdown();
            daemon = start(discovery)?;
            let _ = events.send(Event::NetworkChanged).await;
        }
        let found = daemon.browse(SERVICE)?;
        let until = tokio::time::Instant::now() + ASK_EVERY;
        while let Ok(Ok(event)) = tokio::time::timeout_at(until, found.recv_async()).await {
            if let ServiceEvent::ServiceResolved(service) = event
                && let Some(sighted) = sighting(&service)
                && events.send(sighted).await.is_err()
            {
                break;
            }
        }
        daemon.stop_browse(SERVICE)?;
        // Without this, a channel that was closed at once would make this loop spin.
        tokio::time::sleep_until(until).await;
    }
    // Whether it ends in good order makes no difference to anyone any more.
    let _ = daemon.shutdown();
    Ok(())
}

fn start(discovery: Discovery) -> Result<ServiceDaemon, mdns_sd::Error> {
    let daemon = ServiceDaemon::new_with_port(discovery.port)?;
    if discovery.loopback_only {
        daemon.disable_interface(IfKind::All)?;
        daemon.enable_interface(IfKind::LoopbackV4)?;
    }
    Ok(daemon)
}

/// This laptop's own addresses; none where the system does not say.
fn addresses() -> Vec<IpAddr> {
    let interfaces = if_addrs::get_if_addrs().unwrap_or_default();
    let mut addresses: Vec<IpAddr> = interfaces.iter().map(if_addrs::Interface::ip).collect();
    addresses.sort_unstable();
    addresses
}

fn sighting(service: &ResolvedService) -> Option<Event> {
    let tag = service
        .get_property_val_str(TXT_TAG)
        .filter(|tag| tag.len() <= TAG_MAX)?;
    let port = service.get_port();
    // A link-local address of IPv6 says nothing without its interface, and every network here has IPv4.
    let mut addresses: Vec<SocketAddr> = service
        .get_addresses_v4()
        .into_iter()
        .map(|ip| (ip, port).into())
        .collect();
    addresses.sort_unstable();
    (!addresses.is_empty()).then(|| Event::Sighted {
        who: Stranger {
            tag: tag.to_owned(),
            // A hint like everything here; what cannot be a name is none.
            name: service
                .get_property_val_str(TXT_ENSEMBLE)
                .and_then(|name| name.parse().ok()),
        },
        addresses,
    })
}

//! Looking for coordinators by multicast DNS: what is found is a hint where one may be, never a proof.

use std::net::SocketAddr;
use std::time::Duration;

use consort_link::Event;
use consort_proto::discovery::{SERVICE, TXT_TAG};
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
    let daemon = ServiceDaemon::new_with_port(discovery.port)?;
    if discovery.loopback_only {
        daemon.disable_interface(IfKind::All)?;
        daemon.enable_interface(IfKind::LoopbackV4)?;
    }
    while !events.is_closed() {
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
        tag: tag.to_owned(),
        addresses,
    })
}

//! The session's announcement by multicast DNS: a hint where the coordinator is, never a proof.

use consort_proto::discovery::{SERVICE, TXT_ENSEMBLE, TXT_TAG};
use consort_proto::{Fingerprint, Name};
use mdns_sd::{DaemonEvent, IfKind, Receiver, ServiceDaemon, ServiceInfo};

use crate::config::Discovery;

/// An announcement on the network; [`Advert::withdraw`] takes it back.
pub(crate) struct Advert {
    daemon: ServiceDaemon,
    full_name: String,
}

/// Why the session is not announced; it can be joined by its link all the same.
#[derive(Debug, thiserror::Error)]
#[error("the session is not announced on this network ({0}): stations need the join link or the address")]
pub(crate) struct NotAnnounced(#[from] mdns_sd::Error);

impl Advert {
    /// Announces the session of `ensemble` at UDP `port`.
    ///
    /// The name carries the key's tag, so that two ensembles of one name in one building do not rename each other.
    pub(crate) fn announce(
        discovery: Discovery,
        ensemble: &Name,
        key: Fingerprint,
        port: u16,
    ) -> Result<Self, NotAnnounced> {
        let tag = key.tag();
        let daemon = ServiceDaemon::new_with_port(discovery.port)?;
        if discovery.loopback_only {
            daemon.disable_interface(IfKind::All)?;
            daemon.enable_interface(IfKind::LoopbackV4)?;
        }
        watch(daemon.monitor()?)?;
        let instance = instance_name(ensemble, &tag);
        let host = format!("consort-{tag}.local.");
        let properties = [(TXT_TAG, tag.as_str()), (TXT_ENSEMBLE, ensemble.as_str())];
        let service = ServiceInfo::new(SERVICE, &instance, &host, "", port, &properties[..])?.enable_addr_auto();
        let full_name = service.get_fullname().to_owned();
        daemon.register(service)?;
        Ok(Self { daemon, full_name })
    }

    /// Takes the announcement back and waits until the network has been told.
    pub(crate) async fn withdraw(self) {
        // Whoever still lists the session finds out when dialling; there is nothing to do about it here.
        if let Ok(told) = self.daemon.unregister(&self.full_name) {
            let _ = tokio::time::timeout(WITHDRAW_WITHIN, told.recv_async()).await;
        }
        let _ = self.daemon.shutdown();
    }
}

/// A withdrawal is one packet; longer is not worth waiting.
const WITHDRAW_WITHIN: std::time::Duration = std::time::Duration::from_secs(1);

/// A DNS label is at most this long (RFC 1035, §2.3.4); a longer instance name is announced but never found.
const LABEL_MAX: usize = 63;

/// The name under which the session is listed.
fn instance_name(ensemble: &Name, tag: &str) -> String {
    let room = LABEL_MAX - tag.len() - 1;
    let mut name = String::new();
    for c in ensemble.as_str().chars().filter(|&c| c != '.') {
        if name.len() + c.len_utf8() > room {
            break;
        }
        name.push(c);
    }
    format!("{} {tag}", name.trim_end())
}

/// Reads what the daemon has to say: some of its failures are told nowhere else.
fn watch(events: Receiver<DaemonEvent>) -> Result<(), mdns_sd::Error> {
    let watching = std::thread::Builder::new()
        .name("announcement".to_owned())
        .spawn(move || {
            while let Ok(event) = events.recv() {
                match event {
                    DaemonEvent::Error(why) => tracing::warn!(%why, "the announcement has trouble"),
                    DaemonEvent::NameChange(change) => tracing::warn!(?change, "another service has the name"),
                    other => tracing::debug!(event = ?other, "announcement"),
                }
            }
        });
    watching
        .map(drop)
        .map_err(|cause| mdns_sd::Error::Msg(cause.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_listed_name_fits_a_label_and_keeps_whole_characters() {
        for name in ["Ensemble", "St. Ilse", &"ß".repeat(40), &"🎵".repeat(40)] {
            let listed = instance_name(&name.parse().expect("name"), "abcdefgh");
            assert!(listed.len() <= LABEL_MAX && listed.ends_with(" abcdefgh"), "{listed}");
            assert!(!listed.contains('.'), "{listed}");
        }
    }
}

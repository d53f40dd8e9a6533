//! How the links behave on bad Wi-Fi: timeouts, windows, buffers, and a congestion window that stays as it is.

use std::any::Any;
use std::sync::Arc;
use std::time::{Duration, Instant};

use quinn::congestion::{Controller, ControllerFactory};
use quinn::{AckFrequencyConfig, EndpointConfig, IdleTimeout, TransportConfig, VarInt};
use quinn_proto::HashedConnectionIdGenerator;

use crate::identity::Identity;

/// A link without a packet for this long is gone. Wi-Fi comes back in 2 to 5 s; who is *silent* is judged further in,
/// by heartbeats, and long before.
const IDLE_MS: u32 = 15_000;
/// The first guess at the way there and back, as in one room; the usual 333 ms would make the first retries on a lossy
/// network slow, and a guess that is too low costs a packet said twice.
const FIRST_RTT: Duration = Duration::from_millis(50);
/// How late an acknowledgement may leave that is due at once, as a busy laptop needs: every timeout waits for so long.
const ACKED_WITHIN: Duration = Duration::from_millis(5);
/// Bytes under way on one stream; the largest message is as long.
const STREAM_WINDOW: u32 = 64 * 1024;
/// Bytes under way on one link.
const LINK_WINDOW: u32 = 128 * 1024;
/// Heartbeats that wait to be sent: old ones are worth nothing, so few are kept and the oldest goes first.
const DATAGRAMS_OUT: usize = 8 * 1024;
/// Heartbeats that wait to be read.
const DATAGRAMS_IN: usize = 16 * 1024;
/// Bytes that may be unacknowledged, whatever is lost.
const CONGESTION_WINDOW: u64 = 64 * 1024;

/// The shortest time between two words to stations that their links are gone: a whole ensemble wants to hear it in the
/// moment in which a coordinator is opened again. Each is shorter than the packet that it answers.
const RESET_EVERY: Duration = Duration::from_millis(1);

/// The settings of every link, at both ends.
pub(crate) fn transport() -> Arc<TransportConfig> {
    let mut transport = TransportConfig::default();
    let mut acknowledgements = AckFrequencyConfig::default();
    // What is said here is short, and seldom followed by more within the 25 ms that QUIC waits for it by itself: waiting
    // saves no packet, wakes the other side twice for each, and makes every loss be noticed that much later.
    acknowledgements
        .ack_eliciting_threshold(VarInt::from_u32(0))
        .max_ack_delay(Some(ACKED_WITHIN));
    transport
        .max_idle_timeout(Some(IdleTimeout::from(VarInt::from_u32(IDLE_MS))))
        .initial_rtt(FIRST_RTT)
        .ack_frequency_config(Some(acknowledgements))
        .stream_receive_window(VarInt::from_u32(STREAM_WINDOW))
        .receive_window(VarInt::from_u32(LINK_WINDOW))
        .send_window(u64::from(LINK_WINDOW))
        .max_concurrent_bidi_streams(VarInt::from_u32(1))
        .max_concurrent_uni_streams(VarInt::from_u32(0))
        .datagram_send_buffer_size(DATAGRAMS_OUT)
        .datagram_receive_buffer_size(Some(DATAGRAMS_IN))
        // Messages are small: larger packets gain nothing and probing for them costs.
        .mtu_discovery_config(None)
        .congestion_controller_factory(Arc::new(ConstantWindow));
    Arc::new(transport)
}

/// The settings of a listening endpoint: keys that outlast a restart, so that a restarted coordinator can tell the
/// stations at once that their old links are gone.
pub(crate) fn lasting(identity: &Identity) -> EndpointConfig {
    let secret = identity.secret_for("consort link reset");
    let mut config = EndpointConfig::new(Arc::new(ring::hmac::Key::new(ring::hmac::HMAC_SHA256, &secret)));
    let [a, b, c, d, e, f, g, h, ..] = identity.secret_for("consort link numbers");
    let key = u64::from_le_bytes([a, b, c, d, e, f, g, h]);
    config.min_reset_interval(RESET_EVERY);
    config.cid_generator(move || Box::new(HashedConnectionIdGenerator::from_key(key)));
    config
}

/// A congestion window that does not move.
///
/// After a blackout on a lossy network the usual controllers have shrunk to a few packets, which unacknowledged
/// heartbeats fill, and recovery takes tens of seconds.
/// These links carry less than 8 kB/s by their own limits, so the window may stay open; it must not carry bulk.
#[derive(Clone, Copy, Debug)]
struct ConstantWindow;

impl Controller for ConstantWindow {
    fn on_congestion_event(&mut self, _now: Instant, _sent: Instant, _persistent: bool, _lost: u64) {}

    fn on_mtu_update(&mut self, _mtu: u16) {}

    fn window(&self) -> u64 {
        CONGESTION_WINDOW
    }

    fn clone_box(&self) -> Box<dyn Controller> {
        Box::new(*self)
    }

    fn initial_window(&self) -> u64 {
        CONGESTION_WINDOW
    }

    fn into_any(self: Box<Self>) -> Box<dyn Any> {
        self
    }
}

impl ControllerFactory for ConstantWindow {
    fn build(self: Arc<Self>, _now: Instant, _mtu: u16) -> Box<dyn Controller> {
        Box::new(*self)
    }
}

#[cfg(test)]
mod tests;

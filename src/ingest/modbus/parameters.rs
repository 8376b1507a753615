//! The tuning constants of the Modbus ingest, together with where they come from.

use std::time::Duration;

/// How the links are driven. The link's own timeout is configuration, not tuning.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parameters {
    /// Most registers in one read. Range 1–125; 125 is the limit of functions 03 and 04
    /// (Modbus Application Protocol V1.1b3, 6.3 and 6.4).
    pub registers_per_read: u16,
    /// Most bits in one read. Range 1–2000; 2000 is the limit of functions 01 and 02
    /// (Modbus Application Protocol V1.1b3, 6.1 and 6.2).
    pub bits_per_read: u16,
    /// Longest wait for a connection, name look-up included. Range 0.5–30 s. Two lost SYN packets cost 3 s.
    pub connect_limit: Duration,
    /// Pause before a connection is opened again after the first failure. Range 0.05–5 s. Long enough for a
    /// device with one connection slot to notice that the old one is gone (common practice, no source).
    pub backoff_first: Duration,
    /// The pause doubles with every further failure up to this. Range 1–60 s; a device that returns is then
    /// seen again within this time.
    pub backoff_most: Duration,
    /// Share of every pause that is drawn at random, so that several links through one gateway do not knock
    /// together. Range 0–1.
    pub jitter_share: f64,
    /// Failures in a row after which a unit counts as silent. Range 1–10. One lost frame is noise; two
    /// in a row are not (common practice, no source).
    pub failures_until_silent: u32,
    /// How long a silent unit is left alone while others on its link answer; doubles with every further
    /// failure. Range 1–60 s. Each try costs its neighbours a timeout and a new connection.
    pub rest_first: Duration,
    /// Longest such rest. Range 5–600 s; a unit that returns is seen again within this time.
    pub rest_most: Duration,
    /// How long the points of a merged read that its device refused are read one by one before the whole is tried again;
    /// doubles with every further refusal. Range 10–600 s. A device that refuses while it starts or is being set up is
    /// done within a minute or two; each try costs one request (own choice).
    pub apart_first: Duration,
    /// Longest such time. Range 60–86400 s: a device that never gives the whole is asked for it once an hour, which
    /// nobody notices, and one whose settings were mended needs no restart of the service (own choice).
    pub apart_most: Duration,
    /// Least silence between an RTU reply and the next request. Range 2–50 ms; never less than the 3.5
    /// characters of MODBUS over Serial Line V1.02, 2.5.1.1, whatever is set here. A little more also
    /// catches a reply sent twice (common practice, no source).
    pub frame_gap: Duration,
    /// How long an RTU line must be silent before use, in link timeouts. Range above 1, so that it is longer
    /// than the slowest reply the timeout allows.
    pub quiet_timeouts: f64,
    /// How long to wait for that silence, in link timeouts; beyond it somebody else is talking. Range 5–100.
    pub settle_timeouts: f64,
}

impl Default for Parameters {
    fn default() -> Self {
        Self {
            registers_per_read: 125,
            bits_per_read: 2000,
            connect_limit: Duration::from_secs(4),
            backoff_first: Duration::from_millis(250),
            backoff_most: Duration::from_secs(15),
            jitter_share: 0.5,
            failures_until_silent: 2,
            rest_first: Duration::from_secs(5),
            rest_most: Duration::from_secs(60),
            apart_first: Duration::from_secs(60),
            apart_most: Duration::from_secs(3600),
            frame_gap: Duration::from_millis(5),
            quiet_timeouts: 1.5,
            settle_timeouts: 20.0,
        }
    }
}

impl Parameters {
    /// The pause before a connection is opened again after `failures` failures in a row; `random` is drawn
    /// evenly from 0 to 1.
    pub(super) fn backoff(&self, failures: u32, random: f64) -> Duration {
        let full = doubled(self.backoff_first, failures, self.backoff_most);
        full.mul_f64(1.0 - self.jitter_share.clamp(0.0, 1.0) * random)
    }

    /// How long a unit or an address that failed `failures` times in a row is left alone.
    pub(super) fn rest(&self, failures: u32) -> Duration {
        let beyond = failures.saturating_sub(self.failures_until_silent) + 1;
        doubled(self.rest_first, beyond, self.rest_most)
    }

    /// How long the points of a merged read that was refused `refusals` times are read one by one.
    pub(super) fn apart(&self, refusals: u32) -> Duration {
        doubled(self.apart_first, refusals, self.apart_most)
    }
}

/// `first` for one failure, twice as much for each further one, at most `most`.
fn doubled(first: Duration, failures: u32, most: Duration) -> Duration {
    let doublings = failures.saturating_sub(1).min(20);
    first.saturating_mul(1 << doublings).min(most)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn backoff_doubles_up_to_its_limit_and_never_vanishes() {
        let parameters = Parameters::default();
        assert_eq!(parameters.backoff(1, 0.0), Duration::from_millis(250));
        assert_eq!(parameters.backoff(3, 0.0), Duration::from_secs(1));
        assert_eq!(parameters.backoff(u32::MAX, 0.0), parameters.backoff_most);
        assert_eq!(parameters.backoff(1, 1.0), Duration::from_millis(125));
    }

    #[test]
    fn a_silent_unit_rests_longer_with_every_failure_up_to_the_limit() {
        let parameters = Parameters::default();
        assert_eq!(parameters.rest(2), parameters.rest_first);
        assert_eq!(parameters.rest(3), parameters.rest_first * 2);
        assert_eq!(parameters.rest(100), parameters.rest_most);
    }
}

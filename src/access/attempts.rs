//! How often somebody has tried to sign in, and how long they must wait.
//!
//! An attempt counts as failed until it has succeeded, so that many at once gain nothing. Time is an argument.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};

use lauter_core::reading::Moment;

use super::SignInRefused;
use super::parameters::PARAMETERS;

#[derive(Clone, Debug, PartialEq, Eq, Hash)]
enum Key {
    /// Of IPv6 the network part: whoever has one address there has them all.
    Address(IpAddr),
    Name(String),
}

#[derive(Clone, Copy, Debug)]
struct Failures {
    count: u32,
    last: Moment,
}

#[derive(Debug, Default)]
pub struct Attempts {
    failures: HashMap<Key, Failures>,
}

fn keys(address: IpAddr, name: &str) -> [(Key, u32); 2] {
    let network = match address.to_canonical() {
        IpAddr::V6(ip) => {
            let [a, b, c, d, ..] = ip.segments();
            Ipv6Addr::new(a, b, c, d, 0, 0, 0, 0).into()
        }
        ip @ IpAddr::V4(_) => ip,
    };
    let name = name.chars().take(64).collect();
    [
        (Key::Address(network), PARAMETERS.failures_of_address),
        (Key::Name(name), PARAMETERS.failures_of_name),
    ]
}

impl Failures {
    fn wait_s(self, free: u32, now: Moment) -> f64 {
        let Some(beyond) = self.count.checked_sub(free) else {
            return 0.0;
        };
        let doublings = i32::try_from(beyond.min(20)).unwrap_or(20);
        let whole = (PARAMETERS.first_wait_s * 2f64.powi(doublings)).min(PARAMETERS.longest_wait_s);
        whole - now.since(self.last)
    }
}

impl Attempts {
    /// Notes an attempt, or tells how long to wait; then nothing is noted.
    pub fn begin(&mut self, address: IpAddr, name: &str, now: Moment) -> Result<(), SignInRefused> {
        let keys = keys(address, name);
        self.failures
            .retain(|_, failures| now.since(failures.last) < PARAMETERS.forgotten_after_s);
        let waits = keys.iter().filter_map(|(key, free)| {
            let failures = self.failures.get(key)?;
            Some(failures.wait_s(*free, now))
        });
        let wait_s = waits.fold(0.0, f64::max);
        if wait_s > 0.0 {
            return Err(SignInRefused::Wait(wait_s.ceil() as u64));
        }
        for (key, _) in keys {
            let failures = self.failures.entry(key).or_insert(Failures {
                count: 0,
                last: now,
            });
            failures.count += 1;
            failures.last = now;
        }
        self.forget_oldest();
        Ok(())
    }

    pub fn succeeded(&mut self, address: IpAddr, name: &str) {
        for (key, _) in keys(address, name) {
            self.failures.remove(&key);
        }
    }

    fn forget_oldest(&mut self) {
        while self.failures.len() > PARAMETERS.remembered {
            let oldest = self.failures.iter().min_by_key(|(_, known)| known.last);
            let Some(key) = oldest.map(|(key, _)| key.clone()) else {
                return;
            };
            self.failures.remove(&key);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: f64) -> Moment {
        Moment::from_seconds(seconds)
    }

    fn address(last: u8) -> IpAddr {
        [192, 0, 2, last].into()
    }

    #[test]
    fn an_address_may_slip_some_times_and_then_waits_longer_and_longer() {
        let mut attempts = Attempts::default();
        for _ in 0..PARAMETERS.failures_of_address {
            attempts.begin(address(1), "anna", at(0.0)).unwrap();
        }
        assert_eq!(
            attempts.begin(address(1), "anna", at(0.0)),
            Err(SignInRefused::Wait(2))
        );
        // The name is not shut for others.
        attempts.begin(address(2), "anna", at(0.0)).unwrap();
        attempts.begin(address(1), "bert", at(2.0)).unwrap();
        assert_eq!(
            attempts.begin(address(1), "cleo", at(2.0)),
            Err(SignInRefused::Wait(4))
        );
    }

    #[test]
    fn guesses_from_many_addresses_at_one_name_are_slowed_too() {
        let mut attempts = Attempts::default();
        for last in 0..PARAMETERS.failures_of_name {
            attempts
                .begin(address(last as u8), "anna", at(0.0))
                .unwrap();
        }
        assert!(attempts.begin(address(200), "anna", at(0.0)).is_err());
        attempts.begin(address(200), "bert", at(0.0)).unwrap();
    }

    #[test]
    fn who_succeeds_or_stays_away_begins_anew() {
        let mut attempts = Attempts::default();
        for _ in 0..PARAMETERS.failures_of_address {
            attempts.begin(address(1), "anna", at(0.0)).unwrap();
        }
        attempts.succeeded(address(1), "anna");
        attempts.begin(address(1), "anna", at(0.0)).unwrap();
        for _ in 1..PARAMETERS.failures_of_address {
            attempts.begin(address(1), "anna", at(0.0)).unwrap();
        }
        assert!(attempts.begin(address(1), "anna", at(0.0)).is_err());
        let later = at(PARAMETERS.forgotten_after_s);
        attempts.begin(address(1), "anna", later).unwrap();
        assert_eq!(attempts.failures.len(), 2);
    }

    #[test]
    fn the_addresses_of_one_network_are_one_and_the_memory_is_bounded() {
        let mut attempts = Attempts::default();
        for host in 0..u32::from(PARAMETERS.failures_of_address as u16) {
            let ip: IpAddr = format!("2001:db8::{host:x}").parse().unwrap();
            attempts.begin(ip, &format!("user{host}"), at(0.0)).unwrap();
        }
        let next: IpAddr = "2001:db8::ffff".parse().unwrap();
        assert!(attempts.begin(next, "other", at(0.0)).is_err());
        for n in 0..PARAMETERS.remembered as u32 {
            let ip = IpAddr::from(n.to_be_bytes());
            let _ = attempts.begin(ip, &format!("n{n}"), at(1.0));
        }
        assert!(attempts.failures.len() <= PARAMETERS.remembered);
    }
}

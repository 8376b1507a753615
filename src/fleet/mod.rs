//! Every tun behind one broker, as its retained messages and those since tell of it.
//!
//! Owns the list: what each tun said last and when it was heard. Anybody at the broker can publish anything, so that
//! every text is taken as foreign and the list has a bound. It judges no brew. `listen` brings the messages.

mod listen;

use std::collections::BTreeMap;

use jiff::Timestamp;
use lauter_core::alarm::{AlarmId, AlarmState, Priority};
use lauter_core::projection::Stop;
use lauter_core::supervisor::Phase;
use serde::Deserialize;
use serde::de::DeserializeOwned;

pub use listen::{Listening, start};

/// Tuns on the list. Beyond it somebody floods the broker.
pub const TUNS_BOUND: usize = 1000;
/// Alarms of one tun: sixteen kinds, some of them for each instrument.
const ALARMS_BOUND: usize = 200;
/// A tun that is there says something every ten seconds; silent for this long it is flagged, s.
const SILENT_AFTER_S: f64 = 45.0;

/// What is listened to.
pub const FILTERS: [&str; 3] = [
    "lauterd/+/+/online",
    "lauterd/+/+/overview",
    "lauterd/+/+/alarm/#",
];

/// What a tun says of itself. Unknown members are a newer version's.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct Overview {
    pub time: Timestamp,
    pub brew: Option<String>,
    pub phase: Phase,
    pub elapsed_s: Option<f64>,
    pub kettle_gravity_p: Option<f64>,
    pub stop: Option<Stop>,
    pub page: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
pub struct Alarm {
    pub alarm: AlarmId,
    pub instrument: Option<String>,
    pub to: AlarmState,
    pub priority: Priority,
}

#[derive(Deserialize)]
struct Online {
    online: bool,
}

#[derive(Deserialize)]
struct Stamped {
    time: Timestamp,
}

/// One tun of the list.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FleetTun {
    /// None: it never said.
    pub online: Option<bool>,
    pub overview: Option<Overview>,
    /// By the topic below `alarm/`; those that are not normal.
    alarms: BTreeMap<String, Alarm>,
    pub heard: Option<Timestamp>,
}

/// Whether a tun's figures may be shown as present.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Presence {
    There,
    /// It says nothing although its connection is said to stand.
    Silent,
    /// It has taken leave, or the broker has lost it.
    Gone,
}

/// The list, by site and tun.
#[derive(Clone, Debug, Default)]
pub struct Fleet {
    tuns: BTreeMap<(String, String), FleetTun>,
    /// Whether the broker is reached.
    pub connected: bool,
    pub refused: u64,
}

impl Fleet {
    pub fn tuns(&self) -> impl Iterator<Item = (&str, &str, &FleetTun)> {
        let tuns = self.tuns.iter();
        tuns.map(|((site, name), tun)| (site.as_str(), name.as_str(), tun))
    }

    /// Takes a message. One that the broker had kept was heard when it was sent, by its own time.
    pub fn hear(&mut self, topic: &str, payload: &[u8], retained: bool, now: Timestamp) {
        let mut levels = topic.splitn(5, '/');
        let (Some("lauterd"), Some(site), Some(name), Some(kind), below) = (
            levels.next(),
            levels.next(),
            levels.next(),
            levels.next(),
            levels.next(),
        ) else {
            return;
        };
        let key = (site.to_owned(), name.to_owned());
        if payload.is_empty() {
            // Who clears a tun's retained messages takes it off the list.
            if let "online" | "overview" = kind {
                self.tuns.remove(&key);
            }
            return;
        }
        if !self.tuns.contains_key(&key) && self.tuns.len() == TUNS_BOUND {
            self.refused += 1;
            return;
        }
        let Some(stamped) = read::<Stamped>(payload) else {
            self.refused += 1;
            return;
        };
        let tun = self.tuns.entry(key).or_default();
        let understood = match (kind, below) {
            ("online", None) => read(payload).map(|Online { online }| {
                tun.online = Some(online);
                // The broker says it in its place.
                online
            }),
            ("overview", None) => read(payload).map(|overview| {
                tun.overview = Some(overview);
                true
            }),
            ("alarm", Some(below)) => read(payload).map(|alarm| {
                tun.take_alarm(below, alarm);
                true
            }),
            _ => None,
        };
        match understood {
            None => self.refused += 1,
            Some(false) => {}
            Some(true) => {
                let at = if retained { stamped.time.min(now) } else { now };
                tun.heard = tun.heard.max(Some(at));
            }
        }
    }
}

/// None when it is not what lauterd publishes.
fn read<T: DeserializeOwned>(payload: &[u8]) -> Option<T> {
    serde_json::from_slice(payload).ok()
}

impl FleetTun {
    fn take_alarm(&mut self, below: &str, alarm: Alarm) {
        if alarm.to == AlarmState::Normal {
            self.alarms.remove(below);
        } else if self.alarms.len() < ALARMS_BOUND || self.alarms.contains_key(below) {
            self.alarms.insert(below.to_owned(), alarm);
        }
    }

    /// What asks for somebody, the most pressing first.
    pub fn standing(&self) -> Vec<&Alarm> {
        let stands = |alarm: &&Alarm| {
            matches!(
                alarm.to,
                AlarmState::Unacknowledged
                    | AlarmState::Acknowledged
                    | AlarmState::ReturnedUnacknowledged
            )
        };
        let mut standing: Vec<&Alarm> = self.alarms.values().filter(stands).collect();
        standing.sort_by_key(|alarm| {
            let seen = alarm.to != AlarmState::Unacknowledged;
            (std::cmp::Reverse(alarm.priority), seen)
        });
        standing
    }

    pub fn presence(&self, now: Timestamp) -> Presence {
        let silent_s = self
            .heard
            .map(|heard| now.duration_since(heard).as_secs_f64());
        match self.online {
            Some(false) => Presence::Gone,
            _ if silent_s.is_none_or(|silent_s| silent_s > SILENT_AFTER_S) => Presence::Silent,
            _ => Presence::There,
        }
    }

    /// Seconds from `now` to the projected stop-point.
    pub fn to_stop_s(&self, now: Timestamp) -> Option<f64> {
        let overview = self.overview.as_ref()?;
        let ahead_s = overview.stop?.elapsed_s - overview.elapsed_s?;
        Some(ahead_s - now.duration_since(overview.time).as_secs_f64())
    }

    /// The tun's own page, if what it says is an address of one.
    pub fn page(&self) -> Option<&str> {
        let page = self.overview.as_ref()?.page.as_deref()?;
        let url = url::Url::parse(page).ok()?;
        matches!(url.scheme(), "http" | "https").then_some(page)
    }
}

#[cfg(test)]
mod tests;

//! How the alarms of a tun behaved: rates, bursts, standing, stale, chattering and fleeting ones, priorities.
//!
//! Owns the counting. It is given the recorded changes of state and never asks where they come from; what the
//! figures should be stands in `benchmarks`. A watch is a brew under way: between brews nobody is at the tun, so only
//! watches count as operator time.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::identity::{AlarmState, Priority};
use crate::detect::AlarmId;
use crate::reading::Moment;

/// A recorded change of an alarm's state.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    pub at: Moment,
    pub alarm: AlarmId,
    pub instrument: Option<String>,
    pub from: AlarmState,
    pub to: AlarmState,
    pub priority: Priority,
    /// 1 for the first of a burst; None where the line does not say.
    pub burst_place: Option<u32>,
}

/// A brew under way, with the changes that fell into it, in order.
#[derive(Clone, Debug, PartialEq)]
pub struct Watch {
    pub from: Moment,
    pub to: Moment,
    pub changes: Vec<Change>,
    /// What stands at its end goes on standing. Not so after a replay: nobody was there to see it.
    pub carries_over: bool,
}

/// An alarm, or an alarm of one instrument.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Source {
    pub alarm: AlarmId,
    pub instrument: Option<String>,
}

/// One source and how often something was so.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Frequency {
    #[serde(flatten)]
    pub source: Source,
    pub count: u32,
}

/// The figures of some watches. What cannot be said without a watch or without an alarm is null.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Performance {
    pub watches: u32,
    pub watched_h: f64,
    /// Alarms that came to be shown.
    pub annunciated: u32,
    pub per_hour: Option<f64>,
    pub per_10_min: Option<f64>,
    /// Most in any 10 min.
    pub peak_in_10_min: u32,
    /// Of the watched time in 10-minute intervals with more than ten.
    pub flood_share: Option<f64>,
    /// Groups of alarms close to one another, each with one that came first.
    pub bursts: u32,
    pub by_priority: BTreeMap<Priority, u32>,
    /// The most frequent first.
    pub most_frequent: Vec<Frequency>,
    /// Alarms on the list at once, over the watched time.
    pub standing_mean: Option<f64>,
    pub standing_most: u32,
    /// On the list for longer than a day without a break.
    pub stale: Vec<Source>,
    /// Came three times within a minute, and how often that was so.
    pub chattering: Vec<Frequency>,
    /// Came and went again within a minute, before anybody could do something.
    pub fleeting: Vec<Frequency>,
    /// Kept off the list because they followed from something known.
    pub suppressed: u32,
    pub shelved: u32,
    pub taken_out_of_service: u32,
    pub acknowledged: u32,
    /// From the list to the acknowledgement: the middle one, s.
    pub median_acknowledge_s: Option<f64>,
}

/// Interval of the peak and of a flood, s (EEMUA 191 counts in 10 min; from memory).
const INTERVAL_S: f64 = 600.0;
/// More in one interval are a flood (ISA-18.2; from memory).
pub(super) const FLOOD_IN_INTERVAL: u32 = 10;
/// On the list for longer than this is stale, s (ISA-18.2: 24 h; from memory).
const STALE_S: f64 = 86_400.0;
/// Three within this time chatter, s (ISA-18.2: three or more in a minute; from memory).
const CHATTER_S: f64 = 60.0;
const CHATTER_COUNT: usize = 3;
/// Gone within this time is fleeting, s (own choice: nobody at a tun acts faster).
const FLEETING_S: f64 = 60.0;
/// How many of the most frequent are listed (EEMUA 191 and ISA-18.2 look at the ten; from memory).
const LISTED: usize = 10;

fn is_standing(state: AlarmState) -> bool {
    matches!(
        state,
        AlarmState::Unacknowledged | AlarmState::Acknowledged | AlarmState::ReturnedUnacknowledged
    )
}

impl Change {
    fn source(&self) -> Source {
        Source {
            alarm: self.alarm,
            instrument: self.instrument.clone(),
        }
    }

    fn comes(&self) -> bool {
        self.to == AlarmState::Unacknowledged
    }
}

/// The figures of `watches`. `between` are the changes while no brew ran, in order; they are not counted, but an
/// alarm may stand through them. `now` ends what still stands.
pub fn performance(watches: &[Watch], between: &[Change], now: Moment) -> Performance {
    let changes: Vec<&Change> = watches.iter().flat_map(|watch| &watch.changes).collect();
    let coming: Vec<&Change> = changes.iter().copied().filter(|c| c.comes()).collect();
    let entering = |state| changes.iter().filter(|change| change.to == state).count() as u32;
    let watched_s: f64 = watches.iter().map(Watch::seconds).sum();
    // An empty sum of floats is −0; with 0 added no share is.
    let over_time =
        |count: f64, unit_s: f64| (watched_s > 0.0).then(|| count * unit_s / watched_s + 0.0);
    let annunciated = coming.len() as u32;
    let mut by_priority = BTreeMap::new();
    for change in &coming {
        *by_priority.entry(change.priority).or_insert(0) += 1;
    }
    let standing_s: f64 = watches.iter().map(Watch::standing_s).sum();
    let mut waits = acknowledge_waits(&changes);
    let mut most_frequent = counted(coming.iter().map(|change| change.source()));
    most_frequent.truncate(LISTED);
    Performance {
        watches: watches.len() as u32,
        watched_h: watched_s / 3600.0,
        annunciated,
        per_hour: over_time(f64::from(annunciated), 3600.0),
        per_10_min: over_time(f64::from(annunciated), INTERVAL_S),
        peak_in_10_min: watches.iter().map(Watch::peak).max().unwrap_or(0),
        flood_share: over_time(watches.iter().map(Watch::flood_s).sum(), 1.0),
        bursts: coming
            .iter()
            .filter(|c| c.burst_place.is_none_or(|place| place == 1))
            .count() as u32,
        by_priority,
        most_frequent,
        standing_mean: over_time(standing_s, 1.0),
        standing_most: watches.iter().map(Watch::standing_most).max().unwrap_or(0),
        stale: stale(watches, between, now),
        chattering: counted(watches.iter().flat_map(Watch::chattering)),
        fleeting: counted(watches.iter().flat_map(Watch::fleeting)),
        suppressed: entering(AlarmState::Suppressed),
        shelved: entering(AlarmState::Shelved),
        taken_out_of_service: entering(AlarmState::OutOfService),
        acknowledged: waits.len() as u32,
        median_acknowledge_s: (!waits.is_empty()).then(|| crate::conditioning::median(&mut waits)),
    }
}

impl Watch {
    fn seconds(&self) -> f64 {
        self.to.since(self.from).max(0.0)
    }

    fn comings(&self) -> impl Iterator<Item = &Change> {
        self.changes.iter().filter(|change| change.comes())
    }

    /// Most in any interval that begins with one of them.
    fn peak(&self) -> u32 {
        let at: Vec<Moment> = self.comings().map(|change| change.at).collect();
        let within = |start: usize| {
            let later = at[start..].iter();
            later
                .take_while(|moment| moment.since(at[start]) < INTERVAL_S)
                .count() as u32
        };
        (0..at.len()).map(within).max().unwrap_or(0)
    }

    /// Time in intervals, counted from the beginning, with too many.
    fn flood_s(&self) -> f64 {
        let mut counts: BTreeMap<i64, u32> = BTreeMap::new();
        for change in self.comings() {
            let interval = (change.at.since(self.from) / INTERVAL_S).floor() as i64;
            *counts.entry(interval).or_default() += 1;
        }
        let floods = counts.into_iter().filter(|(_, n)| *n > FLOOD_IN_INTERVAL);
        floods
            .map(|(interval, _)| {
                (self.seconds() - interval as f64 * INTERVAL_S).clamp(0.0, INTERVAL_S)
            })
            .sum()
    }

    /// What stood before the first change of each source, and every change of how many stand.
    fn standing(&self) -> (u32, Vec<(Moment, i64)>) {
        let mut known: BTreeMap<Source, bool> = BTreeMap::new();
        let mut before = 0;
        let mut steps = Vec::new();
        for change in &self.changes {
            let stood = *known.entry(change.source()).or_insert_with(|| {
                let stood = is_standing(change.from);
                before += u32::from(stood);
                stood
            });
            let stands = is_standing(change.to);
            if stands != stood {
                steps.push((change.at, if stands { 1 } else { -1 }));
            }
            known.insert(change.source(), stands);
        }
        (before, steps)
    }

    /// Sum over the alarms of the time each stood.
    fn standing_s(&self) -> f64 {
        let (before, steps) = self.standing();
        let open_s = |from: Moment| self.to.since(from).max(0.0);
        f64::from(before) * self.seconds()
            + steps
                .iter()
                .map(|(at, step)| *step as f64 * open_s(*at))
                .sum::<f64>()
    }

    fn standing_most(&self) -> u32 {
        let (before, steps) = self.standing();
        let mut standing = i64::from(before);
        let mut most = standing;
        for (_, step) in steps {
            standing += step;
            most = most.max(standing);
        }
        most.max(0) as u32
    }

    fn by_source(&self) -> BTreeMap<Source, Vec<&Change>> {
        let mut by_source: BTreeMap<Source, Vec<&Change>> = BTreeMap::new();
        for change in &self.changes {
            by_source.entry(change.source()).or_default().push(change);
        }
        by_source
    }

    /// Once for each group of three.
    fn chattering(&self) -> Vec<Source> {
        let mut found = Vec::new();
        for (source, changes) in self.by_source() {
            let at: Vec<Moment> = changes.iter().filter(|c| c.comes()).map(|c| c.at).collect();
            let groups = at.chunks_exact(CHATTER_COUNT);
            let close =
                groups.filter(|group| group[CHATTER_COUNT - 1].since(group[0]) <= CHATTER_S);
            found.extend(close.map(|_| source.clone()));
        }
        found
    }

    fn fleeting(&self) -> Vec<Source> {
        let mut found = Vec::new();
        for (source, changes) in self.by_source() {
            let pairs = changes.windows(2);
            let short = pairs.filter(|pair| {
                pair[0].comes()
                    && pair[1].to == AlarmState::ReturnedUnacknowledged
                    && pair[1].at.since(pair[0].at) <= FLEETING_S
            });
            found.extend(short.map(|_| source.clone()));
        }
        found
    }
}

/// How long each acknowledged alarm waited for it, s.
fn acknowledge_waits(changes: &[&Change]) -> Vec<f64> {
    let mut shown: BTreeMap<Source, Moment> = BTreeMap::new();
    let mut waits = Vec::new();
    for change in changes {
        if change.comes() {
            shown.insert(change.source(), change.at);
        } else if change.to == AlarmState::Acknowledged
            && let Some(since) = shown.remove(&change.source())
        {
            waits.push(change.at.since(since));
        }
    }
    waits
}

fn stale(watches: &[Watch], between: &[Change], now: Moment) -> Vec<Source> {
    let lasting = watches.iter().filter(|watch| watch.carries_over);
    let mut all: Vec<&Change> = lasting.flat_map(|watch| &watch.changes).collect();
    all.extend(between);
    all.sort_by_key(|change| change.at);
    let mut since: BTreeMap<Source, Moment> = BTreeMap::new();
    let mut found = Vec::new();
    let mut close = |source: Source, from: Moment, to: Moment| {
        if to.since(from) > STALE_S && !found.contains(&source) {
            found.push(source);
        }
    };
    for change in all {
        let source = change.source();
        if is_standing(change.to) {
            since.entry(source).or_insert(change.at);
        } else if let Some(from) = since.remove(&source) {
            close(source, from, change.at);
        }
    }
    for (source, from) in since {
        close(source, from, now);
    }
    found.sort();
    found
}

/// Each source once with its count, the most frequent first, then in order.
fn counted(sources: impl Iterator<Item = Source>) -> Vec<Frequency> {
    let mut counts: BTreeMap<Source, u32> = BTreeMap::new();
    for source in sources {
        *counts.entry(source).or_default() += 1;
    }
    let mut counted: Vec<Frequency> = counts
        .into_iter()
        .map(|(source, count)| Frequency { source, count })
        .collect();
    counted.sort_by_key(|frequency| std::cmp::Reverse(frequency.count));
    counted
}

#[cfg(test)]
mod tests;

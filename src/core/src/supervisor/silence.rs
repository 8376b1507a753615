//! Time in which nothing is read, and time in which nobody watched.
//!
//! Owns how long an assumption may stand in for instruments, what is still told meanwhile, and the mark that such a
//! time leaves in the record. Why the instruments are silent is `alarms`' concern.
//!
//! While every instrument is silent the balance lives on an assumed flow, for a quarter of an hour. After that nothing
//! about the run-off is known: the balance rests, its doubt grows, and no line repeats what nobody has measured. The
//! same bounds what a gap in a recording costs and writes, however long it is.

use serde::{Deserialize, Serialize};

use crate::reading::{Measures, Moment};

use super::Supervisor;
use super::brew::Brew;
use super::event::Unwatched;

/// For so long the flow of before may be assumed, s. Own choice: the interval of hand samples, after which a brewhouse
/// without instruments would have measured again.
const ASSUMED_FOR_S: f64 = 900.0;
/// While the balance rests the watch looks at its instruments this often, s. Own choice.
const LOOK_EVERY_S: f64 = 60.0;
/// An interruption as short as this is not told: it would be told as 0.0 s.
const RELOADED_S: f64 = 0.05;
/// A shorter interruption is none: no reading has become too old in it, s. The shortest usual `stale_after_s`.
const UNNOTICED_S: f64 = 5.0;

/// How long every instrument has been silent.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Silence {
    since: Option<Moment>,
    /// The balance rests since then.
    resting: Option<Moment>,
}

impl Silence {
    /// For how long every instrument has been silent; None while the balance does not rest for it.
    pub(super) fn resting_for_s(self, now: Moment) -> Option<f64> {
        self.resting.and(self.since).map(|since| now.since(since))
    }
}

impl Supervisor {
    /// Whether this step finds nothing to judge because everything has been silent for too long. It looks at the
    /// instruments all the same.
    pub(super) fn rests_in_silence(&mut self, now: Moment) -> bool {
        if self.brew.is_none() || self.hears(now) {
            self.silence = Silence::default();
            return false;
        }
        let since = *self.silence.since.get_or_insert(now);
        if now.since(since) < ASSUMED_FOR_S {
            return false;
        }
        if self.silence.resting.is_none() {
            self.silence.resting = Some(now);
            let text = format!(
                "Every instrument has been silent for {}. Table and projection rest until one answers. Go on with hand \
                 samples.",
                minutes(now.since(since))
            );
            self.occur(now, "silent", text);
        }
        let stride = (LOOK_EVERY_S / self.parameters.step_s).round().max(1.0) as i64;
        self.next_step = self.point_after(now, stride);
        self.watch_instruments(now);
        self.watch_deliveries(now);
        true
    }

    /// After a reading: ends the rest if it can be used.
    pub(super) fn wake(&mut self, now: Moment) {
        let (Some(resting), Some(since)) = (self.silence.resting, self.silence.since) else {
            return;
        };
        if !self.hears(now) {
            return;
        }
        self.silence = Silence::default();
        self.next_step = self.point_after(now, 1);
        let Some(mut brew) = self.brew.take() else {
            return;
        };
        brew.lose_sight(0.0, now.since(resting), now, &self.plant);
        let text = format!(
            "Instruments answer again after {} of silence. {}",
            minutes(now.since(since)),
            self.bridge(&brew)
        );
        self.brew = Some(brew);
        self.occur(now, "heard-again", text);
    }

    /// Some instrument has a value. A switch that has not moved says nothing about now.
    fn hears(&self, now: Moment) -> bool {
        self.channels
            .iter()
            .any(|channel| !channel.is_switch() && channel.estimate(now).is_ok())
    }

    /// Brings the balance over a time in which nobody watched. Nothing is judged in it, and no instrument is at fault
    /// for it.
    pub(super) fn pass_unwatched(&mut self, since: Moment, why: Unwatched, now: Moment) {
        let gap_s = now.since(since);
        if gap_s <= UNNOTICED_S {
            self.advance_before(now);
            // A reload takes less than anybody could measure.
            if self.brew.is_some() && gap_s >= RELOADED_S {
                let text = match why {
                    Unwatched::NotRunning => {
                        format!("The service was not running for {gap_s:.1} s.")
                    }
                    Unwatched::StoodStill => format!("The service stood still for {gap_s:.1} s."),
                    Unwatched::Unrecorded => {
                        format!("The record has nothing of {gap_s:.1} s: it could not be written.")
                    }
                    Unwatched::CutOff => {
                        format!("The service was cut off: the record has nothing of {gap_s:.1} s.")
                    }
                    Unwatched::Unknown => format!(
                        "The record has nothing of {gap_s:.1} s: the service was not running, or could not write."
                    ),
                };
                self.occur(now, "not-watched", text);
            }
            return;
        }
        let assumed_until = since.plus_seconds(ASSUMED_FOR_S).min(now);
        if let Some(mut brew) = self.brew.take() {
            let before_l = brew.inflow.assumed_l();
            while self.next_step < assumed_until {
                let at = self.next_step;
                self.next_step = self.point_after(at, 1);
                let picture = self.picture(at);
                self.balance(&mut brew, &picture, at);
            }
            // A source that spoke in the gap has forgotten what was assumed before it.
            let assumed_l = (brew.inflow.assumed_l() - before_l).max(0.0);
            brew.lose_sight(assumed_l, now.since(assumed_until), now, &self.plant);
            let (gap, bridge) = (minutes(gap_s), self.bridge(&brew));
            let text = match why {
                Unwatched::NotRunning => {
                    format!("Nobody watched for {gap}: the service was not running. {bridge}")
                }
                Unwatched::StoodStill => format!(
                    "Nobody watched for {gap}: the service stood still (it was stopped, or the machine was). {bridge}"
                ),
                Unwatched::Unrecorded => format!(
                    "The record has nothing of {gap}: the service could not write it before it ended. {bridge}"
                ),
                Unwatched::CutOff => format!(
                    "The record has nothing of {gap}: the service was cut off (killed, without power, or unable to write). \
                     {bridge}"
                ),
                Unwatched::Unknown => format!(
                    "The record has nothing of {gap}: the service was not running, or could not write. {bridge}"
                ),
            };
            self.brew = Some(brew);
            self.occur(now, "not-watched", text);
        }
        self.silence = Silence::default();
        self.next_step = self.point_after(Moment(now.0 - 1), 1);
    }

    /// How the kettle's volume comes over a gap, in words.
    fn bridge(&self, brew: &Brew) -> String {
        let named = |measures| {
            self.channel(measures)
                .map(|channel| channel.instrument.id.as_str())
        };
        let assumed_l = brew.inflow.assumed_l();
        match (named(Measures::RunoffTotal), named(Measures::KettleVolume)) {
            (Some(counter), _) => format!("{counter} tells what ran off meanwhile."),
            (None, Some(level)) => format!(
                "{level} tells what ran off meanwhile; until it agrees, {assumed_l:.0} L are assumed."
            ),
            (None, None) => format!(
                "{assumed_l:.0} L are assumed to have run off meanwhile: measure the kettle and enter a sample."
            ),
        }
    }
}

pub(super) fn minutes(seconds: f64) -> String {
    if seconds < 120.0 {
        format!("{seconds:.0} s")
    } else {
        format!("{:.0} min", seconds / 60.0)
    }
}

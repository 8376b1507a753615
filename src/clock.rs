//! The one place where the shell reads clocks.
//!
//! Owns the mapping between the core's monotone `Moment` axis and wall-clock time. Durations come from the
//! monotonic clock, so a step of the wall clock never reorders readings; the axis starts at the wall clock's
//! microseconds since 1970 so that moments of different runs can be told apart.

use std::time::{Duration, Instant};

use jiff::Timestamp;
use lauter_core::reading::Moment;

/// The wall clock, for dating what no running clock dates.
pub fn wall_now() -> Timestamp {
    Timestamp::now()
}

/// A running clock. Cheap to copy; all copies of one clock agree.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    started: Instant,
    origin: Moment,
    /// How many core seconds pass in one real second: 1 but in the demo.
    speed: f64,
}

impl Clock {
    /// Starts at the present wall-clock time, or just after `not_before` if the wall clock is behind it.
    pub fn start(not_before: Option<Moment>) -> Self {
        Self::start_at_speed(not_before, 1.0)
    }

    /// As `start`, with `speed` core seconds in one real second.
    pub fn start_at_speed(not_before: Option<Moment>, speed: f64) -> Self {
        let wall = Moment(Timestamp::now().as_microsecond());
        let origin = not_before.map_or(wall, |moment| wall.max(Moment(moment.0 + 1)));
        Self {
            started: Instant::now(),
            origin,
            speed,
        }
    }

    pub fn now(&self) -> Moment {
        Moment(self.origin.0 + (self.started.elapsed().as_micros() as f64 * self.speed) as i64)
    }

    /// How long a real time is on this clock's axis, in its microseconds.
    pub fn span_us(&self, real: Duration) -> i64 {
        (real.as_micros() as f64 * self.speed) as i64
    }

    /// Wall-clock time of a moment on this clock's axis.
    pub fn wall(&self, moment: Moment) -> Timestamp {
        Timestamp::from_microsecond(moment.0).unwrap_or(Timestamp::UNIX_EPOCH)
    }

    /// Both clocks at one moment.
    pub fn glance(&self) -> Glance {
        Glance {
            now: self.now(),
            wall: Timestamp::now(),
            speed: self.speed,
        }
    }

    /// The real instant at which `moment` arrives, for timers.
    pub fn instant_of(&self, moment: Moment) -> Instant {
        let ahead_us = (moment.0 - self.origin.0).max(0) as f64 / self.speed;
        self.started + Duration::from_micros(ahead_us as u64)
    }
}

/// Both clocks at one moment: what is compared must be placed by the same glance.
#[derive(Clone, Copy, Debug)]
pub struct Glance {
    pub now: Moment,
    wall: Timestamp,
    speed: f64,
}

impl Glance {
    /// Where a wall-clock time stands on the axis, judged by its age at present: an instrument's own timestamp
    /// keeps its distance to now even when the wall clock was set after the start.
    pub fn moment_of(&self, wall: Timestamp) -> Moment {
        let age_us = (self.wall.as_microsecond() - wall.as_microsecond()) as f64;
        Moment(self.now.0 - (age_us * self.speed) as i64)
    }
}

//! The one place where the shell reads clocks.
//!
//! Owns the mapping between the core's monotone `Moment` axis and wall-clock time. Durations come from the
//! monotonic clock, so a step of the wall clock never reorders readings; the axis starts at the wall clock's
//! microseconds since 1970 so that moments of different runs can be told apart.
//!
//! The axis goes on over a restart of the service by the time the machine has been up, and only where the machine itself
//! was restarted by the wall clock. What is told to others bears the wall clock's time as it is now: when the wall clock
//! is set, `follow_wall` moves the times that are told, and the axis stays.

use std::fs;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::{Duration, Instant};

use jiff::Timestamp;
use lauter_core::reading::Moment;
use rustix::time::{ClockId, clock_gettime};

/// The wall clock, for dating what no running clock dates.
pub fn wall_now() -> Timestamp {
    Timestamp::now()
}

/// Where a wall-clock time comes from; a test gives its own.
pub type Wall = fn() -> Timestamp;

/// Differences up to this are the slewing of a synchronised clock and the pace of two crystals, µs; more is a step.
const STEP_US: i64 = 500_000;

/// Which start of the machine this is, and how long ago it was.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Uptime {
    pub boot: String,
    pub uptime_us: i64,
}

impl Uptime {
    /// None where the kernel does not say.
    pub fn now() -> Option<Self> {
        let uptime = clock_gettime(ClockId::Boottime);
        Some(Self {
            boot: boot()?.to_owned(),
            uptime_us: uptime.tv_sec * 1_000_000 + uptime.tv_nsec / 1000,
        })
    }
}

/// No process outlives the start it belongs to.
fn boot() -> Option<&'static str> {
    static BOOT: OnceLock<Option<String>> = OnceLock::new();
    let read = || {
        let text = fs::read_to_string("/proc/sys/kernel/random/boot_id").ok()?;
        Some(text.trim().to_owned())
    };
    BOOT.get_or_init(read).as_deref()
}

/// Where an axis stood at a time of the machine.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    pub uptime: Uptime,
    pub at: Moment,
}

/// How a clock starts.
#[derive(Clone, Debug, Default)]
pub struct Start {
    /// The axis is beyond this already.
    pub not_before: Option<Moment>,
    /// Where the axis stood before the restart.
    pub mark: Option<Mark>,
    /// Core seconds in a real one; None is 1.
    pub speed: Option<f64>,
    pub wall: Option<Wall>,
}

/// A running clock. Cheap to copy; all copies of one clock agree.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    started: Instant,
    origin: Moment,
    /// How many core seconds pass in one real second: 1 but in the demo.
    speed: f64,
    wall: Wall,
    /// Wall-clock time less the axis, µs. Lives as long as the process: a process has few clocks.
    offset_us: &'static AtomicI64,
}

impl Clock {
    /// Starts where the mark says that the axis stands now, or else at the wall clock's time; in any case beyond
    /// `not_before`.
    pub fn start(start: &Start) -> Self {
        let speed = start.speed.unwrap_or(1.0);
        let wall = start.wall.unwrap_or(Timestamp::now);
        let wall_us = wall().as_microsecond();
        let went_on = start.mark.as_ref().and_then(|mark| {
            let now = Uptime::now().filter(|now| now.boot == mark.uptime.boot)?;
            let down_us = (now.uptime_us - mark.uptime.uptime_us).max(0);
            Some(mark.at.0 + (down_us as f64 * speed) as i64)
        });
        let origin = went_on.unwrap_or(wall_us);
        let origin = start
            .not_before
            .map_or(origin, |moment| origin.max(moment.0 + 1));
        // A clock that runs fast shows the time of what it simulates.
        let offset_us = if start.speed.is_some() {
            0
        } else {
            wall_us - origin
        };
        Self {
            started: Instant::now(),
            origin: Moment(origin),
            speed,
            wall,
            offset_us: Box::leak(Box::new(AtomicI64::new(offset_us))),
        }
    }

    pub fn now(&self) -> Moment {
        let elapsed_us = self.started.elapsed().as_micros() as u64;
        Moment(self.origin.0 + (elapsed_us as f64 * self.speed) as i64)
    }

    /// How long a real time is on this clock's axis, in its microseconds.
    pub fn span_us(&self, real: Duration) -> i64 {
        (real.as_micros() as f64 * self.speed) as i64
    }

    /// Wall-clock time of a moment on this clock's axis, as the wall clock is set now.
    pub fn wall(&self, moment: Moment) -> Timestamp {
        let offset_us = self.offset_us.load(Ordering::Relaxed);
        Timestamp::from_microsecond(moment.0.saturating_add(offset_us))
            .unwrap_or(Timestamp::UNIX_EPOCH)
    }

    /// Takes over a step of the wall clock. Gives its size when there was one.
    pub fn follow_wall(&self) -> Option<Duration> {
        if self.speed.to_bits() != 1.0_f64.to_bits() {
            return None;
        }
        let ahead_us = (self.wall)().as_microsecond() - self.now().0;
        let step_us = ahead_us - self.offset_us.load(Ordering::Relaxed);
        if step_us.abs() <= STEP_US {
            return None;
        }
        self.offset_us.store(ahead_us, Ordering::Relaxed);
        Some(Duration::from_micros(step_us.unsigned_abs()))
    }

    /// Both clocks at one moment.
    pub fn glance(&self) -> Glance {
        Glance {
            now: self.now(),
            wall: (self.wall)(),
            speed: self.speed,
        }
    }

    /// Where the axis stands now, for the next start.
    pub fn mark(&self) -> Option<Mark> {
        Some(Mark {
            uptime: Uptime::now()?,
            at: self.now(),
        })
    }

    /// The real time until `moment` has come.
    pub fn until(&self, moment: Moment) -> Duration {
        let ahead_us = moment.0.saturating_sub(self.now().0).max(0) as f64 / self.speed;
        Duration::from_micros(ahead_us as u64 + 1)
    }

    /// The real instant at which `moment` arrives, for timers.
    pub fn instant_of(&self, moment: Moment) -> Instant {
        let ahead_us = (moment.0 - self.origin.0).max(0) as f64 / self.speed;
        self.started + Duration::from_micros(ahead_us as u64)
    }
}

/// The monotonic clock, for what is done now and then and dates nothing.
#[derive(Clone, Copy, Debug, Default)]
pub struct Pace {
    last: Option<Instant>,
}

impl Pace {
    /// Counts from now on.
    pub fn started() -> Self {
        Self {
            last: Some(Instant::now()),
        }
    }

    /// Whether `every` has passed since it was last due; then it counts anew.
    pub fn is_due(&mut self, every: Duration) -> bool {
        let due = self.last.is_none_or(|last| last.elapsed() >= every);
        if due {
            *self = Self::started();
        }
        due
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

#[cfg(test)]
mod tests {
    use super::*;

    static AHEAD_S: AtomicI64 = AtomicI64::new(0);

    fn shifted() -> Timestamp {
        let ahead_us = AHEAD_S.load(Ordering::Relaxed) * 1_000_000;
        Timestamp::from_microsecond(Timestamp::now().as_microsecond() + ahead_us).expect("a time")
    }

    #[test]
    fn a_step_of_the_wall_clock_moves_what_is_told_and_not_the_axis() {
        let clock = Clock::start(&Start {
            wall: Some(shifted),
            ..Start::default()
        });
        let before = clock.now();
        let told_before = clock.wall(before);
        assert_eq!(clock.follow_wall(), None);
        for (ahead_s, step_s) in [(3600, 3600), (-3600, 7200), (0, 3600)] {
            AHEAD_S.store(ahead_s, Ordering::Relaxed);
            let step = clock.follow_wall().expect("a step");
            assert!(
                (step.as_secs_f64() - f64::from(step_s)).abs() < 1.0,
                "{step:?}"
            );
            let told = clock.wall(before).as_second() - told_before.as_second();
            assert!((told - ahead_s).abs() <= 1, "{told}");
            assert_eq!(clock.follow_wall(), None);
        }
        assert!(clock.now().since(before) < 60.0, "the axis has not moved");
    }

    #[test]
    fn the_axis_goes_on_by_the_machines_uptime_whatever_the_wall_clock_says() {
        let Some(now) = Uptime::now() else { return };
        let mark = |boot: &str| Mark {
            uptime: Uptime {
                boot: boot.to_owned(),
                uptime_us: now.uptime_us - 5_000_000,
            },
            at: Moment(1_000_000_000),
        };
        let start = |mark| {
            Clock::start(&Start {
                mark: Some(mark),
                ..Start::default()
            })
        };
        let same = start(mark(&now.boot)).now().since(Moment(1_000_000_000));
        assert!((5.0..60.0).contains(&same), "{same}");
        let other = start(mark("another start"));
        assert!((other.now().0 - wall_now().as_microsecond()).abs() < 60_000_000);
    }

    #[test]
    fn a_wall_clock_behind_the_record_does_not_turn_the_axis_back() {
        let ahead = Moment(wall_now().as_microsecond() + 3_600_000_000);
        let clock = Clock::start(&Start {
            not_before: Some(ahead),
            ..Start::default()
        });
        assert!(clock.now() > ahead);
        let told = clock.wall(clock.now()).as_second();
        assert!(
            (told - wall_now().as_second()).abs() <= 60,
            "told as the wall clock says"
        );
    }
}

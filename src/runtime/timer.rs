//! A timer that goes off within microseconds.
//!
//! Owns one timer of the kernel, for the watch's grid: an alarm is annunciated at a point of the grid, and every part of a
//! millisecond after it is late. The async runtime's own timers round up to the next millisecond, twice, and wake the thread
//! on the way for their own order. Where the kernel gives no timer, theirs has to do.

use std::os::fd::OwnedFd;

use lauter_core::reading::Moment;
use rustix::io::{Errno, read};
use rustix::time::{
    Itimerspec, TimerfdClockId, TimerfdFlags, TimerfdTimerFlags, Timespec, timerfd_create,
    timerfd_settime,
};
use tokio::io::unix::AsyncFd;
use tokio::time::sleep_until;

use crate::clock::Clock;

/// One thing to wait for at a time. A wait can be abandoned and begun again at no cost.
#[derive(Debug)]
pub struct Timer {
    clock: Clock,
    kernels: Option<AsyncFd<OwnedFd>>,
    set: Option<Moment>,
}

impl Timer {
    /// Within a runtime.
    pub fn new(clock: Clock) -> Self {
        #[expect(
            deprecated,
            reason = "its successor is unsafe, for types that lie about their descriptor; this one does not"
        )]
        let registered = AsyncFd::new;
        let flags = TimerfdFlags::NONBLOCK | TimerfdFlags::CLOEXEC;
        let made = timerfd_create(TimerfdClockId::Monotonic, flags).map_err(std::io::Error::from);
        let kernels = match made.and_then(registered) {
            Ok(kernels) => Some(kernels),
            Err(error) => {
                tracing::debug!("the kernel gives no timer: {error}");
                None
            }
        };
        Self {
            clock,
            kernels,
            set: None,
        }
    }

    /// Returns once `moment` has come.
    pub async fn reach(&mut self, moment: Moment) {
        while self.clock.now() < moment {
            if self.set != Some(moment) {
                self.set(moment);
            }
            let Some(kernels) = &self.kernels else {
                return sleep_until(self.clock.instant_of(moment).into()).await;
            };
            let went_off = match kernels.readable().await {
                Ok(mut ready) => match read(kernels, &mut [0; 8]) {
                    Ok(_) => Ok(true),
                    Err(Errno::AGAIN | Errno::INTR) => {
                        ready.clear_ready();
                        Ok(false)
                    }
                    Err(error) => Err(error.into()),
                },
                Err(error) => Err(error),
            };
            match went_off {
                Ok(true) => self.set = None,
                Ok(false) => {}
                Err(error) => self.do_without(&error),
            }
        }
    }

    fn set(&mut self, moment: Moment) {
        let Some(kernels) = &self.kernels else {
            return;
        };
        let left = self.clock.until(moment);
        let once = Itimerspec {
            it_interval: Timespec {
                tv_sec: 0,
                tv_nsec: 0,
            },
            // Nothing would switch it off.
            it_value: Timespec {
                tv_sec: i64::try_from(left.as_secs()).unwrap_or(i64::MAX),
                tv_nsec: i64::from(left.subsec_nanos()).max(1),
            },
        };
        match timerfd_settime(kernels, TimerfdTimerFlags::empty(), &once) {
            Ok(_) => self.set = Some(moment),
            Err(error) => self.do_without(&error.into()),
        }
    }

    fn do_without(&mut self, error: &std::io::Error) {
        tracing::debug!("the kernel's timer does not work: {error}");
        self.kernels = None;
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use tokio::time::timeout;

    use super::*;
    use crate::clock::Start;

    async fn comes_in_order(mut timer: Timer) {
        let clock = timer.clock;
        let begun = clock.now();
        let later = |ms: i64| Moment(begun.0 + 1000 * ms);
        let abandoned = timeout(Duration::from_millis(1), timer.reach(later(60_000))).await;
        assert!(abandoned.is_err());
        for moment in [later(20), later(40), later(30), begun] {
            timer.reach(moment).await;
            assert!(clock.now() >= moment);
        }
        assert!(clock.now() < later(60_000));
    }

    #[tokio::test]
    async fn what_was_abandoned_does_not_hold_up_what_is_waited_for_next() {
        let clock = Clock::start(&Start::default());
        comes_in_order(Timer::new(clock)).await;
    }

    #[tokio::test]
    async fn without_a_timer_of_the_kernel_it_waits_all_the_same() {
        let clock = Clock::start(&Start::default());
        let mut timer = Timer::new(clock);
        timer.kernels = None;
        comes_in_order(timer).await;
    }
}

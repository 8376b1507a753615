//! The bed lets go: a fall of its resistance against its own course.
//!
//! Owns the cumulative sum (Page 1954) over the steps of ln resistance in run-off *volume*, each against the bed's own
//! slope and scatter, and how fast the fall was. A change of flow, viscosity or settling moves the resistance slowly
//! or not at all and is part of the course. It does not know why the bed lets go: rakes do it at once, a channel in
//! minutes.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::sequential::Cusum;

/// One look at the bed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct BedLook {
    pub elapsed_s: f64,
    /// Logarithms of the resistance and of the pressure drop itself.
    pub resistance_ln: f64,
    pub pressure_drop_ln: f64,
}

/// How the resistance has fallen since it left its course.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Fall {
    /// The sum has passed its limit.
    pub certain: bool,
    /// Resistance lost, share of what it was.
    pub share: f64,
    /// Time since it left its course, s.
    pub lasting_s: f64,
    /// Part of the fall that came within `AT_ONCE_S`.
    pub at_once_share: f64,
    /// Part of the fall that came within `SUDDEN_S`.
    pub sudden_share: f64,
    /// Part of the fall that the pressure drop itself shows; the rest is the flow meter's word alone.
    pub in_pressure_share: f64,
}

/// What the rakes do they do within about a minute; instruments and smoothing add some seconds.
const AT_ONCE_S: f64 = 70.0;
/// What comes faster than this is neither: a channel takes a minute to open, a lying instrument no time.
const SUDDEN_S: f64 = 30.0;
/// Scatter of one step of ln resistance: where it begins, and its least and largest figure. Below the least lie the
/// model's own errors. Own choice, tried against the simulated tun.
const FIRST_SCATTER: f64 = 0.015;
const LEAST_SCATTER: f64 = 0.007;
const LARGEST_SCATTER: f64 = 0.03;
/// The bed's own slope in one step, at most.
const STEEPEST_SLOPE: f64 = 0.008;
/// Weight of a step in slope and scatter, and the share of the limit beyond which none is learnt.
const LEARNING: f64 = 0.05;
const LEARNS_BELOW: f64 = 0.3;
/// Looks kept since the fall began.
const LOOKS_KEPT: usize = 200;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LettingGo {
    step_l: f64,
    next_l: f64,
    last_ln: Option<f64>,
    slope: f64,
    scatter: f64,
    cusum: Cusum,
    before: Option<BedLook>,
    since: VecDeque<BedLook>,
}

impl LettingGo {
    /// A look each `step_l` of run-off; `limit` of the sum in standard deviations.
    pub fn new(step_l: f64, limit: f64) -> Self {
        Self {
            step_l,
            next_l: 0.0,
            last_ln: None,
            slope: 0.0,
            scatter: FIRST_SCATTER,
            cusum: Cusum::new(0.5, limit),
            before: None,
            since: VecDeque::new(),
        }
    }

    /// The bed has been disturbed or an instrument has jumped: what was is no yardstick.
    pub fn restart(&mut self) {
        self.cusum.restart();
        self.last_ln = None;
        self.before = None;
        self.since.clear();
    }

    /// The flow is on its way somewhere: the next step begins afresh, the sum stays.
    pub fn skip(&mut self) {
        self.last_ln = None;
    }

    pub fn observe(&mut self, volume_l: f64, look: BedLook) {
        if volume_l < self.next_l {
            return;
        }
        self.next_l = volume_l + self.step_l;
        let Some(last_ln) = self.last_ln.replace(look.resistance_ln) else {
            if self.cusum.fall <= 0.0 {
                self.before = Some(look);
            }
            return;
        };
        let moved = look.resistance_ln - last_ln - self.slope;
        self.cusum.add(moved / self.scatter);
        if self.cusum.fall < LEARNS_BELOW * self.cusum.limit {
            self.slope += LEARNING * moved;
            self.slope = self.slope.clamp(-STEEPEST_SLOPE, 0.0);
            // Mean size over standard deviation of a normal distribution: √(2/π).
            let scatter = (moved.abs() / 0.798).min(3.0 * self.scatter);
            self.scatter += LEARNING * (scatter - self.scatter);
            self.scatter = self.scatter.clamp(LEAST_SCATTER, LARGEST_SCATTER);
        }
        if self.cusum.fall <= 0.0 {
            self.before = Some(look);
            self.since.clear();
        } else {
            self.since.push_back(look);
            if self.since.len() > LOOKS_KEPT {
                self.since.pop_front();
            }
        }
    }

    /// Standard deviations of the sum over its limit.
    pub fn certainty(&self) -> f64 {
        self.cusum.fall / self.cusum.limit
    }

    /// The fall so far; none while the resistance keeps its course.
    pub fn fall(&self) -> Fall {
        let (Some(before), Some(now)) = (self.before, self.since.back()) else {
            return Fall::default();
        };
        let fallen_ln = before.resistance_ln - now.resistance_ln;
        if fallen_ln <= 0.0 {
            return Fall::default();
        }
        let in_pressure_ln = before.pressure_drop_ln - now.pressure_drop_ln;
        Fall {
            certain: self.cusum.has_fallen(),
            share: 1.0 - (-fallen_ln).exp(),
            lasting_s: now.elapsed_s - before.elapsed_s,
            at_once_share: (self.largest_within(before, AT_ONCE_S) / fallen_ln).min(1.0),
            sudden_share: (self.largest_within(before, SUDDEN_S) / fallen_ln).min(1.0),
            in_pressure_share: (in_pressure_ln / fallen_ln).clamp(0.0, 1.0),
        }
    }

    fn largest_within(&self, before: BedLook, within_s: f64) -> f64 {
        let looks: Vec<BedLook> = std::iter::once(before)
            .chain(self.since.iter().copied())
            .collect();
        let mut largest: f64 = 0.0;
        for (index, from) in looks.iter().enumerate() {
            let within = looks[index..]
                .iter()
                .take_while(|to| to.elapsed_s - from.elapsed_s <= within_s);
            for to in within {
                largest = largest.max(from.resistance_ln - to.resistance_ln);
            }
        }
        largest
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A bed whose ln resistance follows `course` over seconds, a litre a second, with a scatter of its own.
    fn watched(course: impl Fn(f64) -> f64, until_s: u32, scatter: f64) -> LettingGo {
        let mut bed = LettingGo::new(13.0, 12.0);
        let mut seed = 5_u64;
        for second in 0..until_s {
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let noise = (seed >> 33) as f64 / f64::from(1_u32 << 31) - 0.5;
            let elapsed_s = f64::from(second);
            let ln = course(elapsed_s) + 3.46 * scatter * noise;
            let look = BedLook {
                elapsed_s,
                resistance_ln: ln,
                pressure_drop_ln: ln,
            };
            bed.observe(elapsed_s, look);
        }
        bed
    }

    #[test]
    fn a_fall_over_four_minutes_is_certain_and_not_at_once() {
        let bed = watched(
            |s| -0.4 * ((s - 1500.0) / 240.0).clamp(0.0, 1.0),
            1800,
            0.003,
        );
        let fall = bed.fall();
        assert!(fall.certain, "{fall:?}");
        assert!((0.28..0.38).contains(&fall.share), "{fall:?}");
        assert!(fall.at_once_share < 0.5, "{fall:?}");
        assert!((0.9..=1.0).contains(&fall.in_pressure_share), "{fall:?}");
    }

    #[test]
    fn rakes_show_as_a_fall_at_once() {
        let bed = watched(
            |s| -0.3 * (1.0 - (-(s - 1500.0).max(0.0) / 20.0).exp()),
            1800,
            0.003,
        );
        let fall = bed.fall();
        assert!(fall.certain && fall.at_once_share > 0.8, "{fall:?}");
    }

    #[test]
    fn settling_and_thinning_wort_are_the_beds_own_course() {
        for slope in [2e-4, -2e-4] {
            let bed = watched(|s| slope * s, 6000, 0.003);
            assert!(!bed.fall().certain, "slope {slope}: {:?}", bed.fall());
        }
    }

    #[test]
    fn scatter_alone_is_never_certain_in_a_hundred_run_offs() {
        let bed = watched(|_| 0.0, 540_000, 0.01);
        assert!(!bed.fall().certain && bed.certainty() < 1.0);
    }
}

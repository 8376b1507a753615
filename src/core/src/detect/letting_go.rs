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
    /// Logarithms of the resistance, and of the pressure drop and the flow that it is made of.
    pub resistance_ln: f64,
    pub pressure_drop_ln: f64,
    pub flow_ln: f64,
}

/// How the resistance has fallen since it left its course.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Fall {
    /// The sum has passed its limit.
    pub certain: bool,
    /// Resistance lost at steady flow, share of what it was.
    pub share: f64,
    /// Time since it left its course, s.
    pub lasting_s: f64,
    /// Part of the fall that came within `AT_ONCE_S`.
    pub at_once_share: f64,
    /// Part of the fall that came within `SUDDEN_S`.
    pub sudden_share: f64,
    /// Part of the fall at steady flow that the pressure drop itself shows; the rest is the flow meter's word alone.
    pub in_pressure_share: f64,
    /// Resistance now below the least this run-off has had before, share of that.
    pub below_loosest_share: f64,
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
/// With a larger step of ln flow between two looks somebody has changed the flow: what moved meanwhile is not the bed's.
const SAME_FLOW: f64 = 0.04;
/// Looks kept since the fall began.
const LOOKS_KEPT: usize = 200;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LettingGo {
    step_l: f64,
    next_l: f64,
    last: Option<BedLook>,
    /// The next look goes on from the last.
    goes_on: bool,
    slope: f64,
    scatter: f64,
    cusum: Cusum,
    /// Logarithm of the least resistance outside a fall, also before a disturbance: the same grain lies in the tun.
    loosest_ln: Option<f64>,
    before: Option<BedLook>,
    /// Elapsed time, s, and what was lost until then, of each look since.
    since: VecDeque<(f64, f64)>,
    /// Logarithms of resistance and of pressure drop lost since then at steady flow: a new flow moves the pressure drop
    /// as well, and what was lost meanwhile is nobody's.
    fallen_ln: f64,
    in_pressure_ln: f64,
}

impl LettingGo {
    /// A look each `step_l` of run-off; `limit` of the sum in standard deviations.
    pub fn new(step_l: f64, limit: f64) -> Self {
        Self {
            step_l,
            next_l: 0.0,
            last: None,
            goes_on: false,
            slope: 0.0,
            scatter: FIRST_SCATTER,
            cusum: Cusum::new(0.5, limit),
            loosest_ln: None,
            before: None,
            since: VecDeque::new(),
            fallen_ln: 0.0,
            in_pressure_ln: 0.0,
        }
    }

    /// The bed has been disturbed or an instrument has jumped: what was is no yardstick.
    pub fn restart(&mut self) {
        self.cusum.restart();
        self.last = None;
        self.before = None;
        self.forget_fall();
    }

    /// The flow is on its way somewhere: the next step begins afresh, the sum stays.
    pub fn skip(&mut self) {
        self.goes_on = false;
    }

    pub fn observe(&mut self, volume_l: f64, look: BedLook) {
        if volume_l < self.next_l {
            return;
        }
        self.next_l = volume_l + self.step_l;
        let last = self.last.replace(look);
        let goes_on = std::mem::replace(&mut self.goes_on, true);
        let joins = |last: &BedLook| goes_on && (look.flow_ln - last.flow_ln).abs() <= SAME_FLOW;
        let Some(last) = last.filter(joins) else {
            if self.cusum.fall <= 0.0 {
                self.before = Some(look);
            }
            return;
        };
        let moved = look.resistance_ln - last.resistance_ln - self.slope;
        self.cusum.add(moved / self.scatter);
        self.fallen_ln += last.resistance_ln - look.resistance_ln;
        self.in_pressure_ln += last.pressure_drop_ln - look.pressure_drop_ln;
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
            self.forget_fall();
            let loosest_ln = self.loosest_ln.unwrap_or(f64::INFINITY);
            self.loosest_ln = Some(loosest_ln.min(look.resistance_ln));
        } else {
            self.since.push_back((look.elapsed_s, self.fallen_ln));
            if self.since.len() > LOOKS_KEPT {
                self.since.pop_front();
            }
        }
    }

    fn forget_fall(&mut self) {
        self.since.clear();
        self.fallen_ln = 0.0;
        self.in_pressure_ln = 0.0;
    }

    /// Standard deviations of the sum over its limit.
    pub fn certainty(&self) -> f64 {
        self.cusum.fall / self.cusum.limit
    }

    /// The fall so far; none while the resistance keeps its course.
    pub fn fall(&self) -> Fall {
        let loosest = self.loosest_ln.zip(self.last);
        let below_loosest_ln = loosest.map_or(0.0, |(ln, last)| ln - last.resistance_ln);
        let course = Fall {
            below_loosest_share: 1.0 - (-below_loosest_ln.max(0.0)).exp(),
            ..Fall::default()
        };
        let (Some(before), Some((now_s, _))) = (self.before, self.since.back()) else {
            return course;
        };
        if self.fallen_ln <= 0.0 {
            return course;
        }
        let part = |part_ln: f64| (part_ln / self.fallen_ln).clamp(0.0, 1.0);
        Fall {
            certain: self.cusum.has_fallen(),
            share: 1.0 - (-self.fallen_ln).exp(),
            lasting_s: now_s - before.elapsed_s,
            at_once_share: part(self.largest_within(before, AT_ONCE_S)),
            sudden_share: part(self.largest_within(before, SUDDEN_S)),
            in_pressure_share: part(self.in_pressure_ln),
            ..course
        }
    }

    /// The largest fall within so many seconds, as a logarithm.
    fn largest_within(&self, before: BedLook, within_s: f64) -> f64 {
        let falls: Vec<(f64, f64)> = std::iter::once((before.elapsed_s, 0.0))
            .chain(self.since.iter().copied())
            .collect();
        let mut largest: f64 = 0.0;
        for (index, (from_s, from_ln)) in falls.iter().enumerate() {
            let within = falls[index..]
                .iter()
                .take_while(|(to_s, _)| to_s - from_s <= within_s);
            for (_, to_ln) in within {
                largest = largest.max(to_ln - from_ln);
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
                flow_ln: 0.0,
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
    fn a_bed_that_loosens_what_it_had_tightened_is_no_looser_than_ever() {
        let course = |s: f64| 4e-4 * s.min(1500.0) - 0.4 * ((s - 1500.0) / 120.0).clamp(0.0, 1.0);
        let tightened = watched(course, 1800, 0.003).fall();
        assert!(tightened.share > 0.25, "{tightened:?}");
        assert!(tightened.below_loosest_share < 0.05, "{tightened:?}");
        let channel = |s: f64| -0.4 * ((s - 1500.0) / 120.0).clamp(0.0, 1.0);
        let channel = watched(channel, 1800, 0.003).fall();
        assert!(channel.below_loosest_share > 0.25, "{channel:?}");
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

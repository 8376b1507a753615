//! Two ways of measuring one thing, compared over a whole run-off.
//!
//! Owns the difference between kettle level and summed flow. What the two have always differed by (a zero, a scale) is
//! learnt; what they begin to differ by is a change, found by cumulative sums over recursive residuals (Brown, Durbin
//! & Evans 1975). It also says which of the two the shape of the change speaks against. It knows no instruments by
//! name.

use std::collections::VecDeque;

use nalgebra::{Matrix2, Vector2};
use serde::{Deserialize, Serialize};

use super::sequential::Cusum;

/// Shares of the planned volume. Own choice, tried against the simulated tun.
const ZERO_SD: f64 = 0.01;
const SCALE_SD: f64 = 0.012;
/// What a vessel table, foam and sloshing are always out by.
const LEAST_NOISE: f64 = 0.0015;
/// Allowance and limit of the sums: by theory (Siegmund 1985) one false change in 10⁵ comparisons, a run-off has
/// about a hundred.
const ALLOWANCE: f64 = 0.75;
const LIMIT: f64 = 8.0;
/// Nothing is learnt while a sum is beyond this share of its limit.
const LEARNS_BELOW: f64 = 0.4;
/// Comparisons before a change can be dated.
const FIRST_COMPARISONS: u32 = 8;
/// What shows within fewer comparisons is no drift of a flow meter's rate.
const SLOW_COMPARISONS: usize = 12;
const KEPT: usize = 300;
/// One shape is told from the other when its misfit is at most this share of the other's, or when the difference has
/// come to this share of the planned volume. Own choice, tried against the simulated tun.
const CLEARLY: f64 = 0.75;
const PRESSING_SHARE: f64 = 0.025;
/// Comparisons before the change over which a pace is taken, and the part of the change of the difference that an
/// instrument which kept its pace may show itself.
const PACE_COMPARISONS: usize = 6;
const STOOD: f64 = 0.35;

/// Which of the two the shape of a change speaks against.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Suspect {
    /// The difference grows evenly: the level slips.
    Level,
    /// The difference grows ever faster: the flow meter's own rate drifts.
    Flow,
}

/// One comparison.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Point {
    minutes: f64,
    /// Difference beyond what was learnt, share of the planned volume.
    excess: f64,
    /// Summed flow, share of the planned volume.
    summed: f64,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    mean: Vector2<f64>,
    covariance: Matrix2<f64>,
    cusum: Cusum,
    count: u32,
    course: VecDeque<Point>,
    /// Difference beyond what was learnt, and when it began, once a change has been found.
    changed: Option<(f64, f64)>,
}

impl Default for Comparison {
    fn default() -> Self {
        Self {
            mean: Vector2::zeros(),
            covariance: Matrix2::from_diagonal(&Vector2::new(
                ZERO_SD * ZERO_SD,
                SCALE_SD * SCALE_SD,
            )),
            cusum: Cusum::new(ALLOWANCE, LIMIT),
            count: 0,
            course: VecDeque::new(),
            changed: None,
        }
    }
}

impl Comparison {
    /// Level minus summed flow, and its noise, as shares of the planned volume, when `runoff_share` had run off.
    pub fn observe(&mut self, minutes: f64, runoff_share: f64, difference: f64, noise: f64) {
        let weights = Vector2::new(1.0, runoff_share);
        let excess = difference - weights.dot(&self.mean);
        let noise_variance = noise.max(LEAST_NOISE).powi(2);
        let spread = self.covariance * weights;
        let variance = weights.dot(&spread) + noise_variance;
        self.count += 1;
        self.cusum.add((excess / variance.sqrt()).clamp(-5.0, 5.0));
        self.course.push_back(Point {
            minutes,
            excess,
            summed: runoff_share,
        });
        if self.course.len() > KEPT {
            self.course.pop_front();
        }
        let sum = self.cusum.rise.max(self.cusum.fall);
        if sum < LEARNS_BELOW * LIMIT {
            let gain = spread / variance;
            self.mean += gain * excess;
            self.covariance -= gain * spread.transpose();
        }
        let began = self.began_minutes();
        if self.cusum.has_changed() && self.count > FIRST_COMPARISONS {
            self.changed = Some((excess, began));
        } else if sum <= 0.0 {
            self.changed = None;
        }
    }

    /// Difference beyond what was learnt, share of the planned volume, and the minute it began; None without one.
    pub fn change(&self) -> Option<(f64, f64)> {
        self.changed
    }

    fn steps_since(&self) -> usize {
        let (rising, falling) = (self.cusum.rising_for, self.cusum.falling_for);
        let steps = if self.cusum.rise >= self.cusum.fall {
            rising
        } else {
            falling
        };
        (steps as usize).clamp(1, self.course.len().max(1))
    }

    fn began_minutes(&self) -> f64 {
        let first = self.course.len().saturating_sub(self.steps_since());
        self.course.get(first).map_or(0.0, |point| point.minutes)
    }

    /// A bent course speaks against the flow meter, also where a controller holds its reading; else whichever changed its
    /// own pace; else a straight course against the level. None while nothing is clear and the difference does not
    /// press.
    pub fn suspect(&self) -> Option<Suspect> {
        let (excess, _) = self.changed?;
        if self.steps_since() < SLOW_COMPARISONS {
            return self.changed_pace().or(Some(Suspect::Level));
        }
        let misfit = |power: i32| {
            let last = self.course.len();
            let first = last.saturating_sub(self.steps_since());
            let earliest = first.saturating_sub(15);
            (earliest..last.saturating_sub(4))
                .map(|from| self.misfit(earliest, from, power))
                .fold(f64::INFINITY, f64::min)
        };
        let (bent, straight) = (misfit(2), misfit(1));
        let presses = excess.abs() >= PRESSING_SHARE;
        if bent <= CLEARLY * straight {
            Some(Suspect::Flow)
        } else if let Some(suspect) = self.changed_pace() {
            Some(suspect)
        } else if bent < straight {
            presses.then_some(Suspect::Flow)
        } else {
            (presses || straight <= CLEARLY * bent).then_some(Suspect::Level)
        }
    }

    /// Which of the two changed its own pace when they began to differ, if one did and the other did not: a flow meter
    /// that steps, a level that slips.
    fn changed_pace(&self) -> Option<Suspect> {
        let begins = self.course.len().saturating_sub(self.steps_since());
        let (before, since) = (begins.checked_sub(PACE_COMPARISONS)?, self.course.len() - 1);
        if since < begins + PACE_COMPARISONS / 2 {
            return None;
        }
        let pace = |from: usize, to: usize, of: fn(&Point) -> f64| {
            let (first, last) = (&self.course[from], &self.course[to]);
            (of(last) - of(first)) / (last.minutes - first.minutes).max(1e-6)
        };
        // The sum is nought a little before the change shows in it.
        let to = begins.saturating_sub(1);
        let change = |of| pace(begins, since, of) - pace(before, to, of);
        let (summed, excess) = (change(|point| point.summed), change(|point| point.excess));
        let level = summed + excess;
        let stood = |own: f64| own.abs() <= STOOD * excess.abs();
        match (stood(summed), stood(level)) {
            (true, false) => Some(Suspect::Level),
            (false, true) => Some(Suspect::Flow),
            _ => None,
        }
    }

    /// Squares left of c·(t − t0)^power from course point `from` on, nought before it.
    fn misfit(&self, earliest: usize, from: usize, power: i32) -> f64 {
        let begin = self.course[from].minutes;
        let basis = |minutes: f64| (minutes - begin).max(0.0).powi(power);
        let points = || self.course.iter().skip(earliest);
        let below: f64 = points().map(|point| basis(point.minutes).powi(2)).sum();
        let above: f64 = points()
            .map(|point| basis(point.minutes) * point.excess)
            .sum();
        let factor = if below > 0.0 { above / below } else { 0.0 };
        points()
            .map(|point| (point.excess - factor * basis(point.minutes)).powi(2))
            .sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An hour and a half of comparisons, one a minute; `change` in shares over minutes.
    fn compared(change: impl Fn(f64) -> f64) -> Comparison {
        let mut comparison = Comparison::default();
        let mut seed = 9_u64;
        for minute in 0..90 {
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let noise = (seed >> 33) as f64 / f64::from(1_u32 << 31) - 0.5;
            let minutes = f64::from(minute);
            let share = minutes / 90.0;
            let difference = 0.004 + 0.008 * share + 0.002 * noise + change(minutes);
            comparison.observe(minutes, share, difference, 0.001);
        }
        comparison
    }

    #[test]
    fn a_zero_and_a_scale_that_were_always_there_are_no_change() {
        assert_eq!(compared(|_| 0.0).change(), None);
    }

    #[test]
    fn a_slipping_level_is_found_dated_and_told_from_a_drifting_flow_meter() {
        let slips = compared(|m| 0.001 * (m - 40.0).max(0.0));
        let (excess, began) = slips.change().expect("found");
        assert!((0.035..0.06).contains(&excess), "{excess}");
        assert!((36.0..52.0).contains(&began), "{began}");
        assert_eq!(slips.suspect(), Some(Suspect::Level));
        let drifts = compared(|m| -0.000_018 * (m - 30.0).max(0.0).powi(2));
        assert!(drifts.change().is_some());
        assert_eq!(drifts.suspect(), Some(Suspect::Flow));
    }
}

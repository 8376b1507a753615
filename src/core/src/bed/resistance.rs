//! Resistance of the grain bed and its course.
//!
//! Owns R = Δp·A/(μ·Q) after Darcy (1856), which takes flow and viscosity out of the pressure drop, its trend,
//! and the headroom to the site's limit. It does not decide what a change means; that is detection's work.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::reading::Moment;

/// How the resistance is smoothed and compared. Common practice, no source; tried against the simulated tun.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Parameters {
    /// Time constant of the smoothed resistance, s, 5 to 300.
    pub smoothing_s: f64,
    /// Interval of the kept course, s, 2 to 60.
    pub course_every_s: f64,
    /// Length of the kept course, s, 120 to 3600.
    pub course_length_s: f64,
    /// Flow below this share of the planned flow says nothing about the bed, 0.05 to 0.9.
    pub least_flow_share: f64,
    /// Greatest age of a resistance that stands for the bed before a raking or after it, s, 5 to 600. Origin: own choice,
    /// three time constants of the smoothing.
    pub rake_age_s: f64,
    /// Greatest wait from the end of a raking for the resistance that it is judged by, s, 180 to 3600: later the bed has
    /// changed by itself. Origin: own choice, as long as the gain in extract is summed.
    pub rake_wait_s: f64,
}

impl Default for Parameters {
    fn default() -> Self {
        Self {
            smoothing_s: 20.0,
            course_every_s: 10.0,
            course_length_s: 600.0,
            least_flow_share: 0.3,
            rake_age_s: 60.0,
            rake_wait_s: 600.0,
        }
    }
}

impl Parameters {
    /// Everything outside its range, as sentences.
    pub fn check(&self) -> Vec<String> {
        let ranges = [
            ("smoothing_s", self.smoothing_s, 5.0, 300.0),
            ("course_every_s", self.course_every_s, 2.0, 60.0),
            ("course_length_s", self.course_length_s, 120.0, 3600.0),
            ("least_flow_share", self.least_flow_share, 0.05, 0.9),
            ("rake_age_s", self.rake_age_s, 5.0, 600.0),
            ("rake_wait_s", self.rake_wait_s, 180.0, 3600.0),
        ];
        crate::units::outside_ranges(&ranges)
    }
}

/// What flows through the bed now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flowing {
    pub pressure_drop_kpa: f64,
    pub flow_l_min: f64,
    pub viscosity_mpa_s: f64,
}

impl Flowing {
    /// R = Δp·A/(μ·Q), 1/m, of a bed of `area_m2`; only with flow does it mean anything.
    pub fn resistance_per_m(&self, area_m2: f64) -> f64 {
        let flow_m3_s = self.flow_l_min / 60_000.0;
        self.pressure_drop_kpa * 1000.0 * area_m2 / (self.viscosity_mpa_s * 1e-3 * flow_m3_s)
    }
}

/// The bed's resistance over the run-off.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bed {
    parameters: Parameters,
    area_m2: f64,
    least_flow_l_min: f64,
    /// Natural logarithm of the resistance in 1/m, smoothed.
    smoothed_ln: Option<f64>,
    course: VecDeque<(Moment, f64)>,
    last: Option<Moment>,
}

impl Bed {
    pub fn new(parameters: Parameters, area_m2: f64, planned_flow_l_min: f64) -> Self {
        Self {
            parameters,
            area_m2,
            least_flow_l_min: parameters.least_flow_share * planned_flow_l_min,
            smoothed_ln: None,
            course: VecDeque::new(),
            last: None,
        }
    }

    pub fn observe(&mut self, flowing: Flowing, now: Moment) {
        if flowing.flow_l_min < self.least_flow_l_min || flowing.pressure_drop_kpa <= 0.0 {
            return;
        }
        let resistance = flowing.resistance_per_m(self.area_m2);
        let ln = resistance.ln();
        let step_s = self.last.map_or(0.0, |last| now.since(last));
        let weight = 1.0 - (-step_s / self.parameters.smoothing_s).exp();
        let smoothed = self
            .smoothed_ln
            .map_or(ln, |smoothed| smoothed + weight * (ln - smoothed));
        self.smoothed_ln = Some(smoothed);
        self.last = Some(now);
        let due = self
            .course
            .back()
            .is_none_or(|(at, _)| now.since(*at) >= self.parameters.course_every_s);
        if due {
            self.course.push_back((now, smoothed));
        }
        while self
            .course
            .front()
            .is_some_and(|(at, _)| now.since(*at) > self.parameters.course_length_s)
        {
            self.course.pop_front();
        }
    }

    /// After raking or a pause the bed is another bed: earlier figures are no yardstick.
    pub fn forget_course(&mut self) {
        self.course.clear();
        self.smoothed_ln = None;
    }

    /// Resistance now, 1/m; None before there is enough flow and a pressure drop.
    pub fn resistance_per_m(&self) -> Option<f64> {
        self.smoothed_ln.map(f64::exp)
    }

    /// The same, if it has been measured within the last `age_s`.
    pub fn resistance_within_per_m(&self, age_s: f64, now: Moment) -> Option<f64> {
        let measured = self.last.is_some_and(|last| now.since(last) <= age_s);
        self.resistance_per_m().filter(|_| measured)
    }

    /// There is what a resistance is made of: it has been measured in this run-off.
    pub fn is_measured(&self) -> bool {
        self.last.is_some()
    }

    /// Seconds until the pressure drop reaches `limit_kpa` at the present flow, if the course goes on as over
    /// the last minutes; None while it does not rise.
    pub fn seconds_to_limit(&self, pressure_drop_kpa: f64, limit_kpa: f64) -> Option<f64> {
        if pressure_drop_kpa >= limit_kpa {
            return Some(0.0);
        }
        let slope_per_s = self.slope_per_s()?;
        (slope_per_s > 1e-6 && pressure_drop_kpa > 0.0)
            .then(|| (limit_kpa / pressure_drop_kpa).ln() / slope_per_s)
    }

    /// Least-squares slope of ln R over the kept course, 1/s.
    fn slope_per_s(&self) -> Option<f64> {
        let (last, _) = self.course.back()?;
        if self.course.len() < 12 {
            return None;
        }
        let count = self.course.len() as f64;
        let points = self.course.iter().map(|(at, ln)| (at.since(*last), *ln));
        let (sum_t, sum_ln) = points.clone().fold((0.0, 0.0), |(sum_t, sum_ln), (t, ln)| {
            (sum_t + t, sum_ln + ln)
        });
        let (mean_t, mean_ln) = (sum_t / count, sum_ln / count);
        let (above, below) = points.fold((0.0, 0.0), |(above, below), (t, ln)| {
            let from_mean_t = t - mean_t;
            (
                above + from_mean_t * (ln - mean_ln),
                below + from_mean_t * from_mean_t,
            )
        });
        (below > 0.0).then(|| above / below)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(
        bed: &mut Bed,
        from_s: u32,
        to_s: u32,
        pressure_drop_kpa: impl Fn(f64) -> f64,
        flow_l_min: f64,
    ) {
        for t in from_s..to_s {
            let flowing = Flowing {
                pressure_drop_kpa: pressure_drop_kpa(f64::from(t)),
                flow_l_min,
                viscosity_mpa_s: 0.6,
            };
            bed.observe(flowing, Moment::from_seconds(f64::from(t)));
        }
    }

    #[test]
    fn a_step_of_the_flow_leaves_the_resistance_unchanged() {
        let mut bed = Bed::new(Parameters::default(), 7.0, 60.0);
        run(&mut bed, 0, 600, |_| 1.0, 60.0);
        let before = bed.resistance_per_m().unwrap();
        run(&mut bed, 600, 900, |_| 0.75, 45.0);
        assert!((bed.resistance_per_m().unwrap() / before - 1.0).abs() < 1e-9);
    }

    #[test]
    fn an_opening_channel_shows_as_a_fall() {
        let mut bed = Bed::new(Parameters::default(), 7.0, 60.0);
        run(&mut bed, 0, 600, |_| 1.0, 60.0);
        let before = bed.resistance_per_m().unwrap();
        run(
            &mut bed,
            600,
            780,
            |t| 1.0 - 0.4 * (t - 600.0) / 180.0,
            60.0,
        );
        let change = bed.resistance_per_m().unwrap() / before - 1.0;
        assert!((-0.45..-0.3).contains(&change), "{change}");
    }

    #[test]
    fn a_tightening_bed_is_foreseen_to_reach_its_limit() {
        let mut bed = Bed::new(Parameters::default(), 7.0, 60.0);
        run(&mut bed, 0, 900, |t| (t / 900.0).exp(), 60.0);
        let seconds = bed
            .seconds_to_limit(1.0_f64.exp(), 2.0 * 1.0_f64.exp())
            .unwrap();
        assert!(
            (600.0..650.0).contains(&seconds),
            "{seconds} s instead of {}",
            900.0 * 2.0_f64.ln()
        );
    }

    #[test]
    fn no_flow_says_nothing_about_the_bed() {
        let mut bed = Bed::new(Parameters::default(), 7.0, 60.0);
        run(&mut bed, 0, 100, |_| 0.3, 0.0);
        assert_eq!(bed.resistance_per_m(), None);
    }
}

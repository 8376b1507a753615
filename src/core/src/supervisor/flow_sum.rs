//! The sum of a flow over irregular readings.
//!
//! Owns the trapezoids between believed readings and what noise about nought flow may not add. It does not know what
//! stands in for a silent meter.

use serde::{Deserialize, Serialize};

use crate::conditioning::Timed;
use crate::reading::Moment;

/// Sum of a flow in L/min over its believed readings.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct FlowSum {
    total_l: f64,
    /// Shortfall of the true sum of the readings below `total_l`: about nought flow a meter's noise has both signs,
    /// and a sum of its upper half alone would grow.
    debt_l: f64,
    /// The highest flow summed, L/min.
    highest_l_min: f64,
    last: Option<Timed>,
}

/// What a debt may come to, min of the highest flow: a meter that reads below nought for long is no reason to
/// swallow wort later. Own choice.
const DEBT_MIN: f64 = 0.005;

impl FlowSum {
    /// A believed reading: the trapezoid from the last one, if that is not too old.
    pub fn add(&mut self, reading: Timed, stale_after_s: f64) {
        if let Some(last) = self.last {
            let gap_s = reading.at.since(last.at);
            if gap_s <= 0.0 {
                return;
            }
            if gap_s <= stale_after_s {
                self.sum(f64::midpoint(last.value, reading.value) * gap_s / 60.0);
                self.highest_l_min = self.highest_l_min.max(reading.value);
            }
        }
        self.last = Some(reading);
    }

    fn sum(&mut self, litres: f64) {
        let beyond_l = litres - self.debt_l;
        self.total_l += beyond_l.max(0.0);
        self.debt_l = (-beyond_l).clamp(0.0, DEBT_MIN * self.highest_l_min);
    }

    /// Litres until `now`, the last reading held.
    pub fn litres(&self, now: Moment, stale_after_s: f64) -> Option<f64> {
        let last = self.last?;
        let gap_s = now.since(last.at);
        (gap_s <= stale_after_s).then(|| {
            let held_l = last.value * gap_s.max(0.0) / 60.0 - self.debt_l;
            self.total_l + held_l.max(0.0)
        })
    }

    pub fn last_l_min(&self) -> Option<f64> {
        self.last.map(|last| last.value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: f64, value: f64) -> Timed {
        Timed {
            at: Moment::from_seconds(second),
            value,
        }
    }

    #[test]
    fn a_ramp_of_the_flow_is_summed_exactly() {
        let mut sum = FlowSum::default();
        for second in [0.0, 1.0, 4.0, 9.5, 10.0] {
            sum.add(at(second, 6.0 * second), 10.0);
        }
        assert!((sum.litres(Moment::from_seconds(10.0), 10.0).unwrap() - 5.0).abs() < 1e-12);
    }

    #[test]
    fn noise_about_nought_flow_sums_to_nothing() {
        let mut sum = FlowSum::default();
        sum.add(at(0.0, 60.0), 10.0);
        sum.add(at(1.0, 60.0), 10.0);
        for second in 2..7200 {
            let noise = if second % 2 == 0 { 0.5 } else { -0.5 };
            sum.add(at(f64::from(second), noise), 10.0);
        }
        let litres = sum.litres(Moment::from_seconds(7199.0), 10.0).unwrap();
        assert!((1.0..1.6).contains(&litres), "{litres}");
    }

    #[test]
    fn wort_is_not_swallowed_after_a_meter_read_below_nought_for_long() {
        let mut sum = FlowSum::default();
        for second in 0..=600 {
            sum.add(at(f64::from(second), 60.0), 10.0);
        }
        for second in 601..2000 {
            sum.add(at(f64::from(second), -1.0), 10.0);
        }
        for second in 2000..=2600 {
            sum.add(at(f64::from(second), 60.0), 10.0);
        }
        let litres = sum.litres(Moment::from_seconds(2600.0), 10.0).unwrap();
        assert!((litres - 1200.0).abs() < 1.5, "{litres}");
    }

    #[test]
    fn a_silent_flow_meter_has_no_sum() {
        let mut sum = FlowSum::default();
        sum.add(at(0.0, 60.0), 10.0);
        assert_eq!(sum.litres(Moment::from_seconds(11.0), 10.0), None);
    }
}

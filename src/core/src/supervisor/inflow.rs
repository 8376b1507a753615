//! How much has run off, whichever instrument can tell.
//!
//! Owns the sum of the flow over irregular readings and the order of the stand-ins when the flow meter is
//! silent: totaliser, level, and at last the flow as it was. It does not know gravity or the kettle's state.

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

/// What each possible source says at one step; None where it is not there or not to be believed.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(super) struct Sources {
    /// Sum of the flow meter.
    pub summed_l: Option<f64>,
    /// Reading of the totaliser.
    pub totalised_l: Option<f64>,
    /// Volume by the level.
    pub level_l: Option<f64>,
    /// Flow to assume where nothing tells.
    pub assumed_l_min: f64,
}

/// Litres of one step and how they are known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Portion {
    pub volume_l: f64,
    /// Standard deviation beside the flow meter's scale: nought while a meter tells.
    pub unmetered_sd_l: f64,
}

/// The last word of each source.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Inflow {
    summed_l: Option<f64>,
    totalised_l: Option<f64>,
    level_l: Option<f64>,
    /// Litres that were put in on assumption since a counter was last read: a counter that returns knows them.
    assumed_l: f64,
}

/// What the assumed flow may be out by, share. Common practice, no source.
const ASSUMED_SD_SHARE: f64 = 0.3;
/// What a level difference may be out by, share.
const LEVEL_SD_SHARE: f64 = 0.02;

impl Inflow {
    /// Litres since the last step by the best source that spoke at both its ends.
    pub fn step(&mut self, sources: &Sources, step_s: f64, flow_seen: bool) -> Portion {
        let summed = difference(self.summed_l, sources.summed_l);
        let totalised =
            difference(self.totalised_l, sources.totalised_l).filter(|litres| *litres >= 0.0);
        let level = difference(self.level_l, sources.level_l);
        let portion = if let Some(volume_l) = summed.filter(|_| self.assumed_l == 0.0) {
            Portion {
                volume_l,
                unmetered_sd_l: 0.0,
            }
        } else if let Some(volume_l) = totalised {
            Portion {
                volume_l: volume_l - std::mem::take(&mut self.assumed_l),
                unmetered_sd_l: 0.0,
            }
        } else if let Some(volume_l) = summed {
            Portion {
                volume_l,
                unmetered_sd_l: 0.0,
            }
        } else if let Some(volume_l) = level.filter(|_| sources.summed_l.is_none()) {
            Portion {
                volume_l,
                unmetered_sd_l: LEVEL_SD_SHARE * volume_l.abs(),
            }
        } else if flow_seen {
            let volume_l = sources.assumed_l_min * step_s / 60.0;
            self.assumed_l += volume_l;
            Portion {
                volume_l,
                unmetered_sd_l: ASSUMED_SD_SHARE * volume_l,
            }
        } else {
            Portion {
                volume_l: 0.0,
                unmetered_sd_l: 0.0,
            }
        };
        if sources.summed_l.is_some() && self.totalised_l.is_none() {
            self.assumed_l = 0.0;
        }
        self.summed_l = sources.summed_l;
        // A counter goes on counting while it is out of sight, so its last word stays good; a silent flow
        // meter's or a level's does not.
        self.totalised_l = sources.totalised_l.or(self.totalised_l);
        self.level_l = sources.level_l;
        portion
    }
}

fn difference(before: Option<f64>, now: Option<f64>) -> Option<f64> {
    Some(now? - before?)
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

    #[test]
    fn the_totaliser_bridges_a_silence_of_the_flow_meter() {
        let mut inflow = Inflow::default();
        let mut volume_l = 0.0;
        for second in 0..100 {
            let litres = f64::from(second);
            let silent = (30..60).contains(&second);
            let sources = Sources {
                summed_l: (!silent).then_some(litres),
                totalised_l: Some(1000.0 + litres),
                ..Sources::default()
            };
            volume_l += inflow.step(&sources, 1.0, true).volume_l;
        }
        assert!((volume_l - 99.0).abs() < 1e-9, "{volume_l}");
    }

    #[test]
    fn a_lost_link_is_bridged_by_the_counter_when_it_returns() {
        let mut inflow = Inflow::default();
        let mut volume_l = 0.0;
        for second in 0..100 {
            let litres = f64::from(second);
            let there = !(30..60).contains(&second);
            let sources = Sources {
                summed_l: there.then_some(litres),
                totalised_l: there.then_some(500.0 + litres),
                assumed_l_min: 30.0,
                ..Sources::default()
            };
            volume_l += inflow.step(&sources, 1.0, second > 0).volume_l;
        }
        assert!((volume_l - 99.0).abs() < 1e-9, "{volume_l}");
    }

    #[test]
    fn with_nothing_left_the_flow_is_assumed_and_doubted() {
        let mut inflow = Inflow::default();
        let portion = inflow.step(
            &Sources {
                assumed_l_min: 60.0,
                ..Sources::default()
            },
            1.0,
            true,
        );
        assert!((portion.volume_l - 1.0).abs() < 1e-12);
        assert!(portion.unmetered_sd_l > 0.1);
    }
}

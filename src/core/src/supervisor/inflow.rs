//! How much has run off, whichever instrument can tell.
//!
//! Owns the order of the stand-ins when the flow meter is silent: totaliser, level, and at last the flow as it was. It
//! does not know gravity or the kettle's state.

use serde::{Deserialize, Serialize};

use crate::alarm::AlarmId;
use crate::detect::Finding;

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
    /// Standard deviation beside the flow meter's scale: nought while a meter tells. Negative where a counter has
    /// resolved what was doubtful before.
    pub unmetered_sd_l: f64,
}

/// The last word of each source, and what stands in for them while they are silent.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Inflow {
    summed_l: Option<f64>,
    totalised_l: Option<f64>,
    level_l: Option<f64>,
    /// The level before anything was assumed.
    level_before_l: Option<f64>,
    /// Something has been assumed since a counter or the level was last read: whichever returns knows better.
    pending: bool,
    /// Litres that were put in since then, assumed or measured.
    put_in_l: f64,
    /// Those of them that were assumed, and what they may be out by.
    assumed_l: f64,
    assumed_sd_l: f64,
}

/// What the assumed flow may be out by, share. Common practice, no source.
pub(super) const ASSUMED_SD_SHARE: f64 = 0.3;
/// What a level difference may be out by, share.
const LEVEL_SD_SHARE: f64 = 0.02;

impl Inflow {
    /// Litres since the last step by the best source that spoke at both its ends.
    pub fn step(&mut self, sources: &Sources, step_s: f64, flow_seen: bool) -> Portion {
        let summed = difference(self.summed_l, sources.summed_l);
        let totalised =
            difference(self.totalised_l, sources.totalised_l).filter(|litres| *litres >= 0.0);
        let level = difference(self.level_l, sources.level_l);
        let portion = if let Some(volume_l) = summed.filter(|_| !self.pending) {
            metered(volume_l)
        } else if let Some(counted_l) = totalised {
            self.resolve(counted_l, 0.0)
        } else if let Some(risen_l) = self.regained_level(sources) {
            self.resolve(risen_l, LEVEL_SD_SHARE)
        } else if let Some(volume_l) = summed {
            metered(volume_l)
        } else if let Some(volume_l) = level.filter(|_| sources.summed_l.is_none()) {
            Portion {
                volume_l,
                unmetered_sd_l: LEVEL_SD_SHARE * volume_l.abs(),
            }
        } else if flow_seen {
            self.assume(sources.assumed_l_min * step_s / 60.0)
        } else {
            metered(0.0)
        };
        if self.pending {
            self.put_in_l += portion.volume_l;
        }
        if sources.summed_l.is_some() && !self.can_be_resolved() {
            self.forget_assumptions();
        }
        self.summed_l = sources.summed_l;
        // A counter goes on counting while it is out of sight, so its last word stays good; a silent flow
        // meter's or a level's does not.
        self.totalised_l = sources.totalised_l.or(self.totalised_l);
        self.level_l = sources.level_l;
        portion
    }

    fn assume(&mut self, volume_l: f64) -> Portion {
        let unmetered_sd_l = ASSUMED_SD_SHARE * volume_l;
        self.begin_assuming();
        self.assumed_l += volume_l;
        self.assumed_sd_l += unmetered_sd_l;
        Portion {
            volume_l,
            unmetered_sd_l,
        }
    }

    fn begin_assuming(&mut self) {
        if !self.pending {
            self.pending = true;
            self.level_before_l = self.level_l;
        }
    }

    /// What the level has risen by since before anything was assumed, where no counter can tell.
    fn regained_level(&self, sources: &Sources) -> Option<f64> {
        if !self.pending || self.totalised_l.is_some() {
            return None;
        }
        difference(self.level_before_l, sources.level_l)
    }

    /// A source that has seen the whole of it puts right what was put in meanwhile.
    fn resolve(&mut self, whole_l: f64, sd_share: f64) -> Portion {
        let portion = Portion {
            volume_l: whole_l - self.put_in_l,
            unmetered_sd_l: sd_share * whole_l.abs() - self.assumed_sd_l,
        };
        self.forget_assumptions();
        portion
    }

    fn can_be_resolved(&self) -> bool {
        self.totalised_l.is_some() || self.level_before_l.is_some()
    }

    fn forget_assumptions(&mut self) {
        self.pending = false;
        self.level_before_l = None;
        self.put_in_l = 0.0;
        self.assumed_l = 0.0;
        self.assumed_sd_l = 0.0;
    }

    /// Time has passed in which not even an assumption is worth anything: `sd_l` of doubt without a litre. A counter
    /// that returns resolves it.
    pub fn lose_sight(&mut self, sd_l: f64) {
        self.begin_assuming();
        self.assumed_sd_l += sd_l;
        self.summed_l = None;
        self.level_l = None;
    }

    /// Litres that were assumed since the meters fell silent.
    pub fn assumed_l(&self) -> f64 {
        self.assumed_l
    }

    /// A finding about the kettle's content that rests on assumed litres says so before anything else.
    pub fn doubting(&self, finding: Finding) -> Finding {
        let rests = matches!(
            finding.alarm,
            AlarmId::StopPointReached | AlarmId::StopPointAhead | AlarmId::KettleHighLevel
        );
        if !rests || !finding.holds || self.assumed_l < LEAST_TOLD_L {
            return finding;
        }
        let message = format!(
            "Not measured: {:.0} L are assumed since the meters fell silent. Look into the kettle and take a sample. {}",
            self.assumed_l, finding.message
        );
        Finding { message, ..finding }.with("assumed_l", self.assumed_l)
    }
}

/// Less than this is assumed at every hiccup of a link, L. Own choice.
const LEAST_TOLD_L: f64 = 20.0;

fn metered(volume_l: f64) -> Portion {
    Portion {
        volume_l,
        unmetered_sd_l: 0.0,
    }
}

fn difference(before: Option<f64>, now: Option<f64>) -> Option<f64> {
    Some(now? - before?)
}

#[cfg(test)]
mod tests {
    use super::*;

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
    fn a_counter_that_returns_resolves_the_doubt_of_what_was_assumed() {
        let mut inflow = Inflow::default();
        let mut doubt_l = 0.0;
        for second in 0..100 {
            let litres = f64::from(second);
            let there = !(30..60).contains(&second);
            let sources = Sources {
                summed_l: there.then_some(litres),
                totalised_l: there.then_some(500.0 + litres),
                assumed_l_min: 30.0,
                ..Sources::default()
            };
            doubt_l += inflow.step(&sources, 1.0, second > 0).unmetered_sd_l;
            assert!(there || doubt_l > 0.1, "{second}");
        }
        assert!(doubt_l.abs() < 1e-9, "{doubt_l}");
    }

    #[test]
    fn a_counter_that_returns_late_counts_nothing_twice() {
        let mut inflow = Inflow::default();
        let mut volume_l = 0.0;
        for second in 0..120 {
            let litres = f64::from(second);
            let sources = Sources {
                summed_l: (!(30..60).contains(&second)).then_some(litres),
                totalised_l: (!(30..90).contains(&second)).then_some(500.0 + litres),
                assumed_l_min: 30.0,
                ..Sources::default()
            };
            volume_l += inflow.step(&sources, 1.0, second > 0).volume_l;
        }
        assert!((volume_l - 119.0).abs() < 1e-9, "{volume_l}");
    }

    #[test]
    fn without_a_counter_the_level_bridges_a_silence_of_everything() {
        let mut inflow = Inflow::default();
        let mut volume_l = 0.0;
        for second in 0..100 {
            let litres = f64::from(second);
            let there = !(30..60).contains(&second);
            let sources = Sources {
                summed_l: there.then_some(litres),
                level_l: there.then_some(2000.0 + litres),
                assumed_l_min: 30.0,
                ..Sources::default()
            };
            volume_l += inflow.step(&sources, 1.0, second > 0).volume_l;
        }
        assert!((volume_l - 99.0).abs() < 1e-9, "{volume_l}");
        assert!(inflow.assumed_l().abs() < 1e-12);
    }

    #[test]
    fn what_rests_on_assumed_litres_says_so_first() {
        let mut inflow = Inflow::default();
        let silent = Sources {
            assumed_l_min: 60.0,
            ..Sources::default()
        };
        let full = || Finding::new(AlarmId::KettleHighLevel, true, || "Full.".to_owned());
        assert_eq!(inflow.doubting(full()), full());
        for _ in 0..300 {
            inflow.step(&silent, 1.0, true);
        }
        let told = inflow.doubting(full());
        assert!(
            told.message.starts_with("Not measured: 300 L are assumed"),
            "{}",
            told.message
        );
        assert!((told.evidence["assumed_l"] - 300.0).abs() < 1e-9);
        let other = Finding::new(AlarmId::StuckBed, true, || "Stuck.".to_owned());
        assert_eq!(inflow.doubting(other.clone()), other);
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

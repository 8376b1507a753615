//! The stop rule: what ends the run-off first, and what the kettle then needs.
//!
//! Owns the choice among target gravity, tannin limits and capacity, and the top-up liquor's arithmetic. The
//! gravity decides and not a volume; a limit on the runnings comes before it because tannin once leached
//! stays.

use crate::kettle::Contents;
use crate::units::{water_density_kg_m3, wort_density_kg_m3};

use super::answer::{Crossing, Stop, StopCause};
use super::ensemble::Crossings;

/// What the rule needs beside the crossings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StopRule {
    pub target_gravity_p: f64,
    pub capacity_l: f64,
    pub top_up_temperature_c: f64,
    /// Temperature of the wort in the kettle.
    pub kettle_temperature_c: f64,
}

/// Liquor that brings `wort_kg` at `gravity_p` down to `target_gravity_p`, L at its own temperature: extract is
/// kept, so the wort's mass grows by gravity over target.
pub fn top_up_l(
    wort_kg: f64,
    gravity_p: f64,
    target_gravity_p: f64,
    liquor_temperature_c: f64,
) -> f64 {
    let liquor_kg = wort_kg * (gravity_p / target_gravity_p - 1.0);
    (liquor_kg * 1000.0 / water_density_kg_m3(liquor_temperature_c)).max(0.0)
}

/// Share of the kettle's mass that boiling must drive off to bring it up to the target; nought above it.
pub fn boil_off_share(gravity_p: f64, target_gravity_p: f64) -> f64 {
    (1.0 - gravity_p / target_gravity_p).max(0.0)
}

struct Candidate {
    cause: StopCause,
    volume_l: f64,
    elapsed_s: f64,
    kettle_gravity_p: f64,
}

impl StopRule {
    /// What to do now given where everything is expected to cross. None when nothing will end the run-off.
    pub fn decide(
        &self,
        crossings: &Crossings,
        contents: &Contents,
        elapsed_s: f64,
        flow_l_min: f64,
    ) -> Option<Stop> {
        let reached = |crossing: Option<Crossing>, cause, kettle_gravity_p: Option<f64>| {
            crossing.map(|crossing| Candidate {
                cause,
                volume_l: crossing.volume_l.p50,
                elapsed_s: crossing.elapsed_s.p50,
                kettle_gravity_p: kettle_gravity_p.unwrap_or(self.target_gravity_p),
            })
        };
        let now_p = contents.gravity_p.unwrap_or(self.target_gravity_p);
        let target = reached(
            crossings.target,
            StopCause::TargetGravity,
            Some(self.target_gravity_p),
        );
        let full_in_l = (self.capacity_l - contents.volume_l).max(0.0);
        let capacity = Candidate {
            cause: StopCause::KettleCapacity,
            volume_l: self.capacity_l,
            elapsed_s: elapsed_s + 60.0 * full_in_l / flow_l_min.max(1e-3),
            kettle_gravity_p: self.gravity_on_the_way(now_p, contents.volume_l, crossings.target),
        };
        [
            target,
            reached(
                crossings.gravity_floor,
                StopCause::GravityFloor,
                crossings.kettle_gravity_at_floor_p,
            ),
            reached(
                crossings.ph_ceiling,
                StopCause::PhCeiling,
                crossings.kettle_gravity_at_ceiling_p,
            ),
            Some(capacity),
        ]
        .into_iter()
        .flatten()
        .min_by(|a, b| a.volume_l.total_cmp(&b.volume_l))
        .map(|first| self.stop(&first))
    }

    /// The stop at a moment that has come: `kettle_gravity_p` is what the kettle holds then.
    pub fn at(&self, cause: StopCause, contents: &Contents, elapsed_s: f64) -> Stop {
        self.stop(&Candidate {
            cause,
            volume_l: contents.volume_l,
            elapsed_s,
            kettle_gravity_p: contents.gravity_p.unwrap_or(self.target_gravity_p),
        })
    }

    fn stop(&self, first: &Candidate) -> Stop {
        let kg_per_l =
            wort_density_kg_m3(first.kettle_gravity_p, self.kettle_temperature_c) / 1000.0;
        let wort_kg = first.volume_l * kg_per_l;
        let top_up_l = if first.cause == StopCause::TargetGravity {
            0.0
        } else {
            // No advice to overfill: what the kettle has no room for is not added.
            let room_l = (self.capacity_l - first.volume_l).max(0.0);
            top_up_l(
                wort_kg,
                first.kettle_gravity_p,
                self.target_gravity_p,
                self.top_up_temperature_c,
            )
            .min(room_l)
        };
        Stop {
            cause: first.cause,
            volume_l: first.volume_l,
            elapsed_s: first.elapsed_s,
            top_up_l,
            final_volume_l: first.volume_l + top_up_l,
        }
    }

    /// Kettle gravity at the brim, on the way from now to the target; a straight line over volume serves,
    /// since the brim is close whenever it matters.
    fn gravity_on_the_way(&self, now_p: f64, volume_l: f64, target: Option<Crossing>) -> f64 {
        let Some(target) = target else { return now_p };
        let distance_l = target.volume_l.p50 - volume_l;
        if distance_l <= 0.0 {
            return now_p;
        }
        let share = ((self.capacity_l - volume_l) / distance_l).clamp(0.0, 1.0);
        now_p + share * (self.target_gravity_p - now_p)
    }
}

#[cfg(test)]
mod tests {
    use super::super::answer::Band;
    use super::*;

    fn rule(capacity_l: f64) -> StopRule {
        StopRule {
            target_gravity_p: 12.4,
            capacity_l,
            top_up_temperature_c: 20.0,
            kettle_temperature_c: 75.0,
        }
    }

    fn crossing(volume_l: f64) -> Crossing {
        Crossing {
            volume_l: Band::around(volume_l, 50.0),
            elapsed_s: Band::around(volume_l, 50.0),
        }
    }

    fn contents() -> Contents {
        Contents {
            volume_l: 4000.0,
            volume_se_l: 20.0,
            unseen_se_l: 0.0,
            unseen_p: 0.0,
            extract_kg: 560.0,
            wort_kg: 4000.0,
            gravity_p: Some(14.0),
            gravity_se_p: 0.05,
        }
    }

    #[test]
    fn the_target_decides_when_no_limit_comes_first() {
        let crossings = Crossings {
            target: Some(crossing(5200.0)),
            gravity_floor: Some(crossing(6000.0)),
            ..Crossings::default()
        };
        let stop = rule(7000.0)
            .decide(&crossings, &contents(), 4000.0, 60.0)
            .unwrap();
        assert_eq!(stop.cause, StopCause::TargetGravity);
        assert_eq!(
            (stop.volume_l, stop.top_up_l, stop.final_volume_l),
            (5200.0, 0.0, 5200.0)
        );
    }

    #[test]
    fn a_tannin_limit_before_the_target_asks_for_top_up_liquor() {
        let crossings = Crossings {
            target: Some(crossing(5200.0)),
            gravity_floor: Some(crossing(4800.0)),
            kettle_gravity_at_floor_p: Some(13.0),
            ..Crossings::default()
        };
        let stop = rule(7000.0)
            .decide(&crossings, &contents(), 4000.0, 60.0)
            .unwrap();
        assert_eq!(stop.cause, StopCause::GravityFloor);
        // 4800 L of 13 °P at 75 °C weigh 4800 × 1.02550 kg; × (13/12.4 − 1) = 238.2 kg of liquor, 238.6 L at
        // 20 °C. Worked by hand.
        assert!((stop.top_up_l - 238.6).abs() < 0.5, "{stop:?}");
        assert!((stop.final_volume_l - 4800.0 - stop.top_up_l).abs() < 1e-9);
    }

    #[test]
    fn a_small_kettle_ends_the_run_off_at_its_brim() {
        let crossings = Crossings {
            target: Some(crossing(5200.0)),
            ..Crossings::default()
        };
        let stop = rule(5000.0)
            .decide(&crossings, &contents(), 4000.0, 60.0)
            .unwrap();
        assert_eq!(stop.cause, StopCause::KettleCapacity);
        assert!((stop.elapsed_s - 5000.0).abs() < 1e-9);
        // There is no room for liquor above the brim.
        assert!(stop.top_up_l.abs() < 1e-9 && stop.final_volume_l <= 5000.0);
    }
}

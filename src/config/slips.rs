//! What in a run-off plan is a slip of the finger more likely than meant.
//!
//! Owns the figures that a plan's values are held against together, where somebody is there to correct them: before a
//! live brew starts. A recording is replayed with whatever plan it had.

use lauter_core::projection::Plan;
use lauter_core::units::gravity_from_apparent_specific_gravity_p;

use super::model::Configuration;

/// Wort for each kg of grist, L. Common practice, no source: 3 to 8; the rest is left to odd recipes.
const LEAST_L_PER_KG: f64 = 1.0;
const MOST_L_PER_KG: f64 = 25.0;
/// A plan may intend to fill the kettle, and a little more by its own reckoning.
const OVERFULL: f64 = 1.1;
/// Where a specific gravity of wort lies.
const SPECIFIC_GRAVITIES: std::ops::Range<f64> = 1.0..1.2;

impl Configuration {
    /// Every slip, as sentences with what is likely meant.
    pub fn slips_of_plan(&self, plan: &Plan) -> Vec<String> {
        let mut slips = Vec::new();
        let gravities = [
            ("target_gravity_p", Some(plan.target_gravity_p)),
            ("first_wort_gravity_p", plan.first_wort_gravity_p),
        ];
        for (key, value) in gravities {
            slips.extend(value.and_then(|value| specific_gravity(key, value)));
        }
        let (target_p, floor_p) = (plan.target_gravity_p, plan.gravity_floor_p);
        if slips.is_empty() && target_p < floor_p {
            slips.push(format!(
                "target_gravity_p is {target_p} °P, below gravity_floor_p ({floor_p} °P): the kettle cannot come down to \
                 it before the runnings leach tannin; correct one of them"
            ));
        }
        let (volume_l, grist_kg) = (plan.planned_volume_l, plan.grist_kg);
        let l_per_kg = volume_l / grist_kg;
        if volume_l > OVERFULL * self.kettle.capacity_l {
            slips.push(format!(
                "planned_volume_l is {volume_l} L; the kettle holds {} L",
                self.kettle.capacity_l
            ));
        } else if !(LEAST_L_PER_KG..=MOST_L_PER_KG).contains(&l_per_kg) {
            slips.push(format!(
                "planned_volume_l is {volume_l} L for {grist_kg} kg of grist, {l_per_kg:.3} L for each kg; usual are 3 to \
                 8. Write thousands without a mark between them: 4500"
            ));
        }
        slips
    }
}

fn specific_gravity(key: &str, value: f64) -> Option<String> {
    if !SPECIFIC_GRAVITIES.contains(&value) {
        return None;
    }
    let meant_p = gravity_from_apparent_specific_gravity_p(value).ok()?;
    Some(format!(
        "{key} is {value} °P; as a specific gravity that would be {meant_p:.1} °P: give °P"
    ))
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::config::{self, Surroundings};

    fn slips(change: impl FnOnce(&mut Plan)) -> String {
        let text = include_str!("../../config/minimal.toml").to_owned();
        let configuration =
            config::parse(Path::new("minimal.toml"), text, &Surroundings::none()).unwrap();
        let plan = include_str!("../../config/plan.toml").to_owned();
        let mut plan = config::parse_plan(Path::new("plan.toml"), plan).unwrap();
        change(&mut plan);
        configuration.slips_of_plan(&plan).join("; ")
    }

    #[test]
    fn a_usual_plan_has_no_slip() {
        assert_eq!(slips(|_| {}), "");
    }

    #[test]
    fn each_slip_is_told_with_what_is_likely_meant() {
        let text = slips(|plan| plan.target_gravity_p = 1.059);
        assert!(
            text.contains("14.5 °P") && !text.contains("floor"),
            "{text}"
        );
        let text = slips(|plan| plan.target_gravity_p = 2.5);
        assert!(text.contains("below gravity_floor_p"), "{text}");
        for volume_l in [45.0, 4.5] {
            let text = slips(|plan| plan.planned_volume_l = volume_l);
            assert!(text.contains("without a mark"), "{text}");
        }
        let text = slips(|plan| plan.planned_volume_l = 20_000.0);
        assert!(text.contains("the kettle holds 7000 L"), "{text}");
    }
}

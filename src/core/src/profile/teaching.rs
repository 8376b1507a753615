//! The prior that a tun's habits give the next brew.
//!
//! Owns the way from habits per kg of grist to the shape of this plan's washout. Breakthrough follows from the
//! extract expected of the grist, the first wort and what the bed holds back; the tail's figures go with the
//! breakthrough as it turns out, which the prior's coupling says.

use super::habits::{
    BEND_WITH_DECLINE, DECLINE_WITH_SHARPNESS, Habit, Parameters, Traits, concentration_kg_l, habit,
};
use crate::projection::Plan;
use crate::washout::{self, Curve, Expectation, PlanHint, Prior, SHAPES, Teaching};

/// A bed holds back less than all the wort there is: breakthrough comes not before this share of it.
const EARLIEST_SHARE: f64 = 0.2;

/// The habits of some brews.
pub(super) struct Habits {
    held: Habit,
    sharpness: Habit,
    decline: Habit,
    bend: Habit,
    extract: Habit,
    plan: Habit,
}

impl Habits {
    pub fn of(traits: &[Traits], parameters: &Parameters) -> Self {
        let populations = parameters.all();
        let [held, sharpness, decline, bend, extract, plan] = std::array::from_fn(|index| {
            let values: Vec<f64> = traits.iter().map(|each| each.all()[index]).collect();
            habit(&values, populations[index], parameters.usual_spread_brews)
        });
        Self {
            held,
            sharpness,
            decline,
            bend,
            extract,
            plan,
        }
    }

    pub fn teaching(
        &self,
        plan: &Plan,
        expectation: Expectation,
        parameters: &washout::Parameters,
    ) -> Teaching {
        let (first_wort_p, first_wort_sd_p) = parameters.first_wort(expectation);
        let mash_l_per_kg = self.extract.mean.exp() / concentration_kg_l(first_wort_p);
        let breakthrough_l_per_kg =
            (mash_l_per_kg - self.held.mean).max(EARLIEST_SHARE * mash_l_per_kg);
        let decline = self.decline.mean - DECLINE_WITH_SHARPNESS * self.sharpness.mean;
        let bend = self.bend.mean - BEND_WITH_DECLINE * decline;
        let curve = Curve {
            first_wort_gravity_p: first_wort_p,
            breakthrough_l: breakthrough_l_per_kg * plan.grist_kg,
            sharpness: self.sharpness.mean.exp() * breakthrough_l_per_kg,
            decline: decline.exp() * breakthrough_l_per_kg,
            bend: 1.0 + bend * breakthrough_l_per_kg,
        };
        // A per cent more wort in the mash weighs this much in the breakthrough.
        let leverage = mash_l_per_kg / breakthrough_l_per_kg;
        let breakthrough_sd = (leverage * self.extract.standard_deviation)
            .hypot(self.held.standard_deviation / breakthrough_l_per_kg);
        let standard_deviation = washout::ShapeVector::from([
            first_wort_sd_p,
            breakthrough_sd,
            self.sharpness.standard_deviation,
            self.decline.standard_deviation,
            self.bend.standard_deviation * breakthrough_l_per_kg,
        ]);
        let bend_with_decline = BEND_WITH_DECLINE * breakthrough_l_per_kg;
        let mut coupling = nalgebra::SMatrix::<f64, SHAPES, SHAPES>::identity();
        // Stronger first wort, less of it.
        coupling[(1, 0)] = leverage / first_wort_p;
        // A later breakthrough of the same bed is sharper, steeper, more bent.
        coupling[(2, 1)] = -1.0;
        coupling[(3, 1)] = -1.0 - DECLINE_WITH_SHARPNESS;
        coupling[(3, 2)] = DECLINE_WITH_SHARPNESS;
        coupling[(4, 1)] = -(curve.bend - 1.0) - bend_with_decline;
        coupling[(4, 3)] = bend_with_decline;
        Teaching {
            prior: Prior {
                mean: curve.to_vector(),
                standard_deviation,
                coupling,
            },
            // The extract expected of the grist is in the breakthrough already.
            hint: PlanHint::at_target(
                (self.plan.mean.exp() * (plan.planned_volume_l - expectation.heel_l)).max(1.0),
                self.plan.standard_deviation,
                expectation,
            ),
        }
    }
}

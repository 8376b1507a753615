//! The bound: what a trained forecaster makes of a few points of the curve.
//!
//! Owns the features and the training. It sees the same instruments as the supervisor, at four points of the
//! curve, and eight hundred other brews of the same study with their true ends; the supervisor sees the whole
//! curve and none of them. Fractions are of the planned volume, for those of the true one would tell the answer.

use super::in_parallel;
use super::judged::FRACTIONS;
use super::measured::Measured;
use super::ridge::Ridge;
use crate::scenario::Scenario;

/// Brews it is trained on, at least.
pub const TRAINED_ON: u64 = 800;

/// Their seeds lie this far from the study's.
const SEEDS_APART: u64 = 1 << 40;

/// The first wort is read between these shares of the planned volume.
const FIRST_WORT: [f64; 4] = [0.06, 0.1, 0.14, 0.18];

/// How far back along the curve it looks, shares of the planned volume.
const LOOKS_BACK: [f64; 4] = [0.0, 0.1, 0.2, 0.3];

/// A forecaster for each of [`FRACTIONS`]; None where too few brews came so far.
#[derive(Clone, Debug)]
pub struct Bound {
    pub trained_on: usize,
    points: Vec<Option<Ridge>>,
}

/// What a brew looks like to the forecaster, for each of [`FRACTIONS`].
pub type Features = [Option<Vec<f64>>; FRACTIONS.len()];

impl Bound {
    /// Trained on brews that the study with this seed does not contain.
    pub fn train(study_seed: u64) -> Self {
        let seeds: Vec<u64> = (0..TRAINED_ON)
            .map(|n| study_seed.wrapping_add(SEEDS_APART).wrapping_add(n))
            .collect();
        let examples = in_parallel(&seeds, |seed| {
            let scenario = Scenario::draw(*seed);
            let (measured, stop) = Measured::record(&scenario, *seed);
            let planned_l = scenario.plan.planned_volume_l;
            Some((features(&measured, &scenario), stop?.volume_l / planned_l))
        });
        let examples: Vec<_> = examples.into_iter().flatten().collect();
        let points = (0..FRACTIONS.len())
            .map(|point| {
                let (rows, answers): (Vec<_>, Vec<_>) = examples
                    .iter()
                    .filter_map(|(features, answer)| Some((features[point].clone()?, *answer)))
                    .unzip();
                Ridge::fit(&rows, &answers)
            })
            .collect();
        Self {
            trained_on: examples.len(),
            points,
        }
    }

    /// Forecast stop volume, L.
    pub fn stop_volume_l(
        &self,
        point: usize,
        features: &Features,
        planned_volume_l: f64,
    ) -> Option<f64> {
        let ridge = self.points[point].as_ref()?;
        Some(planned_volume_l * ridge.predict(features[point].as_ref()?))
    }
}

/// The features of a brew. What a brewhouse does not measure is zero: no difference from what is expected.
pub fn features(measured: &Measured, scenario: &Scenario) -> Features {
    FRACTIONS.map(|fraction| at(measured, scenario, fraction))
}

fn at(measured: &Measured, scenario: &Scenario, fraction: f64) -> Option<Vec<f64>> {
    let plan = &scenario.plan;
    let planned_l = plan.planned_volume_l;
    let now_l = fraction * planned_l;
    let gravity = |share: f64| measured.at_volume(share * planned_l, |m| m.runnings_gravity_p);
    let first_p = FIRST_WORT
        .iter()
        .map(|share| gravity(*share))
        .sum::<Option<f64>>()?
        / FIRST_WORT.len() as f64;
    let kettle_p = measured.at_volume(now_l, |m| m.kettle_gravity_p)?;
    let elapsed_s = measured.at_volume(now_l, |m| Some(m.elapsed_s))?;
    let noted_p = plan
        .noted_first_wort_gravity_p
        .filter(|noted_p| *noted_p > 0.0);
    let level_l = measured.at_volume(now_l, |m| m.level_l);
    let kettle_meter_p = measured.at_volume(now_l, |m| m.kettle_meter_p);
    let ph = |volume_l| measured.at_volume(volume_l, |m| m.runnings_ph_room);
    let ph_rise = ph(now_l).zip(ph(FIRST_WORT[1] * planned_l));
    let mut row = vec![
        plan.target_gravity_p,
        first_p,
        noted_p.map_or(0.0, |noted_p| noted_p - first_p),
        kettle_p,
        level_l.map_or(0.0, |level_l| level_l / now_l - 1.0),
        kettle_meter_p.map_or(0.0, |meter_p| meter_p - kettle_p),
        ph_rise.map_or(0.0, |(now, first)| now - first),
        plan.grist_kg / planned_l,
        elapsed_s / (60.0 * plan.runoff_minutes),
    ];
    for back in LOOKS_BACK {
        row.push(gravity(fraction - back)?);
    }
    Some(row)
}

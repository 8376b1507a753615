//! The remaining run-off as bands along the way, for people who want to see where it leads.
//!
//! Owns the quantiles of the ensemble at each step ahead. It plays the same run-offs as the crossings do, to the
//! end of the horizon, and asks nothing of any limit.

use serde::{Deserialize, Serialize};

use crate::washout::{Acidity, Course, ShapeVector, Washout, washing};

use super::along::Along;
use super::answer::Band;
use super::draws::{DRAWS, Draws, LANES, STEPS};
use super::ensemble::{Found, Limits, Player, Situation};

/// What is expected when the kettle has come to a volume.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct FanPoint {
    pub kettle_volume_l: f64,
    pub elapsed_s: f64,
    pub runnings_gravity_p: Band,
    pub kettle_gravity_p: Band,
    /// True pH, on the basis of the plan; None where no pH is forecast.
    pub runnings_ph: Option<Band>,
}

/// The forecast fan, from the next step to the horizon.
pub fn fan(
    situation: &Situation,
    limits: &Limits,
    washout: &Washout,
    acidity: Option<&Acidity>,
    draws: &Draws,
) -> Vec<FanPoint> {
    let player = Player::new(situation, limits, washout, acidity);
    let mut runnings = vec![[0.0; DRAWS]; STEPS];
    let mut kettle = vec![[0.0; DRAWS]; STEPS];
    player.play_through(draws, |draw, step, runnings_p, kettle_p| {
        runnings[step][draw] = runnings_p;
        kettle[step][draw] = kettle_p;
    });
    let first_wort_p = washout.first_wort_gravity_p();
    let per_l_s = 60.0 / situation.flow_l_min.max(1e-3);
    let ends = player.ends_l();
    let bands = runnings.iter_mut().zip(kettle.iter_mut());
    ends.zip(bands)
        .map(|(ahead_l, (runnings_p, kettle_p))| {
            let filled_l = ahead_l * situation.flow_scale;
            let runnings_gravity_p = band(runnings_p);
            FanPoint {
                kettle_volume_l: situation.contents.volume_l + filled_l,
                elapsed_s: situation.elapsed_s + filled_l * per_l_s,
                runnings_gravity_p,
                kettle_gravity_p: band(kettle_p),
                runnings_ph: acidity.map(|acidity| {
                    let washed = washing(first_wort_p, runnings_gravity_p.p50);
                    let (mean, standard_deviation) = acidity.expected_truth_at(washed);
                    Band::around(mean, standard_deviation)
                }),
            }
        })
        .collect()
}

impl Player<'_> {
    /// Every run-off to the end of the horizon: `each` is told draw, step, runnings and kettle gravity in °P.
    fn play_through(&self, draws: &Draws, mut each: impl FnMut(usize, usize, f64, f64)) {
        let posterior = self.washout.posterior();
        for draw in 0..DRAWS {
            let curve = draw / LANES;
            let departure = self.root * ShapeVector::from(*draws.shape(curve));
            let course = Course::of(&(posterior.mean + departure));
            let offset_p = posterior.offset.mean + posterior.offset_slopes.dot(&departure);
            let mut played = self.draw(&course, offset_p, draw, draws);
            let mut along = Along::new(&course, &self.grid);
            let sign = if draw % LANES == 0 { 1.0 } else { -1.0 };
            for (step, shock) in draws.course(curve).iter().enumerate() {
                let base_p = along.gravity_p(step);
                played.advance(self, step, base_p, sign * shock, &mut Found::default());
                let runnings_p = (played.line_p + played.meter_p).max(0.0);
                each(draw, step, runnings_p, played.kettle_p);
            }
        }
    }

    /// Where each step ends, metered litres from now.
    fn ends_l(&self) -> impl Iterator<Item = f64> {
        self.grid
            .steps
            .iter()
            .map(|step| step.start_l + step.length_l)
    }
}

fn band(values: &mut [f64; DRAWS]) -> Band {
    values.sort_unstable_by(f64::total_cmp);
    let at = |probability: f64| {
        let rank = probability * DRAWS as f64 - 0.5;
        let below = rank.floor() as usize;
        values[below] + rank.fract() * (values[below + 1] - values[below])
    };
    Band {
        p5: at(0.05),
        p50: at(0.5),
        p95: at(0.95),
    }
}

#[cfg(test)]
mod tests {
    use super::super::ensemble::crossings;
    use super::*;
    use crate::kettle::Contents;
    use crate::washout::{Expectation, Parameters};

    fn situation() -> (Situation, Limits, Washout) {
        let expectation = Expectation {
            grist_kg: 980.0,
            first_wort_gravity_p: Some(18.0),
            target_gravity_p: 12.4,
            planned_volume_l: 5200.0,
            heel_l: 0.0,
        };
        let contents = Contents {
            volume_l: 1000.0,
            volume_se_l: 5.0,
            unseen_se_l: 0.0,
            unseen_p: 0.0,
            gravity_p: Some(18.0),
            gravity_se_p: 0.05,
            wort_kg: 1050.0,
            extract_kg: 189.0,
        };
        let situation = Situation {
            elapsed_s: 1000.0,
            contents,
            runoff_l: 1000.0,
            flow_scale: 1.0,
            calibration_p: (0.0, 0.05),
            flow_l_min: 60.0,
            temperature_c: 75.0,
            target_was_ahead: true,
        };
        let limits = Limits {
            target_gravity_p: 12.4,
            gravity_floor_p: 3.0,
            ph_ceiling: 6.0,
            horizon_l: 9400.0,
        };
        let washout = Washout::new(Parameters::default(), expectation);
        (situation, limits, washout)
    }

    #[test]
    fn the_fan_and_the_crossing_tell_the_same_story() {
        let (situation, limits, washout) = situation();
        let draws = Draws::new(7);
        let points = fan(&situation, &limits, &washout, None, &draws);
        let target = crossings(&situation, &limits, &washout, None, &draws).target;
        let crossing_l = target.expect("this plan reaches its target").volume_l.p50;
        let after = points
            .iter()
            .find(|point| point.kettle_gravity_p.p50 <= limits.target_gravity_p)
            .expect("so does the fan");
        let before = points
            .iter()
            .rfind(|point| point.kettle_gravity_p.p50 > limits.target_gravity_p)
            .expect("it starts above");
        assert!(
            (before.kettle_volume_l - 100.0..after.kettle_volume_l + 100.0).contains(&crossing_l),
            "{crossing_l} L is not between {} and {}",
            before.kettle_volume_l,
            after.kettle_volume_l
        );
    }

    #[test]
    fn the_fan_opens_along_the_way_and_its_bands_are_in_order() {
        let (situation, limits, washout) = situation();
        let points = fan(&situation, &limits, &washout, None, &Draws::new(3));
        assert_eq!(points.len(), STEPS);
        for point in &points {
            for band in [point.runnings_gravity_p, point.kettle_gravity_p] {
                assert!(band.p5 <= band.p50 && band.p50 <= band.p95, "{band:?}");
            }
            assert_eq!(point.runnings_ph, None);
        }
        let width = |point: &FanPoint| point.kettle_gravity_p.p95 - point.kettle_gravity_p.p5;
        assert!(width(&points[20]) > width(&points[0]));
    }
}

//! The remaining run-off, played forward many times.
//!
//! Owns the simulation of kettle and runnings from what is believed now: each draw is one curve, one course of
//! the discrepancy, one error of each meter. It finds where each draw crosses its limits and makes bands of
//! that; it does not decide what to do about them.

use serde::{Deserialize, Serialize};

use crate::kettle::Contents;
use crate::units::wort_density_kg_m3;
use crate::washout::{Acidity, Curve, Washout};

use super::answer::{Band, Crossing};
use super::draws::{DRAWS, Draws, STEPS};

/// Where the run-off stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Situation {
    pub elapsed_s: f64,
    pub contents: Contents,
    /// Run-off volume on the axis of the washout.
    pub runoff_l: f64,
    /// True litres for each metered one.
    pub flow_scale: f64,
    /// Runnings meter: reading minus truth, °P, and its standard error.
    pub calibration_p: (f64, f64),
    pub flow_l_min: f64,
    pub temperature_c: f64,
    /// Kettle gravity has been above the target in this brew.
    pub target_was_ahead: bool,
}

/// What is watched for along the way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    pub target_gravity_p: f64,
    pub gravity_floor_p: f64,
    pub ph_ceiling: f64,
    /// How far to look, in run-off litres from now.
    pub horizon_l: f64,
}

/// Where the draws cross.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct Crossings {
    pub target: Option<Crossing>,
    pub gravity_floor: Option<Crossing>,
    pub ph_ceiling: Option<Crossing>,
    /// Kettle gravity expected when the floor or the ceiling is met.
    pub kettle_gravity_at_floor_p: Option<f64>,
    pub kettle_gravity_at_ceiling_p: Option<f64>,
}

/// Standard deviation of the mean flow for the rest of the run-off, share. Common practice, no source.
const FLOW_SD: f64 = 0.04;

/// A crossing of one draw: run-off litres from now and the kettle's gravity there.
#[derive(Clone, Copy)]
struct Point {
    ahead_l: f64,
    kettle_p: f64,
}

#[derive(Clone, Copy, Default)]
struct Found {
    target: Option<Point>,
    floor: Option<Point>,
    ceiling: Option<Point>,
}

/// Plays the run-off forward. `acidity` is None where no pH is measured and none can be forecast.
pub fn crossings(
    situation: &Situation,
    limits: &Limits,
    washout: &Washout,
    acidity: Option<&Acidity>,
    draws: &Draws,
) -> Crossings {
    let player = Player::new(situation, limits, washout, acidity);
    let found: Vec<Found> = (0..DRAWS).map(|draw| player.play(draw, draws)).collect();
    let crossing = |pick: fn(&Found) -> Option<Point>| player.crossing(&found, pick, draws);
    let kettle = |pick: fn(&Found) -> Option<Point>| median_kettle(&found, pick);
    Crossings {
        target: crossing(|found| found.target),
        gravity_floor: crossing(|found| found.floor),
        ph_ceiling: crossing(|found| found.ceiling),
        kettle_gravity_at_floor_p: kettle(|found| found.floor),
        kettle_gravity_at_ceiling_p: kettle(|found| found.ceiling),
    }
}

struct Player<'a> {
    situation: &'a Situation,
    limits: &'a Limits,
    washout: &'a Washout,
    acidity: Option<&'a Acidity>,
    root: nalgebra::SMatrix<f64, { crate::washout::SHAPES }, { crate::washout::SHAPES }>,
    step_l: f64,
    density: [f64; 3],
}

impl<'a> Player<'a> {
    fn new(
        situation: &'a Situation,
        limits: &'a Limits,
        washout: &'a Washout,
        acidity: Option<&'a Acidity>,
    ) -> Self {
        let at = |gravity_p: f64| wort_density_kg_m3(gravity_p, situation.temperature_c) / 1000.0;
        // Through 0, 12 and 24 °P: within 0.01 kg/m³ of the formula between them, and far cheaper.
        let (low, middle, high) = (at(0.0), at(12.0), at(24.0));
        let bend = (high - 2.0 * middle + low) / 288.0;
        Self {
            situation,
            limits,
            washout,
            acidity,
            root: washout.covariance_root(),
            step_l: limits.horizon_l / STEPS as f64,
            density: [low, (middle - low) / 12.0 - 12.0 * bend, bend],
        }
    }

    fn kg_per_l(&self, gravity_p: f64) -> f64 {
        self.density[0] + gravity_p * (self.density[1] + gravity_p * self.density[2])
    }

    fn play(&self, draw: usize, draws: &Draws) -> Found {
        let z = draws.quantities(draw);
        let path = draws.path(draw);
        let posterior = self.washout.posterior();
        let shape =
            posterior.mean + self.root * nalgebra::SVector::from([z[0], z[1], z[2], z[3], z[4]]);
        let curve = Curve::from_vector(&shape);
        let discrepancy = self.washout.discrepancy();
        let rho = discrepancy.correlation(self.step_l);
        let kick = discrepancy.standard_deviation * (1.0 - rho * rho).sqrt();
        let mut offset = posterior.offset.mean + posterior.offset.variance.sqrt() * z[5];
        let (calibration_p, calibration_sd_p) = self.situation.calibration_p;
        // One error of the runnings meter moves what is in the kettle and what is to come the same way.
        let meter_p = -calibration_p + calibration_sd_p * z[6];
        let contents = self.situation.contents;
        let mut wort_kg = contents.wort_kg;
        let kettle_p = contents
            .gravity_p
            .map_or(0.0, |p| p + contents.gravity_se_p * z[6]);
        let mut extract_kg = wort_kg * kettle_p / 100.0;
        let first_wort_p = curve.first_wort_gravity_p;
        let mut found = Found {
            target: self.already_reached(kettle_p, &curve, offset),
            ..Found::default()
        };
        let mut before = Along {
            kettle_p,
            runnings_p: f64::MAX,
            ph: 0.0,
        };
        for (step, shock) in path.iter().enumerate() {
            let middle_l = self.situation.runoff_l + (step as f64 + 0.5) * self.step_l;
            offset = rho * offset + kick * shock;
            let line_p = (curve.gravity_p(middle_l) + offset).max(0.0);
            let runnings_p = (line_p + meter_p).max(0.0);
            let kg = self.kg_per_l(runnings_p) * self.step_l * self.situation.flow_scale;
            extract_kg += kg * runnings_p / 100.0;
            wort_kg += kg;
            let ph = self.acidity.map_or(0.0, |acidity| {
                let (mean, sd) = acidity.expected(first_wort_p, line_p);
                mean + sd * z[7]
            });
            let now = Along {
                kettle_p: 100.0 * extract_kg / wort_kg,
                runnings_p,
                ph,
            };
            self.note_crossings(&mut found, step, before, now);
            before = now;
            if found.target.is_some() && found.floor.is_some() && found.ceiling.is_some() {
                break;
            }
        }
        found
    }

    /// A draw in which the kettle has come down to the target already: where that was, behind us, by the present
    /// slope. Without these the band near the target would know late crossings only.
    fn already_reached(&self, kettle_p: f64, curve: &Curve, offset_p: f64) -> Option<Point> {
        let target_p = self.limits.target_gravity_p;
        if !self.situation.target_was_ahead || kettle_p > target_p {
            return None;
        }
        let runnings_p = (curve.gravity_p(self.situation.runoff_l) + offset_p).max(0.0);
        let fall_p_per_kg =
            ((kettle_p - runnings_p) / self.situation.contents.wort_kg.max(1.0)).max(1e-9);
        let behind_kg =
            ((target_p - kettle_p) / fall_p_per_kg).min(self.situation.contents.wort_kg);
        Some(Point {
            ahead_l: -behind_kg / self.kg_per_l(runnings_p),
            kettle_p: target_p,
        })
    }

    fn note_crossings(&self, found: &mut Found, step: usize, before: Along, now: Along) {
        let limits = self.limits;
        let start_l = step as f64 * self.step_l;
        if found.target.is_none()
            && before.kettle_p > limits.target_gravity_p
            && now.kettle_p <= limits.target_gravity_p
        {
            let share =
                (before.kettle_p - limits.target_gravity_p) / (before.kettle_p - now.kettle_p);
            found.target = Some(Point {
                ahead_l: start_l + share * self.step_l,
                kettle_p: limits.target_gravity_p,
            });
        }
        // Runnings are known at the middle of a step, so their crossings lie half a step earlier.
        let middle_l = start_l - 0.5 * self.step_l;
        if found.floor.is_none() && now.runnings_p <= limits.gravity_floor_p {
            let share = share_between(
                before.runnings_p,
                now.runnings_p,
                limits.gravity_floor_p,
                step,
            );
            let ahead_l = (middle_l + share * self.step_l).max(0.0);
            found.floor = Some(Point {
                ahead_l,
                kettle_p: before.kettle_p
                    + (ahead_l / self.step_l - step as f64) * (now.kettle_p - before.kettle_p),
            });
        }
        if found.ceiling.is_none() && self.acidity.is_some() && now.ph >= limits.ph_ceiling {
            let share = share_between(-before.ph, -now.ph, -limits.ph_ceiling, step);
            let ahead_l = (middle_l + share * self.step_l).max(0.0);
            found.ceiling = Some(Point {
                ahead_l,
                kettle_p: before.kettle_p
                    + (ahead_l / self.step_l - step as f64) * (now.kettle_p - before.kettle_p),
            });
        }
    }

    fn crossing(
        &self,
        found: &[Found],
        pick: fn(&Found) -> Option<Point>,
        draws: &Draws,
    ) -> Option<Crossing> {
        let flow_l_min = self.situation.flow_l_min.max(1e-3);
        let mut volumes = Vec::with_capacity(DRAWS);
        let mut times = Vec::with_capacity(DRAWS);
        for (draw, found) in found.iter().enumerate() {
            let z = draws.quantities(draw);
            let ahead_l = pick(found).map_or(f64::INFINITY, |point| {
                point.ahead_l * self.situation.flow_scale
            });
            volumes.push(
                self.situation.contents.volume_l
                    + self.situation.contents.volume_se_l * z[8]
                    + ahead_l,
            );
            times.push(
                self.situation.elapsed_s + 60.0 * ahead_l / (flow_l_min * (1.0 + FLOW_SD * z[9])),
            );
        }
        let horizon_l = self.limits.horizon_l * self.situation.flow_scale;
        let last_volume_l = self.situation.contents.volume_l + horizon_l;
        let last_s = self.situation.elapsed_s + 60.0 * horizon_l / flow_l_min;
        Some(Crossing {
            volume_l: band(&mut volumes, last_volume_l)?,
            elapsed_s: band(&mut times, last_s)?,
        })
    }
}

#[derive(Clone, Copy)]
struct Along {
    kettle_p: f64,
    runnings_p: f64,
    ph: f64,
}

/// Where between two falling values a limit lies, 0 to 1; already passed at the start counts as its beginning.
fn share_between(before: f64, now: f64, limit: f64, step: usize) -> f64 {
    if step == 0 || before <= limit || before - now <= 0.0 {
        0.5
    } else {
        ((before - limit) / (before - now)).clamp(0.0, 1.0)
    }
}

fn median_kettle(found: &[Found], pick: fn(&Found) -> Option<Point>) -> Option<f64> {
    let mut values: Vec<f64> = found
        .iter()
        .filter_map(|found| pick(found).map(|point| point.kettle_p))
        .collect();
    (2 * values.len() > found.len()).then(|| crate::conditioning::median(&mut values))
}

/// The quantiles of the draws; None when half of them never cross, and never beyond `last`.
fn band(values: &mut [f64], last: f64) -> Option<Band> {
    values.sort_by(f64::total_cmp);
    let at = |probability: f64| {
        let rank = probability * values.len() as f64 - 0.5;
        let below = rank.floor().max(0.0) as usize;
        let above = (below + 1).min(values.len() - 1);
        let (low, high) = (values[below].min(last), values[above].min(last));
        low + (rank - below as f64).clamp(0.0, 1.0) * (high - low)
    };
    values[values.len() / 2].is_finite().then(|| Band {
        p5: at(0.05),
        p50: at(0.5),
        p95: at(0.95),
    })
}

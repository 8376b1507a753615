//! The remaining run-off, played forward many times.
//!
//! Owns the simulation of kettle and runnings from what is believed now: each draw is one curve, one course of
//! the discrepancy, one error of each meter. It finds where each draw crosses its limits and makes bands of
//! that; it does not decide what to do about them.

use serde::{Deserialize, Serialize};

use crate::kettle::Contents;
use crate::units::wort_density_kg_m3;
use crate::washout::{Acidity, Course, SHAPES, ShapeVector, Washout};

use super::along::Along;
use super::answer::{Band, Crossing};
use super::course::{CeilingTable, Grid, Step};
use super::draws::{DRAWS, Draws, LANES};

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
    pub early_limit: Option<EarlyLimit>,
}

/// The tannin limit that may come before the target, with a chance that is worth a warning.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct EarlyLimit {
    /// It comes before this time with the chance that makes it possible, s.
    pub elapsed_s: f64,
    /// The pH ceiling rather than the gravity floor.
    pub is_ceiling: bool,
}

/// A limit counts as possible with this chance or more: the gravity is forecast better than the pH, whose law and
/// electrode are less sure. Tried on simulated run-offs.
const POSSIBLE_FLOOR: f64 = 0.4;
const POSSIBLE_CEILING: f64 = 0.22;

/// However much less may have run off unseen than was assumed, this share of the kettle's wort is there.
const LEAST_WORT_SHARE: f64 = 0.2;

/// Standard deviation of the mean flow for the rest of the run-off, share. Common practice, no source.
const FLOW_SD: f64 = 0.04;

/// A crossing of one draw: run-off litres from now and the kettle's gravity there.
#[derive(Clone, Copy)]
struct Point {
    ahead_l: f64,
    kettle_p: f64,
}

#[derive(Clone, Copy, Default)]
pub(super) struct Found {
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
    let mut found = [Found::default(); DRAWS];
    for (curve, lanes) in found.chunks_exact_mut(LANES).enumerate() {
        player.play(curve, lanes, draws);
    }
    let crossing = |pick: fn(&Found) -> Option<Point>| player.crossing(&found, pick, draws);
    let kettle = |pick: fn(&Found) -> Option<Point>| median_kettle(&found, pick);
    Crossings {
        target: crossing(|found| found.target),
        gravity_floor: crossing(|found| found.floor),
        ph_ceiling: crossing(|found| found.ceiling),
        kettle_gravity_at_floor_p: kettle(|found| found.floor),
        kettle_gravity_at_ceiling_p: kettle(|found| found.ceiling),
        early_limit: player.early_limit(&found, draws),
    }
}

pub(super) struct Player<'a> {
    situation: &'a Situation,
    limits: &'a Limits,
    pub washout: &'a Washout,
    pub grid: Grid,
    /// Where each pH law meets the ceiling; None where pH is not forecast.
    ceiling: Option<CeilingTable>,
    pub root: nalgebra::SMatrix<f64, SHAPES, SHAPES>,
    density: [f64; 3],
    /// What is doubtful about the kettle's gravity beside what no meter saw, °P.
    kettle_meter_sd_p: f64,
}

impl<'a> Player<'a> {
    pub fn new(
        situation: &'a Situation,
        limits: &'a Limits,
        washout: &'a Washout,
        acidity: Option<&Acidity>,
    ) -> Self {
        let at = |gravity_p: f64| wort_density_kg_m3(gravity_p, situation.temperature_c) / 1000.0;
        // Through 0, 12 and 24 °P: within 0.01 kg/m³ of the formula between them, and far cheaper.
        let (low, middle, high) = (at(0.0), at(12.0), at(24.0));
        let bend = (high - 2.0 * middle + low) / 288.0;
        Self {
            kettle_meter_sd_p: situation.contents.metered_se_p(),
            situation,
            limits,
            washout,
            grid: Grid::new(situation.runoff_l, limits.horizon_l, washout.discrepancy()),
            ceiling: acidity.map(|acidity| CeilingTable::new(acidity, limits.ph_ceiling)),
            root: washout.covariance_root(),
            density: [low, (middle - low) / 12.0 - 12.0 * bend, bend],
        }
    }

    fn kg_per_l(&self, gravity_p: f64) -> f64 {
        self.density[0] + gravity_p * (self.density[1] + gravity_p * self.density[2])
    }

    /// The run-offs along one curve.
    fn play(&self, curve: usize, found: &mut [Found], draws: &Draws) {
        let posterior = self.washout.posterior();
        let departure = self.root * ShapeVector::from(*draws.shape(curve));
        let course = Course::of(&(posterior.mean + departure));
        let offset_p = posterior.offset.mean + posterior.offset_slopes.dot(&departure);
        let mut along = Along::new(&course, &self.grid);
        for (lane, found) in found.iter_mut().enumerate() {
            let mut draw = self.draw(&course, offset_p, curve * LANES + lane, draws);
            *found = Found {
                target: self.already_reached(
                    draw.kettle_p,
                    course.gravity_p(self.grid.ln_now) + draw.offset_p,
                ),
                ..Found::default()
            };
            let sign = if lane % 2 == 0 { 1.0 } else { -1.0 };
            for (step, shock) in draws.course(curve).iter().enumerate() {
                draw.advance(self, step, along.gravity_p(step), sign * shock, found);
                if found.target.is_some()
                    && found.floor.is_some()
                    && (found.ceiling.is_some() || self.ceiling.is_none())
                {
                    break;
                }
            }
        }
    }

    /// One run-off as it stands now.
    pub fn draw(&self, course: &Course, offset_p: f64, draw: usize, draws: &Draws) -> Draw {
        let [z_offset, z_meter, z_volume, _, z_ph] = *draws.quantities(draw);
        let contents = self.situation.contents;
        let (calibration_p, calibration_sd_p) = self.situation.calibration_p;
        // One error of the runnings meter moves what is in the kettle and what is to come the same way.
        let mut kettle_p = contents
            .gravity_p
            .map_or(0.0, |p| p + self.kettle_meter_sd_p * z_meter);
        let mut wort_kg = contents.wort_kg;
        if contents.unseen_se_l > 0.0 {
            // What no meter saw is wort beside what is known: more of it is more to dilute, at its own gravity.
            kettle_p = (kettle_p + contents.unseen_p * z_volume).max(0.0);
            let unseen_kg = contents.unseen_se_l * z_volume * self.kg_per_l(kettle_p);
            wort_kg = (wort_kg + unseen_kg).max(LEAST_WORT_SHARE * wort_kg);
        }
        let ceiling_p = self.ceiling.as_ref().map_or(f64::NEG_INFINITY, |table| {
            course.first_wort_gravity_p() * table.share_left(z_ph)
        });
        Draw {
            offset_p: offset_p + self.washout.posterior().offset.variance.sqrt() * z_offset,
            meter_p: calibration_sd_p * z_meter - calibration_p,
            wort_kg,
            extract_kg: wort_kg * kettle_p / 100.0,
            kettle_p,
            ceiling_p,
            line_p: f64::MAX,
        }
    }

    /// A draw in which the kettle has come down to the target already: where that was, behind us, by the present
    /// slope. Without these the band near the target would know late crossings only.
    fn already_reached(&self, kettle_p: f64, runnings_p: f64) -> Option<Point> {
        let target_p = self.limits.target_gravity_p;
        if !self.situation.target_was_ahead || kettle_p > target_p {
            return None;
        }
        let runnings_p = runnings_p.max(0.0);
        let fall_p_per_kg =
            ((kettle_p - runnings_p) / self.situation.contents.wort_kg.max(1.0)).max(1e-9);
        let behind_kg =
            ((target_p - kettle_p) / fall_p_per_kg).min(self.situation.contents.wort_kg);
        Some(Point {
            ahead_l: -behind_kg / self.kg_per_l(runnings_p),
            kettle_p: target_p,
        })
    }

    fn early_limit(&self, found: &[Found], draws: &Draws) -> Option<EarlyLimit> {
        let early = |pick: fn(&Found) -> Option<Point>, chance: f64, is_ceiling: bool| {
            let mut times = [f64::INFINITY; DRAWS];
            for (draw, found) in found.iter().enumerate() {
                let target_l = found.target.map_or(f64::INFINITY, |point| point.ahead_l);
                if let Some(limit) = pick(found).filter(|limit| limit.ahead_l < target_l) {
                    times[draw] = self.elapsed_s(limit.ahead_l, draw, draws);
                }
            }
            let rank = (chance * DRAWS as f64) as usize;
            let elapsed_s = *times.select_nth_unstable_by(rank, f64::total_cmp).1;
            elapsed_s.is_finite().then_some(EarlyLimit {
                elapsed_s,
                is_ceiling,
            })
        };
        [
            early(|found| found.floor, POSSIBLE_FLOOR, false),
            early(|found| found.ceiling, POSSIBLE_CEILING, true),
        ]
        .into_iter()
        .flatten()
        .min_by(|a, b| a.elapsed_s.total_cmp(&b.elapsed_s))
    }

    /// When a draw comes to what lies `ahead_l` metered litres ahead, s.
    fn elapsed_s(&self, ahead_l: f64, draw: usize, draws: &Draws) -> f64 {
        let [_, _, _, z_flow, _] = *draws.quantities(draw);
        let flow_l_min = self.situation.flow_l_min.max(1e-3) * (1.0 + FLOW_SD * z_flow);
        self.situation.elapsed_s + 60.0 * ahead_l * self.situation.flow_scale / flow_l_min
    }

    fn crossing(
        &self,
        found: &[Found],
        pick: fn(&Found) -> Option<Point>,
        draws: &Draws,
    ) -> Option<Crossing> {
        let flow_l_min = self.situation.flow_l_min.max(1e-3);
        let contents = self.situation.contents;
        let mut volumes = [0.0; DRAWS];
        let mut times = [0.0; DRAWS];
        for (draw, found) in found.iter().enumerate() {
            let [_, _, z_volume, _, _] = *draws.quantities(draw);
            let ahead_l = pick(found).map_or(f64::INFINITY, |point| point.ahead_l);
            volumes[draw] = contents.volume_l
                + contents.volume_se_l * z_volume
                + ahead_l * self.situation.flow_scale;
            times[draw] = self.elapsed_s(ahead_l, draw, draws);
        }
        let horizon_l = self.limits.horizon_l * self.situation.flow_scale;
        let last_volume_l = contents.volume_l + horizon_l;
        let last_s = self.situation.elapsed_s + 60.0 * horizon_l / flow_l_min;
        Some(Crossing {
            volume_l: Band::of_draws(&mut volumes, last_volume_l)?,
            elapsed_s: Band::of_draws(&mut times, last_s)?,
        })
    }
}

/// One run-off on its way.
pub(super) struct Draw {
    offset_p: f64,
    pub meter_p: f64,
    wort_kg: f64,
    extract_kg: f64,
    pub kettle_p: f64,
    /// Gravity in the line at which the pH meets its ceiling.
    ceiling_p: f64,
    pub line_p: f64,
}

impl Draw {
    pub fn advance(
        &mut self,
        player: &Player,
        step: usize,
        base_p: f64,
        shock: f64,
        found: &mut Found,
    ) {
        let Step {
            start_l,
            length_l,
            rho,
            kick,
            ..
        } = player.grid.steps[step];
        let limits = player.limits;
        self.offset_p = rho * self.offset_p + kick * shock;
        let line_p = (base_p + self.offset_p).max(0.0);
        let runnings_p = (line_p + self.meter_p).max(0.0);
        let kg = player.kg_per_l(runnings_p) * length_l * player.situation.flow_scale;
        self.extract_kg += kg * runnings_p / 100.0;
        self.wort_kg += kg;
        let before_p =
            std::mem::replace(&mut self.kettle_p, 100.0 * self.extract_kg / self.wort_kg);
        let line_before_p = std::mem::replace(&mut self.line_p, line_p);
        let kettle_at = |share: f64| Point {
            ahead_l: (start_l + share * length_l).max(0.0),
            kettle_p: before_p + share * (self.kettle_p - before_p),
        };
        if found.target.is_none()
            && before_p > limits.target_gravity_p
            && self.kettle_p <= limits.target_gravity_p
        {
            let share = (before_p - limits.target_gravity_p) / (before_p - self.kettle_p);
            found.target = Some(kettle_at(share));
        }
        // Runnings are known at the middle of a step, so their crossings lie half a step earlier.
        let passed =
            |limit_p: f64| kettle_at(share_between(line_before_p, line_p, limit_p, step) - 0.5);
        let floor_p = limits.gravity_floor_p - self.meter_p;
        if found.floor.is_none() && line_p <= floor_p {
            found.floor = Some(passed(floor_p));
        }
        if found.ceiling.is_none() && line_p <= self.ceiling_p {
            found.ceiling = Some(passed(self.ceiling_p));
        }
    }
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

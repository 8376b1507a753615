//! One lane of the bed, and how a bed is laid out in lanes.
//!
//! Owns what differs from lane to lane: width, permeability, evenness of the mash. Must not know pressures.

use super::column::{Column, ColumnShape};
use super::wort::Wort;
use crate::noise::Noise;
use crate::scenario::{Bed as BedKeys, Scenario};

/// A stream tube with its conductance.
#[derive(Clone, Debug)]
pub struct Lane {
    pub column: Column,
    /// Conductance of the fresh bed at unit viscosity; all lanes together 1.
    pub conductance: f64,
    /// Mean viscosity over its depth, mPa·s.
    pub viscosity_mpa_s: f64,
}

impl Lane {
    /// Conductance for the wort that is in it.
    pub fn fluid_conductance(&self) -> f64 {
        self.conductance / self.viscosity_mpa_s
    }
}

/// The lanes of a fresh bed full of first wort, the narrow one last.
pub fn laid_out(
    scenario: &Scenario,
    wort: &Wort,
    viscosity_mpa_s: f64,
    noise: &mut Noise,
) -> Vec<Lane> {
    let (keys, plan) = (&scenario.bed, &scenario.plan);
    let first_wort_kg_l = wort.concentration_kg_l(plan.first_wort_gravity_p);
    let areas = lane_areas(keys, noise);
    let uneven: Vec<f64> = areas
        .iter()
        .map(|area| area * (keys.permeability_spread * noise.gaussian()).exp())
        .collect();
    let sum: f64 = uneven.iter().sum();
    let mut lanes: Vec<Lane> = areas
        .iter()
        .zip(uneven)
        .map(|(area, conductance)| Lane {
            column: Column::filled(
                ColumnShape {
                    cells: keys.cells,
                    mobile_l: keys.mobile_l_per_kg * plan.grist_kg * area,
                    immobile_l: keys.immobile_l_per_kg * plan.grist_kg * area,
                    peclet: keys.peclet,
                },
                first_wort_kg_l,
            ),
            conductance: conductance / sum,
            viscosity_mpa_s,
        })
        .collect();
    for lane in &mut lanes {
        let factors = unevenness(keys, noise);
        lane.column.scale(factors.into_iter());
    }
    lanes
}

/// Shares of the bed: ordinary lanes of uneven width, then the narrow one.
fn lane_areas(keys: &BedKeys, noise: &mut Noise) -> Vec<f64> {
    if keys.lanes == 1 {
        return vec![1.0];
    }
    let widths: Vec<f64> = (1..keys.lanes).map(|_| noise.within(0.7, 1.3)).collect();
    let sum: f64 = widths.iter().sum();
    widths
        .iter()
        .map(|width| width / sum * (1.0 - keys.channel_area_share))
        .chain([keys.channel_area_share])
        .collect()
}

/// Factors on the concentration from top to bottom of a lane, alike over about a fifth of the depth.
fn unevenness(keys: &BedKeys, noise: &mut Noise) -> Vec<f64> {
    let kept = (-5.0 / keys.cells as f64).exp();
    let mut deviation = noise.gaussian();
    (0..keys.cells)
        .map(|_| {
            deviation = kept * deviation + (1.0 - kept * kept).sqrt() * noise.gaussian();
            1.0 + keys.unevenness * deviation.clamp(-3.0, 3.0)
        })
        .collect()
}

//! The bed: lanes side by side that share the flow by Darcy, and the channel that may open in one of them.
//!
//! All lanes lie between the same two pressures, so a lane's share of the flow is its
//! share of the conductance; a lane washed thin flows ever faster. Must not know pumps, liquor or instruments.

use super::lane::{self, Lane};
use super::packing::Packing;
use super::wort::Wort;
use crate::noise::Noise;
use crate::scenario::{Bed as BedKeys, Scenario};
use lauter_core::units;

/// Share of the difference between lanes that full raking evens out in a second. Common practice, no source.
const LANE_MIXING_PER_S: f64 = 0.003;

/// Variance that full raking adds to where wort stands, squares of the depth in a second. Likewise.
const DEPTH_VARIANCE_PER_S: f64 = 5e-5;

/// Viscosities change slowly; they are looked up again this often, s.
const VISCOSITY_EVERY_S: f64 = 10.0;

/// A channel on its way: the share of the flow the narrow lane takes.
#[derive(Clone, Copy, Debug)]
struct Opening {
    from_share: f64,
    to_share: f64,
    since_s: f64,
    over_s: f64,
}

/// The grain bed.
#[derive(Clone, Debug)]
pub struct Bed {
    /// The last lane is the narrow one in which a channel may open.
    lanes: Vec<Lane>,
    keys: BedKeys,
    exchange_per_s: f64,
    /// kPa per (L/min · mPa·s) of the fresh bed.
    fresh_resistance: f64,
    packing: Packing,
    opening: Option<Opening>,
    channel_share: f64,
    viscosity_age_s: f64,
}

/// What the bed gave in one step.
#[derive(Clone, Copy, Debug, Default)]
pub struct Outflow {
    pub extract_kg: f64,
    pub pressure_drop_kpa: f64,
}

impl Bed {
    /// A fresh bed full of first wort. Lane permeabilities come from `noise`.
    pub fn new(scenario: &Scenario, wort: &Wort, noise: &mut Noise) -> Self {
        let keys = scenario.bed.clone();
        let plan = &scenario.plan;
        let viscosity_mpa_s =
            units::wort_viscosity_mpa_s(plan.first_wort_gravity_p, scenario.wort.temperature_c);
        let lanes = lane::laid_out(scenario, wort, viscosity_mpa_s, noise);
        let planned_flow_l_min = plan.planned_volume_l / plan.runoff_minutes;
        Self {
            lanes,
            exchange_per_s: keys.exchange_per_min / 60.0,
            fresh_resistance: keys.pressure_drop_kpa / (planned_flow_l_min * viscosity_mpa_s),
            packing: Packing::fresh(&keys, plan.planned_volume_l),
            opening: None,
            channel_share: 0.0,
            viscosity_age_s: 0.0,
            keys,
        }
    }

    /// Lets a channel open from now on until the narrow lane takes `share` of the flow. False where there is no
    /// other lane to take it from.
    pub fn open_channel(&mut self, share: f64, now_s: f64, over_s: f64) -> bool {
        if self.lanes.len() < 2 {
            return false;
        }
        self.opening = Some(Opening {
            from_share: self.narrow_share(),
            to_share: share,
            since_s: now_s,
            over_s,
        });
        true
    }

    /// Packs the bed: resistance times `factor`, exponentially over `over_s`.
    pub fn force_packing(&mut self, factor: f64, over_s: f64) {
        self.packing.force(factor, over_s);
    }

    /// Largest flow the available pressure drives, L/min.
    pub fn largest_flow_l_min(&self) -> f64 {
        self.keys.available_pressure_kpa * self.conductance_l_min_kpa()
    }

    /// Resistance at equal viscosity relative to the fresh bed's.
    pub fn relative_resistance(&self) -> f64 {
        self.packing.factor() / self.opened(self.lanes.iter().map(|lane| lane.conductance))
    }

    /// Share of the flow that the channel takes, 0 without one.
    pub fn channel_share(&self) -> f64 {
        self.channel_share
    }

    /// Advances by `seconds` with this flow of wort of the head's concentration.
    pub fn advance(
        &mut self,
        now_s: f64,
        seconds: f64,
        flow_l_min: f64,
        head_kg_l: f64,
    ) -> Outflow {
        let volume_l = flow_l_min * seconds / 60.0;
        self.open(now_s);
        let pressure_drop_kpa = flow_l_min / self.conductance_l_min_kpa();
        let shares = self.flow_shares();
        let mut extract_kg = 0.0;
        for (lane, share) in self.lanes.iter_mut().zip(shares) {
            extract_kg += lane.column.pass(volume_l * share, head_kg_l);
            lane.column.exchange(seconds, self.exchange_per_s);
        }
        self.packing.advance(seconds, volume_l, pressure_drop_kpa);
        Outflow {
            extract_kg,
            pressure_drop_kpa,
        }
    }

    /// Looks viscosities up again when it is time.
    pub fn refresh_viscosity(&mut self, seconds: f64, wort: &Wort, temperature_c: f64) {
        self.viscosity_age_s += seconds;
        if self.viscosity_age_s < VISCOSITY_EVERY_S {
            return;
        }
        self.viscosity_age_s = 0.0;
        for lane in &mut self.lanes {
            let cells = lane.column.mobile_kg_l();
            let sum: f64 = cells
                .iter()
                .map(|c| units::wort_viscosity_mpa_s(wort.gravity_p(*c), temperature_c))
                .sum();
            lane.viscosity_mpa_s = sum / cells.len() as f64;
        }
    }

    /// One step of raking with a strength of 0 to 1.
    pub fn rake(&mut self, seconds: f64, strength: f64) {
        let undone = self.packing.rake(seconds, strength);
        self.close_channel(undone);
        self.mix_lanes((strength * seconds * LANE_MIXING_PER_S).min(1.0));
        // Moving a share to both neighbours adds twice that share, in squares of a cell.
        let cells = self.keys.cells as f64;
        let variance = strength * seconds * DEPTH_VARIANCE_PER_S * cells * cells;
        let stirred = (variance / 2.0).min(0.5);
        for lane in &mut self.lanes {
            lane.column.stir(stirred);
        }
    }

    /// Extract in the bed, kg.
    pub fn extract_kg(&self) -> f64 {
        self.lanes.iter().map(|l| l.column.extract_kg()).sum()
    }

    /// Mobile and immobile wort, L.
    pub fn volume_l(&self) -> f64 {
        self.lanes.iter().map(|l| l.column.volume_l()).sum()
    }

    /// Flow that each lane takes, as shares, the narrow one last.
    pub fn flow_shares(&self) -> Vec<f64> {
        let total: f64 = self.lanes.iter().map(Lane::fluid_conductance).sum();
        let natural = self
            .lanes
            .iter()
            .map(|lane| lane.fluid_conductance() / total);
        if self.channel_share <= 0.0 {
            return natural.collect();
        }
        let mut shares: Vec<f64> = natural.collect();
        let narrow = shares.pop().unwrap_or_default();
        let left = (1.0 - self.channel_share) / (1.0 - narrow);
        shares
            .into_iter()
            .map(|share| share * left)
            .chain([self.channel_share])
            .collect()
    }

    fn narrow_share(&self) -> f64 {
        *self.flow_shares().last().expect("at least one lane")
    }

    /// Sum of the lanes' conductances, the channel's counted as wide as its share of the flow tells.
    fn opened(&self, conductances: impl Iterator<Item = f64>) -> f64 {
        let (mut total, mut narrow) = (0.0, 0.0);
        for conductance in conductances {
            total += conductance;
            narrow = conductance;
        }
        if self.channel_share > 0.0 {
            (total - narrow) / (1.0 - self.channel_share)
        } else {
            total
        }
    }

    /// L/min for each kPa, everything counted.
    fn conductance_l_min_kpa(&self) -> f64 {
        let open = self.opened(self.lanes.iter().map(Lane::fluid_conductance));
        open / (self.fresh_resistance * self.packing.factor())
    }

    /// Moves the channel towards its share, smoothly.
    fn open(&mut self, now_s: f64) {
        if let Some(opening) = self.opening {
            let done = ((now_s - opening.since_s) / opening.over_s.max(1e-9)).clamp(0.0, 1.0);
            let smooth = done * done * (3.0 - 2.0 * done);
            self.channel_share =
                opening.from_share + (opening.to_share - opening.from_share) * smooth;
            if done >= 1.0 {
                self.opening = None;
            }
        }
    }

    fn close_channel(&mut self, closed: f64) {
        if self.channel_share <= 0.0 {
            return;
        }
        let total: f64 = self.lanes.iter().map(Lane::fluid_conductance).sum();
        let natural = self.lanes[self.lanes.len() - 1].fluid_conductance() / total;
        self.opening = None;
        self.channel_share -= (self.channel_share - natural) * closed;
        if (self.channel_share - natural).abs() < 1e-3 {
            self.channel_share = 0.0;
        }
    }

    /// Evens the lanes out at each depth by this share of their difference; keeps the extract.
    fn mix_lanes(&mut self, share: f64) {
        let volumes: Vec<f64> = self
            .lanes
            .iter()
            .map(|l| l.column.cell_mobile_l())
            .collect();
        let whole_l: f64 = volumes.iter().sum();
        for depth in 0..self.keys.cells {
            let extract_kg: f64 = self
                .lanes
                .iter()
                .zip(&volumes)
                .map(|(lane, volume_l)| lane.column.mobile_kg_l()[depth] * volume_l)
                .sum();
            let mean_kg_l = extract_kg / whole_l;
            for lane in &mut self.lanes {
                let cell = &mut lane.column.mobile_kg_l_mut()[depth];
                *cell += share * (mean_kg_l - *cell);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Bed;
    use crate::model::wort::Wort;
    use crate::noise::Noise;
    use crate::scenario::Scenario;

    fn bed(seed: u64) -> Bed {
        let scenario = Scenario::draw(seed);
        Bed::new(&scenario, &Wort::at(75.0), &mut Noise::stream(seed, 0))
    }

    #[test]
    fn lanes_share_the_flow_in_the_ratio_of_their_conductance_over_viscosity() {
        for seed in 0..20 {
            let mut bed = bed(seed);
            for lane in &mut bed.lanes {
                lane.viscosity_mpa_s *= 0.6;
            }
            bed.lanes[0].viscosity_mpa_s *= 0.5;
            let shares = bed.flow_shares();
            assert!(
                (shares.iter().sum::<f64>() - 1.0).abs() < 1e-12,
                "seed {seed}"
            );
            // Equal pressure drop over all lanes: flow × viscosity / conductance is the same.
            let drops: Vec<f64> = bed
                .lanes
                .iter()
                .zip(&shares)
                .map(|(lane, share)| share * lane.viscosity_mpa_s / lane.conductance)
                .collect();
            for drop in &drops {
                assert!(
                    (drop / drops[0] - 1.0).abs() < 1e-12,
                    "seed {seed}: {drops:?}"
                );
            }
        }
    }

    #[test]
    fn pressure_drop_is_proportional_to_flow() {
        let bed = bed(3);
        let drop = |flow| bed.clone().advance(0.0, 1.0, flow, 0.18).pressure_drop_kpa;
        assert!((drop(60.0) / drop(30.0) - 2.0).abs() < 1e-9);
        assert!(drop(0.0).abs() < 1e-12);
    }

    #[test]
    fn a_channel_takes_its_share_and_lowers_the_resistance_by_it() {
        let mut bed = bed(5);
        let before = bed.clone().advance(0.0, 1.0, 50.0, 0.18).pressure_drop_kpa;
        assert!(bed.open_channel(0.5, 0.0, 60.0));
        let natural = bed.narrow_share();
        let after = bed.advance(60.0, 1.0, 50.0, 0.18).pressure_drop_kpa;
        assert!((bed.flow_shares().last().expect("lane") - 0.5).abs() < 1e-9);
        assert!((after / before - 0.5 / (1.0 - natural)).abs() < 1e-4);
    }

    #[test]
    fn raking_keeps_the_extract() {
        let mut bed = bed(8);
        for second in 0..1200 {
            bed.advance(f64::from(second), 1.0, 80.0, 0.0);
        }
        let before_kg = bed.extract_kg();
        (0..120).for_each(|_| bed.rake(1.0, 1.0));
        assert!((bed.extract_kg() / before_kg - 1.0).abs() < 1e-12);
    }
}

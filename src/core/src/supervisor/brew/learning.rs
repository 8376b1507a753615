//! What a brew learns from its instruments.
//!
//! Owns the way each value takes into the balance, the washout, the pH law and the bed, and the comparisons of
//! the balance with what is measured in the kettle itself.

use crate::bed::Flowing;
use crate::detect::{BedLook, Suspect};
use crate::kettle::Portion;
use crate::reading::{Measures, Moment};
use crate::units::wort_viscosity_mpa_s;

use super::super::parameters::{Parameters, Plant};
use super::{Brew, Picture};

/// Wort held by the bed over the planned volume: common practice holds a grist's own weight or somewhat more in a
/// bed that gives five times its weight of wort; no source.
const BED_SHARE: f64 = 0.3;
/// Undisturbed flow after which the bed's resistance counts, s. Own choice: a few time constants of the filters.
const BED_SETTLES_S: f64 = 45.0;
/// The kettle's own gravity meter is compared once a minute; its readings lag and share their error.
const EVERY_MINUTE_US: i64 = 60_000_000;
/// Level and sum are compared again when one of them has moved on by this share of the planned volume.
const COMPARED_SHARE: f64 = 0.005;
/// Below this share of the run-off the level does not tell.
const LEVEL_TELLS_SHARE: f64 = 0.03;
/// Unevenness of a kettle that is being filled, °P. Common practice, no source.
const KETTLE_MIXING_SD_P: f64 = 0.1;

impl Brew {
    pub(super) fn fill(&mut self, volume_l: f64, picture: &Picture, p: &Parameters) {
        let runoff_l = self.kettle.metered_l();
        let measured = picture.runnings_gravity_p;
        let (gravity_p, gravity_se_p) = measured.map_or_else(
            || self.washout.expected(runoff_l),
            |known| (known.value, known.standard_error),
        );
        self.kettle.fill(Portion {
            volume_l,
            gravity_p: gravity_p.max(0.0),
            gravity_se_p,
            temperature_c: picture
                .runnings_temperature_c
                .unwrap_or(p.assumed_temperature_c),
            measured: measured.is_some(),
        });
    }

    pub(super) fn learn_runnings(&mut self, picture: &Picture, plant: &Plant) {
        let runoff_l = self.kettle.metered_l();
        let Some(gravity) = picture.runnings_gravity_p else {
            return;
        };
        if self.witnesses.doubts(Measures::RunningsGravity) {
            return;
        }
        // The pipe's first content is not wort from the bed.
        if runoff_l < 1.5 * plant.pipe_volume_l + 0.004 * self.plan.planned_volume_l {
            return;
        }
        self.washout
            .observe(runoff_l, gravity.value, gravity.standard_error.max(0.005));
        if let Some(ph) = picture.runnings_ph {
            self.seen_ph = true;
            let first_wort_p = self.washout.first_wort_gravity_p();
            let noise_sd_ph = ph.standard_error.max(0.005);
            for acidity in [&mut self.acidity, self.samples.acidity_without_mut()] {
                acidity.note_electrode();
                acidity.observe(first_wort_p, gravity.value, ph.value, noise_sd_ph);
            }
        }
    }

    pub(super) fn learn_bed(&mut self, picture: &Picture, now: Moment, p: &Parameters) {
        // Flow and pressure drop come back at different paces: their quotient says nothing until both stand.
        if self.undisturbed_s(now) < BED_SETTLES_S {
            return;
        }
        let (Some(pressure_drop_kpa), Some(flow_l_min)) =
            (picture.pressure_drop_kpa, picture.flow_l_min)
        else {
            self.channel_watch.bed.skip();
            return;
        };
        let steady = self.flow_is_steady(picture);
        let temperature_c = picture
            .runnings_temperature_c
            .unwrap_or(p.assumed_temperature_c);
        let bed_l = BED_SHARE * self.plan.planned_volume_l;
        let gravity_p = self.washout.bed_gravity_p(self.kettle.metered_l(), bed_l);
        let viscosity_mpa_s = wort_viscosity_mpa_s(gravity_p, temperature_c);
        self.bed.observe(
            Flowing {
                pressure_drop_kpa,
                flow_l_min,
                viscosity_mpa_s,
            },
            now,
        );
        let watch = &mut self.channel_watch.bed;
        if picture.flow_is_stand_in {
            watch.restart();
        } else if !steady || pressure_drop_kpa <= 0.0 {
            watch.skip();
        } else if let Some(resistance_per_m) = self.bed.resistance_per_m() {
            let look = BedLook {
                elapsed_s: now.since(self.origin),
                resistance_ln: resistance_per_m.ln(),
                pressure_drop_ln: pressure_drop_kpa.ln(),
                flow_ln: flow_l_min.ln(),
            };
            watch.observe(self.kettle.metered_l(), look);
        }
    }

    /// The flow is no pause and near its mean of the last minute or two.
    pub fn flow_is_steady(&self, picture: &Picture) -> bool {
        const NEAR: f64 = 0.12;
        picture.flow_l_min.is_some_and(|flow_l_min| {
            flow_l_min > 0.5 * self.pace_l_min && (flow_l_min / self.pace_l_min - 1.0).abs() < NEAR
        })
    }

    /// Compares the balance with the level and the kettle's own gravity meter.
    pub fn compare(&mut self, picture: &Picture, now: Moment) {
        const MEMORY: f64 = 0.8;
        if let Some(level) = picture.level_l
            && self.suspect() != Some(Suspect::Level)
        {
            let deviation = self.kettle.observe_level(level.value, level.standard_error);
            self.disagreements.level =
                MEMORY * self.disagreements.level + (1.0 - MEMORY) * deviation;
        }
        if (now.0 - self.origin.0).rem_euclid(EVERY_MINUTE_US) == 0 {
            self.compare_volumes(picture, now);
            self.compare_kettle_gravity(picture);
        }
    }

    /// Level against summed flow, once there is enough in the kettle for the level to tell.
    fn compare_volumes(&mut self, picture: &Picture, now: Moment) {
        let planned_l = self.plan.planned_volume_l;
        let runoff_share = self.kettle.metered_l() / planned_l;
        if let Some(beyond_l) = picture.total_beyond_sum_l {
            let before_l = *self.totals.before_l.get_or_insert(beyond_l);
            self.totals.since_l = beyond_l - before_l;
        }
        let Some(level) = picture.level_l.filter(|_| runoff_share > LEVEL_TELLS_SHARE) else {
            return;
        };
        let summed_l = self.kettle.heel_l() + self.kettle.metered_l();
        // Looks at a kettle that stands still share their errors.
        let moved = |(before_sum_l, before_level_l): (f64, f64)| {
            let by_l = (summed_l - before_sum_l)
                .abs()
                .max((level.value - before_level_l).abs());
            by_l >= COMPARED_SHARE * planned_l
        };
        if !self.compared_l.is_none_or(moved) {
            return;
        }
        self.compared_l = Some((summed_l, level.value));
        self.volumes.observe(
            self.elapsed_s(now) / 60.0,
            runoff_share,
            (level.value - summed_l) / planned_l,
            level.standard_error / planned_l,
        );
    }

    /// Which of level and flow meter is more likely wrong, if they have begun to differ. A totaliser that differs from
    /// the flow meter as the level does, or does not, decides; else the shape of the change.
    pub fn suspect(&self) -> Option<Suspect> {
        let (excess, _) = self.volumes.change()?;
        let excess_l = excess * self.plan.planned_volume_l;
        if self.totals.before_l.is_none() {
            return self.volumes.suspect();
        }
        let shared = self.totals.since_l / excess_l;
        Some(if shared > 0.4 {
            Suspect::Flow
        } else {
            Suspect::Level
        })
    }

    /// A gravity meter in the kettle is dry until the wort has reached it, and it follows mixing late: what the
    /// kettle has moved since the last comparison may all be lag.
    fn compare_kettle_gravity(&mut self, picture: &Picture) {
        const MEMORY: f64 = 0.8;
        let before_p = std::mem::replace(
            &mut self.compared_gravity_p,
            self.kettle.contents().gravity_p,
        );
        let wet = self.kettle.metered_l() > 0.1 * self.plan.planned_volume_l;
        let (Some(gravity), Some(before_p), Some(now_p)) = (
            picture.kettle_gravity_p.filter(|_| wet),
            before_p,
            self.compared_gravity_p,
        ) else {
            return;
        };
        let noise_sd_p = gravity
            .standard_error
            .hypot(KETTLE_MIXING_SD_P)
            .hypot(2.0 * (now_p - before_p));
        if let Some(deviation) = self
            .kettle
            .observe_kettle_gravity(gravity.value, noise_sd_p)
        {
            let memory = &mut self.disagreements.kettle_gravity;
            *memory = MEMORY * *memory + (1.0 - MEMORY) * deviation;
        }
    }

    /// A channel is alarmed or suspected: what its runnings say of the stop-point is in doubt.
    pub fn is_in_channel_doubt(&self, alarmed: bool) -> bool {
        alarmed || self.channel_watch.suspected_from_l().is_some()
    }

    /// Runnings that are suspected to be a channel's do not shape the forecast; if the suspicion passes without
    /// an alarm, they do after all.
    pub fn heed_suspicion(&mut self, alarmed: bool) {
        if !self.is_in_channel_doubt(alarmed) {
            self.before_channel = None;
        } else if self.before_channel.is_none() {
            self.before_channel = self.crossings.target;
        }
        match self.channel_watch.suspected_from_l() {
            Some(from_l) => {
                self.washout.set_aside_from(from_l);
                self.channel_alarmed |= alarmed;
            }
            None if self.washout.sets_aside() => {
                let alarmed = std::mem::take(&mut self.channel_alarmed);
                self.washout.end_aside(alarmed);
            }
            None => {}
        }
    }
}

//! What is noted during a brew for the tun's profile.
//!
//! Owns the marks of the run-off up to the target and the bed's figures, and makes the lesson of them at the end.
//! It judges nothing: whether the tun learns from it is the profile's work.

use serde::{Deserialize, Serialize};

use crate::profile::{
    BedLesson, BrewLesson, PhLesson, Quality, RakeLesson, StopLesson, WashoutLesson, rounded,
};
use crate::reading::Moment;
use crate::washout::Curve;

use super::super::parameters::{Parameters, Plant};
use super::rake_effect::RakeEffect;
use super::rake_gain::RakeGain;
use super::{Brew, Picture};

/// Interval and number of the kept resistances: four hours of run-off.
const RESISTANCE_EVERY_S: f64 = 30.0;
const RESISTANCES_KEPT: usize = 480;
/// The bed settles over the first tenth of the run-off. Common practice, no source.
const SETTLED_SHARE: f64 = 0.1;
/// Pressure drop over its limit below which a flow counts as safe; detection warns at the same share.
const SAFE_SHARE: f64 = 0.6;
/// Gravity over first wort at which the rise of pH is told.
const THIRD_LEFT: f64 = 1.0 / 3.0;

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(in super::super) struct Notes {
    pub(super) quality: Quality,
    gravity_missing_s: f64,
    flow_missing_s: f64,
    resistances: Vec<f64>,
    resistance_at: Option<Moment>,
    safe_flow_l_min_m2: Option<f64>,
    trouble_from_share: Option<f64>,
    /// Of the last raking, until its effect has been read.
    pub(super) effect: Option<RakeEffect>,
    pub(super) rakes: Vec<RakeLesson>,
    /// What the last raking regains, while it is summed.
    gain: Option<RakeGain>,
    /// The resistance's lesson of that raking has been noted.
    pub(super) gain_has_lesson: bool,
    /// What the last raking did, until it has been told.
    pub(super) rake_effect: Option<String>,
}

impl Notes {
    /// What a raking has done to the bed, once its effect can be read.
    pub fn take_rake_effect(&mut self) -> Option<String> {
        self.rake_effect.take()
    }

    pub fn channelled(&mut self) {
        self.quality.channelled = true;
    }

    pub fn disagreed(&mut self) {
        self.quality.disagreed = true;
    }

    /// A step in which wort ran to the kettle.
    fn flowing(&mut self, picture: &Picture, step_s: f64) {
        self.quality.flowing_s += step_s;
        if picture.runnings_gravity_p.is_none() {
            self.gravity_missing_s += step_s;
        }
        if picture.flow_l_min.is_none() {
            self.flow_missing_s += step_s;
        }
    }

    fn resistance(&mut self, resistance_per_m: f64, now: Moment) {
        let due = self
            .resistance_at
            .is_none_or(|at| now.since(at) >= RESISTANCE_EVERY_S);
        if due && self.resistances.len() < RESISTANCES_KEPT {
            self.resistances.push(resistance_per_m);
            self.resistance_at = Some(now);
        }
    }

    fn pressure(&mut self, limit_share: f64, flow_l_min_m2: f64, runoff_share: f64) {
        if limit_share >= SAFE_SHARE {
            self.trouble_from_share.get_or_insert(runoff_share);
        } else {
            let greatest = self.safe_flow_l_min_m2.unwrap_or(0.0).max(flow_l_min_m2);
            self.safe_flow_l_min_m2 = Some(greatest);
        }
    }

    fn bed(&self) -> BedLesson {
        let mut resistances = self.resistances.clone();
        let median = (!resistances.is_empty())
            .then(|| rounded(crate::conditioning::median(&mut resistances)));
        BedLesson {
            resistance_per_m: median,
            safe_flow_l_min_m2: self.safe_flow_l_min_m2.map(rounded),
            trouble_from_share: self.trouble_from_share.map(rounded),
            rakes: self.rakes.clone(),
        }
    }

    fn quality(&self, target_reached: bool) -> Quality {
        let flowing_s = self.quality.flowing_s.max(1.0);
        Quality {
            target_reached,
            flowing_s: rounded(self.quality.flowing_s),
            gravity_missing_share: rounded(self.gravity_missing_s / flowing_s),
            flow_missing_share: rounded(self.flow_missing_s / flowing_s),
            ..self.quality
        }
    }
}

impl Brew {
    /// The resistance when the rakes start, before the bed's figures are forgotten.
    pub(super) fn note_rakes(&mut self, now: Moment, p: &Parameters) {
        if self.notes.effect.is_none() && self.bed.is_measured() {
            self.notes.effect = Some(RakeEffect::new(&self.bed, now, &p.bed));
        }
        if self.notes.gain.is_none() && self.flow_started.is_some() {
            self.notes.gain = Some(RakeGain::new(&self.washout));
            self.notes.gain_has_lesson = false;
        }
    }

    /// Sums what the last raking regains, and tells it once it can be read.
    fn note_gain(&mut self, picture: &Picture, now: Moment, p: &Parameters) {
        let (Some(gain), Some(raked)) = (self.notes.gain.as_mut(), self.raked) else {
            return;
        };
        if let Some(gravity) = picture.runnings_gravity_p {
            let temperature_c = picture
                .runnings_temperature_c
                .unwrap_or(p.assumed_temperature_c);
            let volume_l = self.pace_l_min * p.step_s / 60.0;
            gain.add(
                self.kettle.metered_l(),
                volume_l,
                gravity.value,
                temperature_c,
            );
        }
        let Some(gained) = gain.read(raked, now) else {
            return;
        };
        if self.notes.gain_has_lesson
            && let Some(lesson) = self.notes.rakes.last_mut()
        {
            lesson.gravity_gain_p = Some(rounded(gained.gravity_p));
            lesson.extract_gain_kg = Some(rounded(gained.extract_kg));
        }
        self.notes.rake_effect = Some(gained.told());
        self.notes.gain = None;
    }

    /// One step, as far as it teaches something; what comes after the target does not.
    pub(super) fn note_step(
        &mut self,
        picture: &Picture,
        to_kettle: bool,
        now: Moment,
        p: &Parameters,
        plant: &Plant,
    ) {
        if !to_kettle || self.reached.is_some() {
            return;
        }
        self.notes.flowing(picture, p.step_s);
        self.note_gain(picture, now, p);
        self.note_rake_effect(picture, now, p);
        let (Some(pressure_drop_kpa), Some(resistance_per_m)) =
            (picture.pressure_drop_kpa, self.bed.resistance_per_m())
        else {
            return;
        };
        let runoff_share = self.kettle.metered_l() / self.plan.planned_volume_l;
        if runoff_share >= SETTLED_SHARE {
            self.notes.resistance(resistance_per_m, now);
        }
        self.notes.pressure(
            pressure_drop_kpa / plant.pressure_drop_limit_kpa,
            self.pace_l_min / plant.bed_area_m2,
            runoff_share,
        );
    }

    /// What the brew taught, at its end.
    pub fn lesson(&mut self, plant: &Plant) -> BrewLesson {
        self.washout.refit();
        let curve = Curve::from_vector(&self.washout.posterior().mean);
        let grist_kg = self.plan.grist_kg;
        let contents = self
            .contents_at_stop
            .unwrap_or_else(|| self.kettle.contents());
        let stop = self.reached.map(|crossing| StopLesson {
            volume_l_per_kg: rounded((crossing.volume_l.p50 - plant.heel_l) / grist_kg),
            extract_kg_per_kg: rounded(contents.extract_kg / grist_kg),
        });
        let ph = self.seen_ph.then(|| {
            let first_wort_ph = self.acidity.by_law(1.0);
            let rise_ph = self.acidity.by_law(THIRD_LEFT) - first_wort_ph;
            PhLesson {
                basis: self.plan.ph_basis,
                first_wort_ph: rounded(first_wort_ph),
                rise_ph: rounded(rise_ph),
            }
        });
        BrewLesson {
            brew: self.plan.brew.clone(),
            recipe: self.plan.recipe.clone(),
            grist_kg,
            target_gravity_p: self.plan.target_gravity_p,
            planned_l_per_kg: rounded((self.plan.planned_volume_l - plant.heel_l) / grist_kg),
            planned_first_wort_p: self.plan.first_wort_gravity_p,
            washout: WashoutLesson {
                first_wort_gravity_p: rounded(curve.first_wort_gravity_p),
                breakthrough_l_per_kg: rounded(curve.breakthrough_l / grist_kg),
                sharpness: rounded(curve.sharpness),
                decline: rounded(curve.decline),
                bend: rounded(curve.bend),
            },
            stop,
            bed: self.notes.bed(),
            ph,
            quality: self.notes.quality(self.reached.is_some()),
        }
    }
}

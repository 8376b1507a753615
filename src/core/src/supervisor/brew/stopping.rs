//! Where a brew's run-off ends, ahead of it and when it has come.
//!
//! Owns the noticing of the target's crossing between two steps, the first of all limits that ends the run-off,
//! and the projection of what is still ahead.

use crate::kettle::Contents;
use crate::projection::{
    Band, Crossing, Crossings, FanPoint, Limits, Situation, StopCause, StopRule, boil_off_share,
    crossings, fan,
};
use crate::reading::Moment;
use crate::washout::Acidity;

use super::super::output::IfStopped;
use super::super::parameters::{Parameters, Plant};
use super::{Brew, Picture};

impl Brew {
    /// Notices the kettle gravity coming down to the target, and where exactly between two steps it did.
    pub(super) fn note_target(&mut self, now: Moment) {
        let contents = self.kettle.contents();
        let Some(gravity_p) = contents.gravity_p else {
            return;
        };
        let target_p = self.plan.target_gravity_p;
        let before = self.last_contents.replace((gravity_p, contents.volume_l));
        let enough = self.kettle.metered_l() > 0.03 * self.plan.planned_volume_l;
        if gravity_p > target_p {
            self.target_was_ahead |= enough;
            return;
        }
        if !self.target_was_ahead || self.reached.is_some() {
            return;
        }
        let volume_l = match before {
            Some((above_p, from_l)) if above_p > target_p => {
                from_l + (above_p - target_p) / (above_p - gravity_p) * (contents.volume_l - from_l)
            }
            _ => contents.volume_l,
        };
        let crossing = self.crossing_now(volume_l, now, contents.gravity_se_p, &contents);
        self.reached = Some(crossing);
    }

    /// A crossing that has just happened: its doubt is the kettle gravity's over the slope of the kettle.
    fn crossing_now(
        &self,
        volume_l: f64,
        now: Moment,
        gravity_se_p: f64,
        contents: &Contents,
    ) -> Crossing {
        let kettle_p = contents.gravity_p.unwrap_or(self.plan.target_gravity_p);
        let runnings_p = self.washout.expected(self.kettle.metered_l()).0;
        let slope_p_per_l = ((kettle_p - runnings_p) / contents.volume_l.max(1.0)).max(1e-6);
        let volume_sd_l = (gravity_se_p / slope_p_per_l).min(0.3 * volume_l);
        let seconds_per_l = 60.0 / self.pace_l_min.max(1e-3);
        let elapsed_s =
            self.elapsed_s(now) - (contents.volume_l - volume_l).max(0.0) * seconds_per_l;
        let total_sd_l = volume_sd_l.hypot(contents.volume_se_l);
        Crossing {
            volume_l: Band::around(volume_l, total_sd_l),
            elapsed_s: Band::around(elapsed_s, volume_sd_l * seconds_per_l),
        }
    }

    /// Notes that something has ended the run-off, if it is the first to do so.
    pub fn take_stop(&mut self, cause: StopCause, now: Moment, plant: &Plant, p: &Parameters) {
        let contents = self.kettle.contents();
        let crossing = self.crossing_now(
            contents.volume_l,
            now,
            0.5 * contents.gravity_se_p,
            &contents,
        );
        match cause {
            StopCause::GravityFloor => _ = self.floor_met.get_or_insert(crossing),
            StopCause::PhCeiling => _ = self.ceiling_met.get_or_insert(crossing),
            StopCause::TargetGravity | StopCause::KettleCapacity | StopCause::RunoffEnded => {}
        }
        if self.stop_taken.is_some() {
            return;
        }
        let mut stop = self
            .stop_rule(plant, p)
            .at(cause, &contents, self.elapsed_s(now));
        if let Some(reached) = self.reached.filter(|_| cause == StopCause::TargetGravity) {
            stop.volume_l = reached.volume_l.p50;
            stop.final_volume_l = stop.volume_l;
            stop.elapsed_s = reached.elapsed_s.p50;
        }
        self.stop_taken = Some(stop);
        self.contents_at_stop = Some(contents);
    }

    /// What the kettle would need if nothing more ran off.
    pub fn if_stopped(&self, now: Moment, plant: &Plant, p: &Parameters) -> Option<IfStopped> {
        let contents = self.kettle.contents();
        let gravity_p = contents.gravity_p?;
        let stop =
            self.stop_rule(plant, p)
                .at(StopCause::RunoffEnded, &contents, self.elapsed_s(now));
        Some(IfStopped {
            top_up_l: stop.top_up_l,
            final_volume_l: stop.final_volume_l,
            boil_off_percent: 100.0 * boil_off_share(gravity_p, self.plan.target_gravity_p),
            brew_length_l_per_kg: stop.final_volume_l / self.plan.grist_kg,
        })
    }

    fn stop_rule(&self, plant: &Plant, p: &Parameters) -> StopRule {
        StopRule {
            target_gravity_p: self.plan.target_gravity_p,
            capacity_l: plant.capacity_l,
            top_up_temperature_c: p.top_up_temperature_c,
            kettle_temperature_c: p.assumed_temperature_c,
        }
    }

    /// Where the run-off stands and what is watched for.
    fn situation(
        &self,
        picture: &Picture,
        now: Moment,
        plant: &Plant,
        p: &Parameters,
    ) -> (Situation, Limits) {
        let runoff_l = self.kettle.metered_l();
        let planned_l = (self.plan.planned_volume_l - plant.heel_l).max(1.0);
        let situation = Situation {
            elapsed_s: self.elapsed_s(now),
            contents: self.kettle.contents(),
            runoff_l,
            flow_scale: self.kettle.flow_scale(),
            calibration_p: self.kettle.runnings_calibration_p(),
            flow_l_min: self.pace_l_min,
            target_was_ahead: self.target_was_ahead,
            temperature_c: picture
                .runnings_temperature_c
                .unwrap_or(p.assumed_temperature_c),
        };
        let limits = Limits {
            target_gravity_p: self.plan.target_gravity_p,
            gravity_floor_p: self.plan.gravity_floor_p,
            ph_ceiling: self.plan.ph_ceiling,
            horizon_l: (2.0 * planned_l - runoff_l).max(0.3 * planned_l),
        };
        (situation, limits)
    }

    fn forecast_acidity(&self, picture: &Picture) -> Option<&Acidity> {
        (self.seen_ph || picture.has_ph_instrument).then_some(&self.acidity)
    }

    /// The forecast along the way, from what the last projection knew. Nothing before wort is in the kettle.
    pub fn fan(
        &self,
        picture: &Picture,
        now: Moment,
        plant: &Plant,
        p: &Parameters,
    ) -> Vec<FanPoint> {
        if self.kettle.contents().gravity_p.is_none() {
            return Vec::new();
        }
        let (situation, limits) = self.situation(picture, now, plant, p);
        let acidity = self.forecast_acidity(picture);
        fan(&situation, &limits, &self.washout, acidity, &self.draws)
    }

    /// Brings the forecast up to now.
    pub fn project(&mut self, picture: &Picture, now: Moment, plant: &Plant, p: &Parameters) {
        self.washout.refit();
        self.channel_watch
            .remember(self.kettle.metered_l(), &self.washout);
        let (situation, limits) = self.situation(picture, now, plant, p);
        let acidity = self.forecast_acidity(picture);
        let ahead = crossings(&situation, &limits, &self.washout, acidity, &self.draws);
        // A limit far beyond any run-off on this plan will not be reached.
        let within = |crossing: Option<Crossing>| {
            crossing.filter(|crossing| crossing.volume_l.p50 <= 1.6 * self.plan.planned_volume_l)
        };
        self.crossings = Crossings {
            target: self.reached.or(ahead.target),
            gravity_floor: self.floor_met.or(within(ahead.gravity_floor)),
            ph_ceiling: self.ceiling_met.or(within(ahead.ph_ceiling)),
            ..ahead
        };
        self.stop = self.stop_taken.or_else(|| {
            let rule = self.stop_rule(plant, p);
            rule.decide(
                &self.crossings,
                &situation.contents,
                situation.elapsed_s,
                self.pace_l_min,
            )
        });
    }

    /// Once, when a good part of the run-off is in the kettle and has never been above the target: running on only
    /// dilutes, and boiling is the only way up. Says what share of the kettle's wort has to go.
    pub fn out_of_reach(&mut self) -> Option<String> {
        const ENOUGH_SHARE: f64 = 0.1;
        let contents = self.kettle.contents();
        let kettle_p = contents.gravity_p?;
        let target_p = self.plan.target_gravity_p;
        let enough = self.kettle.metered_l() > ENOUGH_SHARE * self.plan.planned_volume_l;
        let doubt_p = 2.0 * contents.gravity_se_p;
        if self.told_out_of_reach
            || self.target_was_ahead
            || !enough
            || kettle_p + doubt_p >= target_p
        {
            return None;
        }
        self.told_out_of_reach = true;
        let runnings_p = self.washout.expected(self.kettle.metered_l()).0;
        if runnings_p > target_p {
            // A heel of liquor is still being lifted.
            self.told_out_of_reach = false;
            return None;
        }
        let boil_off_percent = 100.0 * boil_off_share(kettle_p, target_p);
        Some(format!(
            "Kettle gravity {kettle_p:.1} °P is below the target of {target_p:.1} °P and running on lowers it: the target \
             is out of reach of the run-off. Boiling off {boil_off_percent:.0} % of the kettle's mass would reach it."
        ))
    }
}

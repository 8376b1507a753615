//! What is doubtful about litres that no meter saw.
//!
//! Owns how wide the doubt is for a time without instruments and for one without a watch. How long an assumption may stand
//! in is `silence`'s to say, which source resolves it `inflow`'s.

use crate::reading::Moment;

use super::super::inflow::ASSUMED_SD_SHARE;
use super::super::parameters::Plant;
use super::{Brew, Picture};

/// What may have run off while nobody watched, as a standard deviation over what the pace of before makes it. Own choice:
/// the 90 % band then begins where nothing ran off at all, since whoever stood before a dead screen may have stopped.
const UNSEEN_SD_SHARE: f64 = 0.6;

impl Brew {
    /// Doubt about litres that no meter saw, with the gravity they have run at.
    pub fn widen(&mut self, sd_l: f64, picture: &Picture) {
        let measured = picture.runnings_gravity_p.map(|known| known.value);
        let gravity_p = measured.unwrap_or_else(|| self.expected_p());
        self.kettle.widen_volume(sd_l, Some(gravity_p));
    }

    /// Gravity of what runs off now, by the forecast.
    fn expected_p(&self) -> f64 {
        self.washout.expected(self.kettle.metered_l()).0.max(0.0)
    }

    /// Nobody watched while `assumed_l` were assumed; and for `blind_s` no assumption holds: the doubt grows, the kettle
    /// does not.
    pub fn lose_sight(&mut self, assumed_l: f64, blind_s: f64, now: Moment, plant: &Plant) {
        if (blind_s > 0.0 || assumed_l > 0.0) && self.flow_started.is_some() {
            let beyond_l = UNSEEN_SD_SHARE * self.pace_l_min * blind_s / 60.0;
            let doubt_l = beyond_l + (UNSEEN_SD_SHARE - ASSUMED_SD_SHARE) * assumed_l;
            let doubt_l = doubt_l.min(plant.capacity_l);
            let gravity_p = self.expected_p();
            self.kettle.widen_volume(doubt_l, Some(gravity_p));
            self.inflow.lose_sight(doubt_l);
        }
        self.disturb(now);
    }
}

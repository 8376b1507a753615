//! What the supervisor is told about the plant and about its own work.
//!
//! Owns the list of parameter sets and their joint check; each set's meaning stands with its module.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::alarm::{self, AlarmId, Settings};
use crate::{bed, detect, kettle, washout};

/// The tun and the kettle.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Plant {
    pub bed_area_m2: f64,
    /// Grain bed to the runnings instruments: dates what happened in the bed.
    pub pipe_volume_l: f64,
    pub pressure_drop_limit_kpa: f64,
    pub capacity_l: f64,
    pub heel_l: f64,
    /// Ascending pairs of level reading (in its own unit) and volume in L; empty where the unit is a volume.
    pub strapping: Vec<(f64, f64)>,
}

/// How the supervisor works.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Parameters {
    /// Grid on which the balance is summed and the rules are asked, s, 0.2 to 10.
    pub step_s: f64,
    pub projection_every_s: f64,
    pub table_every_s: f64,
    pub runoff_every_s: f64,
    pub reading_every_s: f64,
    /// Flow below this counts as none, L/min.
    pub no_flow_l_min: f64,
    /// Low-flow cut-off before the first wort and for the sparge: less than this share of the planned flow is taken for the
    /// meter's zero error, 0 to 0.5. Origin: flow meters are cut off at a few per cent of their range by common practice;
    /// the share is our own choice.
    pub cut_off_share: f64,
    /// Temperature of runnings and kettle where no instrument tells, °C.
    pub assumed_temperature_c: f64,
    pub stop_ahead_s: f64,
    pub limit_ahead_s: f64,
    pub top_up_temperature_c: f64,
    /// Refractometer reading over true gravity. Common practice: about 1.04.
    pub wort_factor: f64,
    pub kettle: kettle::Parameters,
    pub bed: bed::Parameters,
    pub washout: washout::Parameters,
    pub acidity: washout::AcidityParameters,
    pub detect: detect::Parameters,
    pub annunciation: alarm::Parameters,
    pub alarms: BTreeMap<AlarmId, Settings>,
}

impl Default for Parameters {
    fn default() -> Self {
        Self {
            step_s: 1.0,
            projection_every_s: 30.0,
            table_every_s: 600.0,
            runoff_every_s: 5.0,
            reading_every_s: 1.0,
            no_flow_l_min: 0.5,
            cut_off_share: 0.05,
            assumed_temperature_c: 75.0,
            stop_ahead_s: 600.0,
            limit_ahead_s: 600.0,
            top_up_temperature_c: 75.0,
            wort_factor: 1.04,
            kettle: kettle::Parameters::default(),
            bed: bed::Parameters::default(),
            washout: washout::Parameters::default(),
            acidity: washout::AcidityParameters::default(),
            detect: detect::Parameters::default(),
            annunciation: alarm::Parameters::default(),
            alarms: BTreeMap::new(),
        }
    }
}

impl Parameters {
    /// Everything outside its range, as sentences that begin with the module's name.
    pub fn check(&self) -> Vec<String> {
        let own = crate::units::outside_ranges(&[
            ("step_s", self.step_s, 0.2, 10.0),
            ("projection_every_s", self.projection_every_s, 1.0, 600.0),
            ("table_every_s", self.table_every_s, 10.0, 3600.0),
            ("runoff_every_s", self.runoff_every_s, 0.2, 600.0),
            ("reading_every_s", self.reading_every_s, 0.1, 600.0),
            ("no_flow_l_min", self.no_flow_l_min, 0.0, 100.0),
            ("cut_off_share", self.cut_off_share, 0.0, 0.5),
            (
                "assumed_temperature_c",
                self.assumed_temperature_c,
                20.0,
                100.0,
            ),
            ("wort_factor", self.wort_factor, 0.9, 1.2),
        ]);
        let named = |name: &'static str, faults: Vec<String>| {
            faults
                .into_iter()
                .map(move |fault| format!("{name}: {fault}"))
        };
        own.into_iter()
            .chain(named("kettle", self.kettle.check()))
            .chain(named("bed", self.bed.check()))
            .chain(named("washout", self.washout.check()))
            .chain(named("acidity", self.acidity.check()))
            .chain(named("detect", self.detect.check()))
            .chain(named("annunciation", self.annunciation.check()))
            .collect()
    }

    pub fn alarm(&self, alarm: AlarmId) -> Settings {
        self.alarms.get(&alarm).copied().unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_defaults_lie_within_their_own_ranges() {
        assert_eq!(Parameters::default().check(), Vec::<String>::new());
    }

    #[test]
    fn every_fault_is_named_at_once() {
        let mut parameters = Parameters {
            step_s: 0.0,
            ..Parameters::default()
        };
        parameters.washout.sharpness = 100.0;
        let faults = parameters.check();
        assert_eq!(faults.len(), 2, "{faults:?}");
        assert!(faults[1].starts_with("washout: sharpness is 100"));
    }
}

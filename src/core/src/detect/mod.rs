//! What is wrong, or soon will be: channelling, stuck bed, limits, flow, turbidity, disagreeing instruments.
//!
//! Owns the rules that turn estimates into conditions, each with the numbers that speak for it. It does not
//! know delays, acknowledgement or who is told; that is the alarm machine's work. Every rule may say "cannot
//! tell" by staying quiet when a value is missing.

mod channelling;
mod comparison;
mod disagreement;
mod evidence;
mod identity;
mod letting_go;
mod phase;
mod rules;
mod sampled;
pub mod sequential;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

pub use channelling::{ChannelWatch, Forecast};
pub use comparison::{Comparison, Suspect};
pub use identity::AlarmId;
pub use letting_go::{BedLook, Fall, LettingGo};
pub use phase::Phase;
pub use rules::{Held, conditions, is_pulled};
pub use sampled::{SampleErrors, SampleWatch};

use crate::kettle::Contents;
use crate::projection::{Crossing, EarlyLimit, Stop};

/// Thresholds of the rules. Common practice, no source, unless said otherwise; tried against the simulated
/// tun.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Parameters {
    /// Fall of the bed's resistance that speaks for a channel, share, 0.05 to 0.6.
    pub channel_resistance_fall: f64,
    /// Limit of the cumulative sum over that fall, standard deviations of one step, 5 to 50. By theory such a sum
    /// over mere scatter passes 8 once in ten thousand steps (Siegmund 1985), a run-off has some four hundred, and
    /// beyond lie the errors of the bed's model.
    pub channel_resistance_limit: f64,
    /// Runnings below the forecast that speak for a channel beside such a fall, °P, 0.1 to 3.
    pub channel_gravity_fall_p: f64,
    /// The same in standard deviations of the forecast.
    pub channel_gravity_deviations: f64,
    /// Without a pressure drop the gravity alone must speak this clearly: °P and standard deviations.
    pub channel_alone_fall_p: f64,
    pub channel_alone_deviations: f64,
    /// Share of the above from which the runnings no longer shape the forecast, 0.2 to 1.
    pub channel_suspicion_share: f64,
    /// After raking, a pause or recirculation the rules that compare with before wait this long, s.
    pub settling_s: f64,
    /// Age of the forecast that the runnings are compared with, share of the planned volume, 0.005 to 0.1.
    pub forecast_age_share: f64,
    /// Pressure drop over its limit from which a tightening bed matters, share, 0.2 to 1.
    pub compaction_share: f64,
    /// `bed-compaction` comes when the limit is this close, s.
    pub compaction_ahead_s: f64,
    /// A bed is stuck when flow falls below this share of the usual flow, 0.1 to 0.9.
    pub stuck_flow_share: f64,
    /// Without a pressure drop: this long after its start the pump may still be opening up, s, 0 to 1800.
    pub opening_up_s: f64,
    /// Flow over planned flow above or below which the pace is wrong, 1 to 3 and 0.1 to 1.
    pub too_fast_share: f64,
    pub too_slow_share: f64,
    /// A run-off is opened slowly: this long after its start nobody calls it slow, s, 0 to 3600.
    pub slow_start_s: f64,
    /// Cloudy runnings, EBC, 5 to 1000.
    pub turbid_ebc: f64,
    /// Kettle volume over capacity that counts as nearly full, 0.5 to 1.
    pub high_level_share: f64,
    /// Standard deviations by which instruments must contradict each other, 2 to 10.
    pub disagreement_deviations: f64,
    /// Limit of the cumulative sum of an instrument against hand samples, standard deviations, 3 to 20. By theory one
    /// false one in some thousand samples, a brew has about ten.
    pub sample_deviations: f64,
    /// Oldest undelivered row that counts as delayed, s, 1 to 86400.
    pub delivery_delay_s: f64,
    /// A limit that merely may come is warned of this share of the usual time before, 0.1 to 1. Own choice: it
    /// leaves half of ten minutes to act.
    pub early_limit_share: f64,
    /// Undisturbed run-off after which the trend of the bed's resistance counts, s, 0 to 1800. Own choice, tried on
    /// simulated pauses with fast valves.
    pub trend_after_s: f64,
}

impl Default for Parameters {
    fn default() -> Self {
        Self {
            channel_resistance_fall: 0.13,
            channel_resistance_limit: 12.0,
            channel_gravity_fall_p: 0.4,
            channel_gravity_deviations: 1.2,
            channel_alone_fall_p: 0.9,
            channel_alone_deviations: 2.5,
            channel_suspicion_share: 0.5,
            settling_s: 420.0,
            forecast_age_share: 0.025,
            compaction_share: 0.6,
            compaction_ahead_s: 600.0,
            stuck_flow_share: 0.5,
            opening_up_s: 360.0,
            too_fast_share: 1.35,
            too_slow_share: 0.65,
            slow_start_s: 900.0,
            turbid_ebc: 60.0,
            high_level_share: 0.97,
            disagreement_deviations: 4.0,
            sample_deviations: 4.0,
            delivery_delay_s: 60.0,
            early_limit_share: 0.75,
            trend_after_s: 300.0,
        }
    }
}

impl Parameters {
    /// Everything outside its range, as sentences.
    pub fn check(&self) -> Vec<String> {
        crate::units::outside_ranges(&[
            (
                "channel_resistance_fall",
                self.channel_resistance_fall,
                0.05,
                0.6,
            ),
            (
                "channel_resistance_limit",
                self.channel_resistance_limit,
                5.0,
                50.0,
            ),
            (
                "channel_gravity_fall_p",
                self.channel_gravity_fall_p,
                0.1,
                3.0,
            ),
            (
                "channel_gravity_deviations",
                self.channel_gravity_deviations,
                0.5,
                10.0,
            ),
            ("channel_alone_fall_p", self.channel_alone_fall_p, 0.1, 5.0),
            (
                "channel_alone_deviations",
                self.channel_alone_deviations,
                2.0,
                20.0,
            ),
            (
                "channel_suspicion_share",
                self.channel_suspicion_share,
                0.2,
                1.0,
            ),
            ("settling_s", self.settling_s, 0.0, 3600.0),
            ("forecast_age_share", self.forecast_age_share, 0.005, 0.1),
            ("compaction_share", self.compaction_share, 0.2, 1.0),
            ("compaction_ahead_s", self.compaction_ahead_s, 60.0, 3600.0),
            ("stuck_flow_share", self.stuck_flow_share, 0.1, 0.9),
            ("opening_up_s", self.opening_up_s, 0.0, 1800.0),
            ("too_fast_share", self.too_fast_share, 1.0, 3.0),
            ("too_slow_share", self.too_slow_share, 0.1, 1.0),
            ("slow_start_s", self.slow_start_s, 0.0, 3600.0),
            ("turbid_ebc", self.turbid_ebc, 5.0, 1000.0),
            ("high_level_share", self.high_level_share, 0.5, 1.0),
            (
                "disagreement_deviations",
                self.disagreement_deviations,
                2.0,
                10.0,
            ),
            ("sample_deviations", self.sample_deviations, 3.0, 20.0),
            ("delivery_delay_s", self.delivery_delay_s, 1.0, 86_400.0),
            ("early_limit_share", self.early_limit_share, 0.1, 1.0),
            ("trend_after_s", self.trend_after_s, 0.0, 1800.0),
        ])
    }
}

/// A condition that a rule found, or found gone.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    pub alarm: AlarmId,
    pub instrument: Option<String>,
    pub holds: bool,
    pub message: String,
    pub evidence: BTreeMap<String, f64>,
}

impl Finding {
    /// Words and evidence are read only while the condition holds, and hundreds of conditions do not for each that
    /// does: only then they are made.
    #[inline]
    pub fn new(alarm: AlarmId, holds: bool, message: impl FnOnce() -> String) -> Self {
        Self {
            alarm,
            instrument: None,
            holds,
            message: if holds { message() } else { String::new() },
            evidence: BTreeMap::new(),
        }
    }

    /// A condition that does not hold.
    pub fn gone(alarm: AlarmId) -> Self {
        Self::new(alarm, false, String::new)
    }

    #[must_use]
    pub fn about(mut self, instrument: &str) -> Self {
        self.instrument = Some(instrument.to_owned());
        self
    }

    // Inline, as most conditions do not hold and then nothing is done.
    #[must_use]
    #[inline]
    pub fn with(mut self, name: &str, value: f64) -> Self {
        if self.holds && value.is_finite() {
            self.evidence
                .insert(name.to_owned(), (value * 1e4).round() / 1e4);
        }
        self
    }
}

/// Level and summed flow have begun to differ in the course of the brew.
#[derive(Clone, Debug, PartialEq)]
pub struct VolumeChange {
    /// The instrument that is more likely wrong, and the other.
    pub suspect: String,
    pub other: String,
    /// Level minus flow beyond what they always differed by, L.
    pub difference_l: f64,
    pub since_minutes: f64,
}

/// Everything the rules look at, at one moment of a brew.
#[derive(Clone, Debug, PartialEq)]
pub struct View<'a> {
    pub elapsed_s: f64,
    /// Wort runs to the kettle.
    pub flowing: bool,
    pub recirculating: bool,
    /// Seconds since raking, a pause or recirculation last disturbed the bed.
    pub undisturbed_s: f64,
    /// Something tells when the rakes run.
    pub rakes_are_seen: bool,
    /// The flow is near its mean of the last minute or two.
    pub flow_is_steady: bool,
    /// Seconds since the rakes last ran; None if they have not, or nothing tells.
    pub seconds_since_raking: Option<f64>,
    /// What has run off, by the flow meter's reckoning, and its share of the planned volume.
    pub runoff_l: f64,
    pub runoff_share: f64,
    pub flow_l_min: Option<f64>,
    pub planned_flow_l_min: f64,
    /// Flow that brings the kettle to the stop-point at the planned time; None when that has passed.
    pub timely_flow_l_min: Option<f64>,
    /// Flow of the last quarter hour while it ran.
    pub usual_flow_l_min: Option<f64>,
    pub pump_running: Option<bool>,
    /// Seconds since the pump started, or since wort went back.
    pub pulled_s: f64,
    pub runnings_gravity_p: Option<f64>,
    pub gravity_floor_p: f64,
    /// On the plan's basis.
    pub runnings_ph: Option<f64>,
    pub ph_ceiling: f64,
    pub turbidity_ebc: Option<f64>,
    pub turbidity_rate_ebc_s: Option<f64>,
    /// Since wort first ran to the kettle, s.
    pub since_start_s: f64,
    pub pressure_drop_kpa: Option<f64>,
    pub pressure_drop_limit_kpa: f64,
    pub seconds_to_pressure_limit: Option<f64>,
    pub contents: Contents,
    pub capacity_l: f64,
    pub target_gravity_p: f64,
    /// Kettle gravity has been above the target in this brew.
    pub target_was_ahead: bool,
    pub target: Option<Crossing>,
    pub gravity_floor: Option<Crossing>,
    pub ph_ceiling_crossing: Option<Crossing>,
    pub stop: Option<Stop>,
    pub stop_ahead_s: f64,
    pub early_limit: Option<EarlyLimit>,
    pub limit_ahead_s: f64,
    /// Level instrument and its latest disagreement with the balance, standard deviations.
    pub level_disagreement: Option<(&'a str, f64)>,
    pub kettle_gravity_disagreement: Option<(&'a str, f64)>,
    pub flow_instrument: Option<&'a str>,
    /// Level and flow have begun to differ.
    pub volume_change: Option<VolumeChange>,
    /// Instruments that hand samples contradict, and by how much in sum, standard deviations.
    pub sampled: [Option<(&'a str, f64)>; 2],
}

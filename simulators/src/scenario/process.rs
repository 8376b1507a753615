//! The keys of a scenario that describe tun, bed, liquor, kettle and run.
//!
//! Defaults are a mid-sized brewhouse in calm. Where a default has no source beside it, it is common practice,
//! no source.

use serde::{Deserialize, Serialize};

/// The brewer's plan, key for key as in a `lauterd` plan file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    pub brew: String,
    #[serde(default)]
    pub recipe: String,
    pub grist_kg: f64,
    /// Start-of-boil gravity, °P.
    pub target_gravity_p: f64,
    /// Kettle volume the brewer expects at that gravity, as metered.
    pub planned_volume_l: f64,
    #[serde(default = "default_runoff_minutes")]
    pub runoff_minutes: f64,
    /// Also the gravity the mash really has in this run.
    pub first_wort_gravity_p: f64,
    /// What the brewer wrote down as first-wort gravity; without it, the true one; 0 leaves it out of the plan.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub noted_first_wort_gravity_p: Option<f64>,
    #[serde(default = "default_gravity_floor_p")]
    pub gravity_floor_p: f64,
    #[serde(default = "default_ph_ceiling")]
    pub ph_ceiling: f64,
    /// Basis of the ceiling: "room" (sample at 20 °C) or "process" (as read in the line).
    #[serde(default = "default_ph_basis")]
    pub ph_basis: String,
}

fn default_runoff_minutes() -> f64 {
    90.0
}

fn default_gravity_floor_p() -> f64 {
    3.0
}

fn default_ph_ceiling() -> f64 {
    6.0
}

fn default_ph_basis() -> String {
    "room".to_owned()
}

/// The lauter tun.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tun {
    #[serde(default = "Tun::default_name")]
    pub name: String,
    pub bed_area_m2: f64,
    /// Pipe between the false bottom and the runnings instruments, L.
    #[serde(default = "Tun::default_pipe_volume_l")]
    pub pipe_volume_l: f64,
    /// The brewer's limit of the bed pressure drop; only passed on to `lauterd`.
    #[serde(default = "Tun::default_pressure_drop_limit_kpa")]
    pub pressure_drop_limit_kpa: f64,
}

impl Tun {
    fn default_name() -> String {
        "tun-1".to_owned()
    }

    fn default_pipe_volume_l() -> f64 {
        40.0
    }

    fn default_pressure_drop_limit_kpa() -> f64 {
        2.5
    }
}

/// The grain bed as a washed column and as a resistance.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Bed {
    /// Extract dissolved in the tun, kg per kg of grist.
    pub extract_kg_per_kg: f64,
    /// Flowing wort in the bed, L per kg of grist.
    pub mobile_l_per_kg: f64,
    /// Wort held in the grain, L per kg of grist: it gives its extract up only slowly.
    pub immobile_l_per_kg: f64,
    /// First-order rate of that release, 1/min.
    pub exchange_per_min: f64,
    /// Number of parallel stream tubes (1 to 8).
    pub lanes: usize,
    /// Seed of their widths and permeabilities; without it the run's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lanes_seed: Option<u64>,
    /// Cells in each tube (at least half its Péclet number, at most 60).
    pub cells: usize,
    /// Péclet number of one tube: velocity × depth / dispersion coefficient.
    pub peclet: f64,
    /// Standard deviation of the logarithm of the tubes' permeability.
    pub permeability_spread: f64,
    /// Standard deviation of the first wort's concentration from place to place, relative.
    pub unevenness: f64,
    /// Share of the bed that the narrow tube takes in which a channel may open.
    pub channel_area_share: f64,
    /// Pressure drop of the fresh bed at the planned flow of first wort, kPa.
    pub pressure_drop_kpa: f64,
    /// What the bed can be given to drive flow: above it, flow is lost, kPa.
    pub available_pressure_kpa: f64,
    /// Above this pressure drop the bed packs, kPa.
    pub compaction_threshold_kpa: f64,
    /// Growth of the resistance's logarithm in an hour at twice the threshold.
    pub compaction_per_h: f64,
    /// Rise of the resistance by fines settling until the planned volume, as a share; grows as volume squared.
    pub settling: f64,
}

impl Default for Bed {
    fn default() -> Self {
        Self {
            extract_kg_per_kg: 0.74,
            mobile_l_per_kg: 1.3,
            immobile_l_per_kg: 0.75,
            exchange_per_min: 0.08,
            lanes: 6,
            lanes_seed: None,
            cells: 30,
            peclet: 25.0,
            permeability_spread: 0.15,
            unevenness: 0.008,
            channel_area_share: 0.04,
            pressure_drop_kpa: 1.0,
            available_pressure_kpa: 6.0,
            compaction_threshold_kpa: 2.2,
            compaction_per_h: 1.5,
            settling: 0.25,
        }
    }
}

/// How liquor follows the run-off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SpargeMode {
    /// Liquor flow follows the run-off and holds the head.
    Continuous,
    /// Liquor comes in batches: on at the lower head, off at the upper.
    Intermittent,
}

/// Liquor over the bed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Sparge {
    pub mode: SpargeMode,
    pub temperature_c: f64,
    /// Depth of wort above the bed at which liquor starts and which it holds, mm.
    pub head_mm: f64,
    /// Height of a batch in intermittent sparging, mm.
    pub batch_mm: f64,
    /// Flow of a batch relative to the planned run-off flow.
    pub batch_flow_factor: f64,
    /// Liquor available, L; without it there is always enough.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub liquor_l: Option<f64>,
}

impl Default for Sparge {
    fn default() -> Self {
        Self {
            mode: SpargeMode::Continuous,
            temperature_c: 77.0,
            head_mm: 30.0,
            batch_mm: 40.0,
            batch_flow_factor: 1.5,
            liquor_l: None,
        }
    }
}

/// The kettle.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Kettle {
    pub capacity_l: f64,
    /// Liquid in the kettle before run-off, L.
    #[serde(default)]
    pub heel_l: f64,
    /// Gravity of the heel, °P.
    #[serde(default)]
    pub heel_gravity_p: f64,
}

/// What else the wort brings: temperature, pH, turbidity.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Wort {
    /// Temperature of the mash at the start, °C.
    pub temperature_c: f64,
    /// Loss of the tun to its surroundings, K/h.
    pub cooling_k_per_h: f64,
    /// pH of first wort at 20 °C.
    pub first_wort_ph: f64,
    /// Rise of the pH at 20 °C when all extract is gone.
    pub ph_rise: f64,
    /// Exponent of the rise over the extract lost: above one, buffers hold at first.
    pub ph_exponent: f64,
    /// Turbidity of clear runnings, EBC.
    pub turbidity_ebc: f64,
    /// Turbidity of the first runnings above that, EBC.
    pub first_turbidity_ebc: f64,
    /// Volume that clears the bed of loose solids to 1/e, as a share of the bed's flowing wort.
    pub clearing_share: f64,
}

impl Default for Wort {
    fn default() -> Self {
        Self {
            temperature_c: 75.0,
            cooling_k_per_h: 1.0,
            first_wort_ph: 5.45,
            ph_rise: 0.75,
            ph_exponent: 1.4,
            turbidity_ebc: 15.0,
            first_turbidity_ebc: 120.0,
            clearing_share: 0.12,
        }
    }
}

/// One entry of the flow schedule.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setpoint {
    pub at_s: f64,
    /// Share of the planned flow (planned volume over planned minutes).
    pub share: f64,
}

/// How the run is driven and when it ends.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Run {
    /// Step of the model, s.
    pub step_s: f64,
    /// Flow setpoints in order of time; before the first there is no flow.
    pub flow: Vec<Setpoint>,
    /// Rate at which the controller moves the flow, shares of the planned flow per minute.
    pub ramp_per_min: f64,
    /// Standard deviation of the flow around its setpoint, relative.
    pub unrest: f64,
    /// The run goes on this long after the kettle has reached the target, s.
    pub past_target_s: f64,
    /// The run ends here in any case, s.
    pub longest_s: f64,
}

impl Default for Run {
    fn default() -> Self {
        Self {
            step_s: 1.0,
            flow: vec![
                Setpoint {
                    at_s: 20.0,
                    share: 0.9,
                },
                Setpoint {
                    at_s: 900.0,
                    share: 1.0,
                },
            ],
            ramp_per_min: 0.5,
            unrest: 0.01,
            past_target_s: 900.0,
            longest_s: 14_400.0,
        }
    }
}

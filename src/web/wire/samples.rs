//! Hand samples as they travel: in which units they may come, and what may be a slip of the finger.

use lauter_core::supervisor::{Place, Sample};
use lauter_core::units::Unit;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Fault, gravities};
use crate::runtime::request::SampleReceipt;

/// A hand sample. Gravity °P at 20 °C, pH of a cooled sample, volume in L as metered; at least one of them. Gravity may
/// come as apparent specific gravity 20/20 or as a refractometer's °Bx instead, which the service converts.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("anyOf" = [given("gravity_p"), given("ph"), given("volume_l"), given("gravity_sg"), given("gravity_bx")]))]
pub struct SampleBody {
    pub place: Place,
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 35.0))]
    pub gravity_p: Option<f64>,
    #[serde(default)]
    #[schemars(range(min = 3.0, max = 9.0))]
    pub ph: Option<f64>,
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 1e6))]
    pub volume_l: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gravity_sg: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gravity_bx: Option<f64>,
}

impl From<Sample> for SampleBody {
    fn from(sample: Sample) -> Self {
        let Sample {
            place,
            gravity_p,
            ph,
            volume_l,
        } = sample;
        Self {
            place,
            gravity_p,
            ph,
            volume_l,
            gravity_sg: None,
            gravity_bx: None,
        }
    }
}

/// That a key is there with a number.
fn given(key: &str) -> serde_json::Value {
    serde_json::json!({ "required": [key], "properties": { key: { "type": "number" } } })
}

/// Gravity of any wort, °P.
const POSSIBLE_P: (f64, f64) = (0.0, 35.0);

impl SampleBody {
    /// With the gravity in °P, whatever it was read in. `wort_factor`: refractometer reading over true gravity.
    pub fn in_plato(self, wort_factor: f64) -> Result<Self, Vec<Fault>> {
        let readings = [
            ("gravity_sg", self.gravity_sg, Unit::SpecificGravity),
            ("gravity_bx", self.gravity_bx, Unit::DegreeBrix),
        ];
        let given = readings.iter().filter(|(_, value, _)| value.is_some());
        if given.count() + usize::from(self.gravity_p.is_some()) > 1 {
            let message =
                "stands beside another gravity; give one of gravity_p, gravity_sg and gravity_bx";
            return Err(vec![Fault::new("gravity", message)]);
        }
        let mut converted = Self {
            gravity_sg: None,
            gravity_bx: None,
            ..self
        };
        for (key, value, unit) in readings {
            if let Some(value) = value {
                let gravity_p = gravities::in_plato(key, unit, value, POSSIBLE_P, wort_factor)
                    .map_err(|fault| vec![fault])?;
                converted.gravity_p = Some(gravity_p);
            }
        }
        Ok(converted)
    }

    /// The sample, or everything that is wrong with it. The ranges only catch slips of the finger: what can be
    /// right is for the supervisor to weigh.
    pub fn sample(self) -> Result<Sample, Vec<Fault>> {
        let values = [
            (
                "gravity_p",
                self.gravity_p,
                POSSIBLE_P.0,
                POSSIBLE_P.1,
                " °P",
            ),
            ("ph", self.ph, 3.0, 9.0, ""),
            ("volume_l", self.volume_l, 0.0, 1e6, " L"),
        ];
        let mut faults = Vec::new();
        if values.iter().all(|(_, value, ..)| value.is_none()) {
            faults.push(Fault::new(
                "gravity_p",
                "is missing, and so are ph and volume_l; give at least one",
            ));
        }
        for (key, value, low, high, unit) in values {
            if let Some(value) = value
                && !(low..=high).contains(&value)
            {
                let message = format!("is {value}{unit}; allowed is {low} to {high}{unit}");
                faults.push(Fault::new(key, message));
            }
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        Ok(Sample {
            place: self.place,
            gravity_p: self.gravity_p,
            ph: self.ph,
            volume_l: self.volume_l,
        })
    }
}

/// A service of an earlier version took nothing that it had not recorded.
fn yes() -> bool {
    true
}

/// A hand sample as it was taken, with the gravity in °P.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SampleTaken {
    /// Counts a brew's samples from 1; by it the sample can be withdrawn.
    pub number: usize,
    /// True for a sample that had been given within the last minute with the same figures: it was not taken again.
    #[serde(default)]
    pub repeated: bool,
    /// False while the record cannot be written: the sample counts, is kept in memory and will be written; it need not be
    /// entered again.
    #[serde(default = "yes")]
    pub recorded: bool,
    pub place: Place,
    pub gravity_p: Option<f64>,
    pub ph: Option<f64>,
    pub volume_l: Option<f64>,
}

impl SampleTaken {
    /// The receipt counts from 0, as the core does.
    pub fn new(receipt: SampleReceipt, sample: Sample) -> Self {
        Self {
            number: receipt.number + 1,
            repeated: receipt.repeated,
            recorded: receipt.recorded,
            place: sample.place,
            gravity_p: sample.gravity_p,
            ph: sample.ph,
            volume_l: sample.volume_l,
        }
    }
}

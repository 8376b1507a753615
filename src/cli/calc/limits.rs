//! What the calculations accept, and how they say so.
//!
//! Owns the allowed range of every option; outside it is a usage error that names the option. The ranges of
//! gravity and temperature are those of the density formula, the others only catch slips of the finger.

use crate::exit::{Failure, Kind};

/// An option's name, its allowed range and unit.
#[derive(Clone, Copy, Debug)]
pub struct Limit {
    option: &'static str,
    low: f64,
    high: f64,
    unit: &'static str,
}

const fn limit(option: &'static str, low: f64, high: f64, unit: &'static str) -> Limit {
    Limit {
        option,
        low,
        high,
        unit,
    }
}

pub const GRAVITY: Limit = limit("--gravity-p", 0.0, 35.0, "°P");
pub const TARGET_GRAVITY: Limit = limit("--target-gravity-p", 0.5, 35.0, "°P");
pub const TEMPERATURE: Limit = limit("--temperature-c", 0.0, 100.0, "°C");
pub const LIQUOR_TEMPERATURE: Limit = limit("--liquor-temperature-c", 0.0, 100.0, "°C");
pub const FROM: Limit = limit("--from-c", 0.0, 100.0, "°C");
pub const TO: Limit = limit("--to-c", 0.0, 100.0, "°C");
pub const VOLUME: Limit = limit("--volume-l", 0.1, 1e6, "L");
pub const MINUTES: Limit = limit("--minutes", 1.0, 1440.0, "min");
pub const GRIST: Limit = limit("--grist-kg", 0.1, 1e5, "kg");
pub const WORT_FACTOR: Limit = limit("--wort-factor", 0.9, 1.2, "");
pub const PH: Limit = limit("--ph", 3.0, 9.0, "pH");
pub const PORTION_VOLUME: Limit = limit("--portion volume", 0.1, 1e6, "L");
pub const PORTION_GRAVITY: Limit = limit("--portion gravity", 0.0, 35.0, "°P");
pub const PORTION_TEMPERATURE: Limit = limit("--portion temperature", 0.0, 100.0, "°C");

impl Limit {
    /// The value when it is allowed.
    pub fn check(&self, value: f64) -> Result<f64, Failure> {
        if (self.low..=self.high).contains(&value) {
            return Ok(value);
        }
        let Self {
            option,
            low,
            high,
            unit,
        } = self;
        let message = format!("{option} is {value} {unit}; allowed is {low} to {high} {unit}");
        Err(usage(message.replace(" ;", ";").trim_end()))
    }
}

/// A failure that says how the command is to be used.
pub fn usage(message: impl Into<String>) -> Failure {
    Failure::new(Kind::Usage, message)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_outside_its_range_names_option_and_range() {
        let failure = GRAVITY.check(50.0).unwrap_err();
        assert_eq!(failure.kind, Kind::Usage);
        assert_eq!(
            failure.message,
            "--gravity-p is 50 °P; allowed is 0 to 35 °P"
        );
        assert_eq!(
            WORT_FACTOR.check(2.0).unwrap_err().message,
            "--wort-factor is 2; allowed is 0.9 to 1.2"
        );
        assert!(PH.check(f64::NAN).is_err());
    }
}

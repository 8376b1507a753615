//! Applied values as they are typed: `phosphate@25`, `12P@20`, `1046.5`.

use lauter_core::calibration::{Applied, MeasuredPoint};
use lauter_core::units::Buffer;

const NEEDED: &str = "needed is BUFFER@C=READING such as phosphate@25=6.67, GRAVITYP@C=READING such as 12P@20=1047.2, or \
                      VALUE=READING";

/// What was applied and what the instrument read.
pub fn measured(text: &str) -> Result<MeasuredPoint, String> {
    let (left, right) = text.split_once('=').ok_or(NEEDED)?;
    Ok(MeasuredPoint {
        applied: applied(left.trim())?,
        reading: number(right)?,
    })
}

fn applied(text: &str) -> Result<Applied, String> {
    let (what, temperature) = match text.split_once('@') {
        Some((what, temperature)) => (what.trim(), Some(number(temperature)?)),
        None => (text, None),
    };
    if let Some(buffer) = Buffer::ALL.into_iter().find(|it| it.name() == what) {
        let temperature_c =
            temperature.ok_or("a buffer needs its temperature in °C, such as phosphate@25=6.67")?;
        return Ok(Applied::Buffer {
            buffer,
            temperature_c,
        });
    }
    if let Some(gravity) = what.strip_suffix(['P', 'p']) {
        return Ok(Applied::Gravity {
            gravity_p: number(gravity)?,
            temperature_c: temperature,
        });
    }
    if temperature.is_some() {
        return Err(NEEDED.to_owned());
    }
    Ok(Applied::Value {
        value: number(what)?,
    })
}

/// A number with a point or a comma.
pub fn number(text: &str) -> Result<f64, String> {
    match text.trim().replace(',', ".").parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err(format!("\"{}\" is not a number; {NEEDED}", text.trim())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn applied_values_are_read_as_they_are_typed() {
        let point = measured("phosphate@24,8=6.67").unwrap();
        assert_eq!(
            point.applied,
            Applied::Buffer {
                buffer: Buffer::Phosphate,
                temperature_c: 24.8
            }
        );
        assert!((point.reading - 6.67).abs() < 1e-12);
        assert_eq!(
            measured("12P@20=1047.2").unwrap().applied,
            Applied::Gravity {
                gravity_p: 12.0,
                temperature_c: Some(20.0)
            }
        );
        assert_eq!(
            measured("1046.4=1047").unwrap().applied,
            Applied::Value { value: 1046.4 }
        );
        for wrong in [
            "phosphate=6.67",
            "6.67",
            "1046@20=1047",
            "x=1",
            "12P@20=nan",
        ] {
            assert!(measured(wrong).is_err(), "{wrong}");
        }
    }
}

//! What an instrument of a run-off usually shows.
//!
//! Owns the usual range of each quantity in each unit, so that a reading in the wrong unit or of the wrong register
//! stands out. Wide on purpose: cold water in the line is as usual as wort. The ranges are common practice, no source;
//! those of densities follow from the density of water and wort. Must not know where a reading comes from.

use lauter_core::reading::Measures;
use lauter_core::units::{Dimension, Unit};

/// Least and greatest in the program's own unit of the dimension.
fn usual_in_base(measures: Measures) -> (f64, f64) {
    match measures {
        Measures::RunningsGravity | Measures::KettleGravity => (-1.0, 30.0),
        Measures::RunningsTemperature | Measures::KettleTemperature => (5.0, 105.0),
        Measures::RunningsPh => (3.5, 8.5),
        Measures::RunningsTurbidity => (0.0, 1000.0),
        Measures::RunoffFlow | Measures::SpargeFlow => (0.0, 2000.0),
        Measures::RunoffTotal => (0.0, 1e6),
        Measures::KettleVolume => (0.0, 1e5),
        Measures::BedPressureDrop => (-1.0, 20.0),
        Measures::RakeRunning | Measures::PumpRunning | Measures::Recirculating => (0.0, 1.0),
    }
}

/// Least and greatest that are usual, in `unit`; None where the unit does not fit the quantity.
pub fn usual(measures: Measures, unit: Unit) -> Option<(f64, f64)> {
    if unit == Unit::Milliampere {
        return Some((3.6, 21.0));
    }
    if unit.dimension() != measures.dimension() {
        return None;
    }
    match unit {
        Unit::Percent => Some((0.0, 100.0)),
        Unit::DegreePlato => Some((-1.0, 30.0)),
        Unit::DegreeBrix => Some((-1.0, 31.0)),
        Unit::SpecificGravity => Some((0.97, 1.14)),
        // Water at 80 °C, and 30 °P at 20 °C.
        Unit::KilogramPerCubicMetre => Some((970.0, 1130.0)),
        _ => {
            let (low, high) = usual_in_base(measures);
            Some((unit.linear_from_base(low)?, unit.linear_from_base(high)?))
        }
    }
}

/// What every instrument of the quantity must be able to show, in the program's own unit: the least reach that serves any
/// run-off (common practice, no source).
fn must_reach_in_base(measures: Measures) -> f64 {
    match measures {
        Measures::RunningsGravity | Measures::KettleGravity => 20.0,
        Measures::RunningsPh => 8.0,
        Measures::RunningsTurbidity => 50.0,
        Measures::RunoffFlow | Measures::SpargeFlow => 10.0,
        Measures::RunningsTemperature
        | Measures::KettleTemperature
        | Measures::RunoffTotal
        | Measures::KettleVolume => 100.0,
        Measures::BedPressureDrop => 5.0,
        Measures::RakeRunning | Measures::PumpRunning | Measures::Recirculating => 1.0,
    }
}

/// What every instrument of the quantity must be able to show, in `unit`; None where the unit does not fit it.
pub fn must_reach(measures: Measures, unit: Unit) -> Option<f64> {
    if unit == Unit::Milliampere {
        return Some(20.0);
    }
    if unit.dimension() != measures.dimension() {
        return None;
    }
    match unit {
        Unit::Percent => Some(100.0),
        Unit::DegreePlato | Unit::DegreeBrix => Some(must_reach_in_base(measures)),
        // A little less than 20 °P, which is 1.083.
        Unit::SpecificGravity => Some(1.08),
        Unit::KilogramPerCubicMetre => Some(1080.0),
        _ => unit.linear_from_base(must_reach_in_base(measures)),
    }
}

/// Physical limits to begin with, in `unit`: wider than what is usual, so that nothing true is taken for a fault before
/// somebody has set the instrument's own. None where the unit does not fit the quantity.
pub fn limits(measures: Measures, unit: Unit) -> Option<(f64, f64)> {
    let (low, high) = usual(measures, unit)?;
    let margin = (high - low) * LIMITS_BEYOND_USUAL;
    match unit {
        Unit::Milliampere | Unit::Bool => Some((low, high)),
        _ => Some((tidy(low - margin), tidy(high + margin))),
    }
}

/// Of the width of the usual range, on each side. Own choice.
const LIMITS_BEYOND_USUAL: f64 = 0.1;

/// Without the digits of a sum.
fn tidy(limit: f64) -> f64 {
    (limit * 1e3).round() / 1e3
}

/// The unit that instruments of this kind are most often set to.
pub fn usual_unit(measures: Measures) -> Unit {
    match measures.dimension() {
        Dimension::Gravity => Unit::KilogramPerCubicMetre,
        Dimension::Flow => Unit::LitrePerMinute,
        Dimension::Volume => Unit::Litre,
        Dimension::Pressure => Unit::Kilopascal,
        Dimension::Turbidity => Unit::Ebc,
        Dimension::Temperature => Unit::Celsius,
        Dimension::Ph => Unit::Ph,
        Dimension::Switch => Unit::Bool,
        Dimension::Current => Unit::Milliampere,
    }
}

/// Units in which `value` would be usual, besides `unit` in which it is not.
pub fn other_units(measures: Measures, unit: Unit, value: f64) -> Vec<Unit> {
    Unit::ALL
        .into_iter()
        .filter(|other| *other != unit && *other != Unit::Milliampere)
        .filter(|other| {
            usual(measures, *other).is_some_and(|(low, high)| (low..=high).contains(&value))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_quantity_has_a_usual_range_in_every_unit_that_fits_it() {
        for measures in Measures::ALL {
            for unit in Unit::ALL {
                let fits = unit.dimension() == measures.dimension() || unit == Unit::Milliampere;
                let usual = usual(measures, unit);
                assert_eq!(usual.is_some(), fits, "{measures:?} in {}", unit.name());
                let must_reach = must_reach(measures, unit);
                assert_eq!(
                    must_reach.is_some(),
                    fits,
                    "{measures:?} in {}",
                    unit.name()
                );
                if let (Some((low, high)), Some(reach)) = (usual, must_reach) {
                    assert!(
                        low < reach && reach <= high,
                        "{measures:?} in {}",
                        unit.name()
                    );
                }
            }
            assert!(usual(measures, usual_unit(measures)).is_some());
        }
    }

    #[test]
    fn a_density_that_was_called_a_specific_gravity_is_found_out() {
        let (low, high) = usual(Measures::RunningsGravity, Unit::KilogramPerCubicMetre).unwrap();
        assert!(!(low..=high).contains(&1.048));
        let others = other_units(
            Measures::RunningsGravity,
            Unit::KilogramPerCubicMetre,
            1.048,
        );
        assert!(others.contains(&Unit::SpecificGravity), "{others:?}");
    }
}

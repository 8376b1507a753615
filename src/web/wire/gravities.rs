//! Gravities as people read them off their instruments, and what is said of one that cannot be.
//!
//! Owns the answer in the unit that was asked in: whoever reads a specific gravity is told no °P, and a hydrometer whose
//! scale has no decimal mark is understood. The formulas are the core's.

use lauter_core::units::{Unit, gravity_from_p, gravity_to_p};

use super::Fault;

/// Hydrometers show 1076.5 for a specific gravity of 1.0765.
const WITHOUT_MARK: f64 = 1000.0;

/// `typed` in °P, to the hundredth, if it lies between two gravities; `wort_factor`: refractometer reading over true
/// gravity.
pub fn in_plato(
    key: &str,
    unit: Unit,
    typed: f64,
    (low_p, high_p): (f64, f64),
    wort_factor: f64,
) -> Result<f64, Fault> {
    let shown = |p: f64| gravity_from_p(unit, p, None, wort_factor).map(|it| rounded(it, unit));
    let wrong = |error: &dyn std::fmt::Display| Fault::new(key, error.to_string());
    let low = shown(low_p).map_err(|error| wrong(&error))?;
    let high = shown(high_p).map_err(|error| wrong(&error))?;
    let allowed = low..=high;
    if !allowed.contains(&typed) {
        let mut message = format!("is {typed}; allowed is {low} to {high}");
        let meant = typed / WITHOUT_MARK;
        if unit == Unit::SpecificGravity && allowed.contains(&meant) {
            message = format!("{message}; write {meant} if that is meant");
        }
        return Err(Fault::new(key, message));
    }
    // No hand-held instrument shows more than a hundredth.
    let gravity_p = gravity_to_p(unit, typed, None, wort_factor).map_err(|error| wrong(&error))?;
    Ok(((100.0 * gravity_p).round() / 100.0).clamp(low_p, high_p))
}

fn rounded(value: f64, unit: Unit) -> f64 {
    let scale = if unit == Unit::SpecificGravity {
        1000.0
    } else {
        10.0
    };
    (scale * value).round() / scale
}

#[cfg(test)]
mod tests {
    use super::*;

    const ANY_WORT_P: (f64, f64) = (0.0, 35.0);

    #[test]
    fn a_specific_gravity_typed_without_its_mark_is_offered_with_it() {
        let sg = |typed| in_plato("gravity_sg", Unit::SpecificGravity, typed, ANY_WORT_P, 1.04);
        assert_eq!(
            sg(1076.5).unwrap_err().message,
            "is 1076.5; allowed is 1 to 1.154; write 1.0765 if that is meant"
        );
        assert_eq!(
            sg(1.5).unwrap_err().message,
            "is 1.5; allowed is 1 to 1.154"
        );
        assert_eq!(
            sg(12.4).unwrap_err().message,
            "is 12.4; allowed is 1 to 1.154"
        );
        // 1.0500 is 12.39 °P (20/20), by the density of sugar solutions.
        assert!((sg(1.05).unwrap() - 12.39).abs() < 0.01);
    }

    #[test]
    fn a_refractometer_is_answered_on_its_own_scale() {
        let bx = |typed| in_plato("gravity_bx", Unit::DegreeBrix, typed, ANY_WORT_P, 1.04);
        assert_eq!(bx(99.0).unwrap_err().message, "is 99; allowed is 0 to 36.4");
        assert!((bx(18.72).unwrap() - 18.0).abs() < 0.01);
    }
}

//! The brewer's arithmetic: extract, mixing, topping up, contraction, flow and brew length.
//!
//! Owns balances of mass and extract between volumes that each have their own temperature. Mass adds up; volume does
//! not, and hot volumes are up to 4 % larger than cold ones, so every volume here comes with its temperature.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::density::wort_density_kg_m3;
use super::specific_gravity::weight_in_air_kg_m3;
use super::water::water_density_kg_m3;

/// US beer barrel (31 US gallons of 231 in³), L.
const US_BARREL_L: f64 = 31.0 * 3.785411784;

/// International pound, kg.
const POUND_KG: f64 = 0.45359237;

/// Temperature at which ASBC tables are made, °C.
const ROOM_C: f64 = 20.0;

/// Why a balance has no answer.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum BalanceError {
    #[error("there is nothing to mix")]
    Nothing,
    /// Liquor cannot raise a gravity, nor bring it to zero.
    #[error(
        "target gravity is {target_p} °P; liquor brings a wort of {gravity_p} °P to anything above 0 °P and up to {gravity_p} °P"
    )]
    Unreachable { target_p: f64, gravity_p: f64 },
}

/// A volume of wort (or liquor, at 0 °P) at its own temperature.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Wort {
    /// L at `temperature_c`.
    pub volume_l: f64,
    /// °P, % extract by mass.
    pub gravity_p: f64,
    /// °C
    pub temperature_c: f64,
}

impl Wort {
    /// Mass, kg.
    pub fn mass_kg(&self) -> f64 {
        self.volume_l / 1e3 * wort_density_kg_m3(self.gravity_p, self.temperature_c)
    }

    /// Extract, kg.
    pub fn extract_kg(&self) -> f64 {
        self.mass_kg() * self.gravity_p / 100.0
    }

    /// The same wort at another temperature: mass and gravity stay, volume changes.
    #[must_use]
    pub fn at_temperature(&self, temperature_c: f64) -> Self {
        Self {
            volume_l: self.volume_l
                * cooling_contraction(self.gravity_p, self.temperature_c, temperature_c),
            temperature_c,
            ..*self
        }
    }
}

/// Extract, kg per hL of wort measured at `temperature_c` in °C: density × mass fraction.
pub fn extract_kg_per_hl(gravity_p: f64, temperature_c: f64) -> f64 {
    wort_density_kg_m3(gravity_p, temperature_c) * gravity_p / 1e3
}

/// Extract, lb per US beer barrel at 20 °C, weighed in air as the ASBC tables have it.
pub fn extract_lb_per_us_barrel(gravity_p: f64) -> f64 {
    let weight_kg_m3 = weight_in_air_kg_m3(wort_density_kg_m3(gravity_p, ROOM_C));
    weight_kg_m3 * gravity_p / 100.0 * US_BARREL_L / 1e3 / POUND_KG
}

/// Worts put together: masses and extracts add up.
///
/// The volume returned is that of the mixture at its own temperature, which is the mean by mass: heat capacities of
/// wort and liquor differ by less than a tenth, which leaves the volume right to 0.1 %.
///
/// # Errors
/// [`BalanceError::Nothing`] when the portions have no mass.
pub fn mix(portions: &[Wort]) -> Result<Wort, BalanceError> {
    let mass_kg: f64 = portions.iter().map(Wort::mass_kg).sum();
    if mass_kg.is_nan() || mass_kg <= 0.0 {
        return Err(BalanceError::Nothing);
    }
    let extract_kg: f64 = portions.iter().map(Wort::extract_kg).sum();
    let heat: f64 = portions.iter().map(|p| p.mass_kg() * p.temperature_c).sum();
    let gravity_p = 100.0 * extract_kg / mass_kg;
    let temperature_c = heat / mass_kg;
    Ok(Wort {
        volume_l: 1e3 * mass_kg / wort_density_kg_m3(gravity_p, temperature_c),
        gravity_p,
        temperature_c,
    })
}

/// Liquor that brings a wort down to a gravity.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TopUp {
    /// Liquor to add, L at the liquor's temperature.
    pub liquor_l: f64,
    /// What is then in the kettle, L at the wort's temperature: heating goes on anyway.
    pub final_volume_l: f64,
}

/// Top-up liquor from the mass balance: extract stays, mass grows to extract over target mass fraction.
///
/// # Errors
/// [`BalanceError::Unreachable`] unless the target lies above 0 °P and not above the wort's gravity.
pub fn top_up(
    wort: &Wort,
    target_gravity_p: f64,
    liquor_temperature_c: f64,
) -> Result<TopUp, BalanceError> {
    let reachable = target_gravity_p > 0.0 && target_gravity_p <= wort.gravity_p;
    if !reachable {
        return Err(BalanceError::Unreachable {
            target_p: target_gravity_p,
            gravity_p: wort.gravity_p,
        });
    }
    let final_kg = wort.mass_kg() * wort.gravity_p / target_gravity_p;
    let liquor_kg = final_kg - wort.mass_kg();
    Ok(TopUp {
        liquor_l: 1e3 * liquor_kg / water_density_kg_m3(liquor_temperature_c),
        final_volume_l: 1e3 * final_kg / wort_density_kg_m3(target_gravity_p, wort.temperature_c),
    })
}

/// By how much the stop volume moves, L, when the kettle holds `extract_error_kg` more extract than assumed.
///
/// δV* = δE/(ρ·(w_target − w_runnings)) with mass fractions w and the density ρ of the runnings in kg/m³. None unless the
/// runnings are thinner than the target, since only then do they dilute the kettle towards it.
pub fn stop_volume_shift_l(
    extract_error_kg: f64,
    density_kg_m3: f64,
    target_gravity_p: f64,
    runnings_gravity_p: f64,
) -> Option<f64> {
    let thinning = (target_gravity_p - runnings_gravity_p) / 100.0;
    (thinning > 0.0 && density_kg_m3 > 0.0)
        .then(|| 1e3 * extract_error_kg / (density_kg_m3 * thinning))
}

/// Volume at `to_c` over volume at `from_c` (°C) of the same wort: ρ(from)/ρ(to). 0.960 from 100 to 20 °C, but 0.976 from
/// kettle-fill temperature (75 °C).
pub fn cooling_contraction(gravity_p: f64, from_c: f64, to_c: f64) -> f64 {
    wort_density_kg_m3(gravity_p, from_c) / wort_density_kg_m3(gravity_p, to_c)
}

/// Mean flow, L/min, of a run-off; not finite for zero minutes.
pub fn runoff_flow_l_min(volume_l: f64, minutes: f64) -> f64 {
    volume_l / minutes
}

/// Brew length, L/kg: the volume this wort makes at the target gravity (at its own temperature) per kg of grist.
///
/// Not finite for a target or grist of zero.
pub fn brew_length_l_per_kg(wort: &Wort, target_gravity_p: f64, grist_kg: f64) -> f64 {
    100.0 * wort.extract_kg() / extract_kg_per_hl(target_gravity_p, wort.temperature_c) / grist_kg
}

/// Extract in the kettle per grist as weighed, %.
pub fn extract_yield_percent(wort: &Wort, grist_kg: f64) -> f64 {
    100.0 * wort.extract_kg() / grist_kg
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn wort(volume_l: f64, gravity_p: f64, temperature_c: f64) -> Wort {
        Wort {
            volume_l,
            gravity_p,
            temperature_c,
        }
    }

    /// 12 °P at 20 °C: 1046.444 kg/m³ × 0.12 = 12.557 kg/hL (*Sugar Technologists Manual* density). 0.0005: last digit.
    #[test]
    fn twelve_plato_is_twelve_and_a_half_kilograms_per_hectolitre() {
        assert!((extract_kg_per_hl(12.0, 20.0) - 12.557).abs() <= 5e-4);
    }

    /// ASBC: 12 °P holds 32.45 lb of extract per US barrel. 0.005: last digit.
    #[test]
    fn twelve_plato_is_the_asbc_pounds_per_barrel() {
        let got = extract_lb_per_us_barrel(12.0);
        assert!((got - 32.45).abs() <= 5e-3, "{got}");
    }

    /// Ratio of the densities: 0.960 from 100 °C, 0.976 from 75 °C. 0.001: what the rule is quoted to, over 0–18 °P.
    #[test]
    fn cooling_contraction_is_four_percent_only_from_the_boil() {
        for p in [0.0, 12.0, 18.0] {
            assert!(
                (cooling_contraction(p, 100.0, 20.0) - 0.960).abs() < 1e-3,
                "{p} °P"
            );
            assert!(
                (cooling_contraction(p, 75.0, 20.0) - 0.976).abs() < 1e-3,
                "{p} °P"
            );
        }
    }

    /// Mass balance: 5 m³ of 16 °P with 1 m³ of 3 °P at 20 °C give 13.925 °P. 0.001: last digit and densities.
    #[test]
    fn mixing_goes_by_mass_not_by_volume() {
        let mixed = mix(&[wort(5000.0, 16.0, 20.0), wort(1000.0, 3.0, 20.0)]).unwrap();
        assert!(
            (mixed.gravity_p - 13.925).abs() < 1e-3,
            "{}",
            mixed.gravity_p
        );
        let by_volume = (5.0 * 16.0 + 3.0) / 6.0;
        assert!(
            (by_volume - mixed.gravity_p).abs() > 0.05,
            "mass must matter"
        );
    }

    #[test]
    fn nothing_cannot_be_mixed() {
        assert_eq!(mix(&[]), Err(BalanceError::Nothing));
        assert_eq!(mix(&[wort(0.0, 12.0, 20.0)]), Err(BalanceError::Nothing));
    }

    #[test]
    fn liquor_cannot_raise_a_gravity() {
        assert!(top_up(&wort(1000.0, 12.0, 75.0), 12.5, 78.0).is_err());
        assert!(top_up(&wort(1000.0, 12.0, 75.0), 0.0, 78.0).is_err());
        assert!(top_up(&wort(1000.0, 12.0, 75.0), f64::NAN, 78.0).is_err());
        assert!(
            top_up(&wort(1000.0, 12.0, 75.0), 12.0, 78.0)
                .unwrap()
                .liquor_l
                .abs()
                < 1e-9
        );
    }

    /// Derived from δV* = δE/(ρ·(w_target − w_runnings)): 1 kg at 12.4 °P over 3 °P of 983 kg/m³ is 10.82 L.
    #[test]
    fn an_extract_error_moves_the_stop_volume() {
        let shift = stop_volume_shift_l(1.0, 983.0, 12.4, 3.0).unwrap();
        assert!((shift - 10.822).abs() < 1e-3, "{shift}");
        assert_eq!(stop_volume_shift_l(1.0, 983.0, 12.4, 12.4), None);
    }

    /// Common practice: 5500 L in 90 min is about 61 L/min.
    #[test]
    fn planned_flow_is_volume_over_time() {
        assert!((runoff_flow_l_min(5500.0, 90.0) - 61.1).abs() < 0.05);
    }

    #[test]
    fn brew_length_at_target_gravity_is_volume_over_grist() {
        let kettle = wort(5184.0, 12.4, 75.0);
        assert!((brew_length_l_per_kg(&kettle, 12.4, 980.0) - 5184.0 / 980.0).abs() < 1e-9);
        let stronger = wort(5000.0, 13.0, 75.0);
        assert!(brew_length_l_per_kg(&stronger, 12.4, 980.0) > 5000.0 / 980.0);
    }

    proptest! {
        #[test]
        fn mixing_keeps_mass_and_extract(
            a in 1.0..9000.0f64, b in 1.0..9000.0f64, p in 0.0..25.0f64, q in 0.0..25.0f64,
            s in 10.0..95.0f64, t in 10.0..95.0f64
        ) {
            let (first, second) = (wort(a, p, s), wort(b, q, t));
            let mixed = mix(&[first, second]).unwrap();
            let mass = first.mass_kg() + second.mass_kg();
            prop_assert!((mixed.mass_kg() / mass - 1.0).abs() < 1e-12);
            prop_assert!((mixed.extract_kg() - first.extract_kg() - second.extract_kg()).abs() < 1e-9 * mass);
            prop_assert!(mixed.gravity_p >= p.min(q) - 1e-9 && mixed.gravity_p <= p.max(q) + 1e-9);
        }

        #[test]
        fn topping_up_keeps_the_extract_and_meets_the_target(
            volume in 100.0..9000.0f64, p in 5.0..25.0f64, share in 0.3..1.0f64, t in 60.0..95.0f64
        ) {
            let kettle = wort(volume, p, t);
            let answer = top_up(&kettle, p * share, 78.0).unwrap();
            let filled = wort(answer.final_volume_l, p * share, t);
            prop_assert!((filled.extract_kg() / kettle.extract_kg() - 1.0).abs() < 1e-12);
            let liquor_kg = answer.liquor_l / 1e3 * water_density_kg_m3(78.0);
            prop_assert!((filled.mass_kg() - kettle.mass_kg() - liquor_kg).abs() < 1e-6);
        }

        /// The shift is the derivative of the exact balance: kettle E + x·ρ·w_r over M + x·ρ meets the target.
        #[test]
        fn stop_volume_shift_is_exact_for_constant_runnings(
            error in -50.0..50.0f64, target in 8.0..16.0f64, runnings in 0.0..7.0f64
        ) {
            let (mass, extract, density) = (5000.0, 5000.0 * 0.17, 1000.0);
            let stop = |extract: f64| 1e3 * (extract - mass * target / 100.0)
                / (density * (target - runnings) / 100.0);
            let shift = stop_volume_shift_l(error, density, target, runnings).unwrap();
            prop_assert!((stop(extract + error) - stop(extract) - shift).abs() < 1e-6);
        }

        #[test]
        fn cooling_and_reheating_restores_the_volume(v in 1.0..9000.0f64, p in 0.0..30.0f64, t in 0.0..100.0f64) {
            let hot = wort(v, p, 75.0);
            prop_assert!((hot.at_temperature(t).at_temperature(75.0).volume_l / v - 1.0).abs() < 1e-12);
            prop_assert!((hot.at_temperature(t).mass_kg() / hot.mass_kg() - 1.0).abs() < 1e-12);
        }
    }
}

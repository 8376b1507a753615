//! Density and viscosity of water at one atmosphere.
//!
//! Owns the reference for everything that is compared with water: liquor, calibration, the viscosity of
//! thin runnings. The sugar-solution density keeps its own, slightly different water term (see `density`).

/// Zero of the Celsius scale, K.
pub(super) const ZERO_CELSIUS_K: f64 = 273.15;

/// Specific gas constant of water in the release, J/(kg·K).
const GAS_CONSTANT_J_KG_K: f64 = 461.51805;

/// The release's reference pressure, Pa.
const REFERENCE_PRESSURE_PA: f64 = 1e5;

/// Step from the release's 0.1 MPa to one atmosphere, Pa.
const TO_ONE_ATMOSPHERE_PA: f64 = 1_325.0;

/// Isothermal compressibility of water, 1/Pa: 4.4e-10 at 45 °C, 5.1e-10 at 0 °C, 4.9e-10 at 100 °C. The mean
/// keeps the step of 0.6 g/m³ right to 0.08 g/m³.
const COMPRESSIBILITY_PER_PA: f64 = 4.5e-10;

/// Reduced specific volume at 0.1 MPa: terms (exponent, factor) in 10 K/(593 K − T).
const VOLUME_HIGH: [(i32, f64); 5] = [
    (4, 6.74458446e3),
    (5, -2.22521604e5),
    (7, 1.00231247e8),
    (8, -1.63552118e9),
    (9, 8.32299658e9),
];

/// Reduced specific volume at 0.1 MPa: terms (exponent, factor) in 10 K/(T − 232 K).
const VOLUME_LOW: [(i32, f64); 6] = [
    (1, 5.78545292e-3),
    (2, -1.53195665e-2),
    (3, 3.11337859e-2),
    (4, -4.23546241e-2),
    (5, 3.38713507e-2),
    (6, -1.19946761e-2),
];

const VOLUME_CONSTANT: f64 = 1.93763157e-2;

/// Density of pure air-free water at 101.325 kPa, kg/m³, for −20 to 110 °C.
///
/// Source: IAPWS SR6-08(2011), *Properties of Liquid Water at 0.1 MPa*, eq. 2, which reproduces IAPWS-95 within
/// its uncertainty; carried from 100 to 101.325 kPa with the compressibility of water.
pub fn water_density_kg_m3(temperature_c: f64) -> f64 {
    let kelvin = temperature_c + ZERO_CELSIUS_K;
    let high = 10.0 / (593.0 - kelvin);
    let low = 10.0 / (kelvin - 232.0);
    let sum = |terms: &[(i32, f64)], base: f64| -> f64 {
        terms.iter().map(|&(n, a)| a * base.powi(n)).sum()
    };
    let reduced = VOLUME_CONSTANT + sum(&VOLUME_HIGH, high) + sum(&VOLUME_LOW, low);
    let volume_m3_kg = GAS_CONSTANT_J_KG_K * 10.0 / REFERENCE_PRESSURE_PA * reduced;
    (1.0 + COMPRESSIBILITY_PER_PA * TO_ONE_ATMOSPHERE_PA) / volume_m3_kg
}

/// Terms (factor in µPa·s, exponent) of the viscosity in T/300 K.
const VISCOSITY: [(f64, f64); 4] = [
    (280.68, -1.9),
    (511.45, -7.7),
    (61.131, -19.6),
    (0.45903, -40.0),
];

/// Dynamic viscosity of water at 0.1 MPa, mPa·s, for −20 to 110 °C.
///
/// Source: IAPWS SR6-08(2011) eq. 7, which follows IAPWS R12-08 within 0.1 % there.
pub fn water_viscosity_mpa_s(temperature_c: f64) -> f64 {
    let reduced = (temperature_c + ZERO_CELSIUS_K) / 300.0;
    VISCOSITY
        .iter()
        .map(|&(factor, exponent)| factor * reduced.powf(exponent))
        .sum::<f64>()
        / 1e3
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEMPERATURES_C: [f64; 5] = [20.0, 40.0, 60.0, 75.0, 80.0];

    /// IAPWS-95 at 101.325 kPa (computed with PyPI `iapws` 1.5.5). 0.0002: the release departs from IAPWS-95 by
    /// less than 1e-7 of the density, the pressure step adds 0.00008.
    #[test]
    fn water_density_is_that_of_iapws_95() {
        let expected = [998.2072, 992.2164, 983.1958, 974.8429, 971.7904];
        for (t, rho) in TEMPERATURES_C.into_iter().zip(expected) {
            let got = water_density_kg_m3(t);
            assert!((got - rho).abs() < 2e-4, "{t} °C: {got} against {rho}");
        }
    }

    /// IAPWS R12-08 at 101.325 kPa (computed with PyPI `iapws` 1.5.5). 5e-5: the figures' last digit and the
    /// 0.01 % by which the short equation departs here.
    #[test]
    fn water_viscosity_is_that_of_iapws_r12() {
        let expected = [1.00160, 0.65273, 0.46604, 0.37742, 0.35405];
        for (t, mu) in TEMPERATURES_C.into_iter().zip(expected) {
            let got = water_viscosity_mpa_s(t);
            assert!((got - mu).abs() < 5e-5, "{t} °C: {got} against {mu}");
        }
    }

    /// The triple of facts everyone knows: densest near 4 °C (IAPWS-95: 999.9749 at 3.98 °C).
    #[test]
    fn water_is_densest_near_four_degrees() {
        let densest = water_density_kg_m3(3.98);
        assert!((densest - 999.9749).abs() < 5e-4, "{densest}");
        assert!(densest > water_density_kg_m3(0.0) && densest > water_density_kg_m3(8.0));
    }
}

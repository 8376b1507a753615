//! Checks against the longer tables in `tests/reference`, each of which names its source in its head.
//!
//! Owns the reading of those tables. Short tables stand in the tests beside their formula.

use super::{
    refractive_index_from_brix, water_density_kg_m3, water_viscosity_mpa_s, wort_density_kg_m3,
};

const REFRACTIVE_INDEX: &str = include_str!("../../../../tests/reference/refractive_index.csv");
const WATER: &str = include_str!("../../../../tests/reference/water.csv");
const WORT_DENSITY: &str = include_str!("../../../../tests/reference/wort_density.csv");

/// The cells of every row below comments and the heading.
fn rows(table: &'static str) -> impl Iterator<Item = Vec<&'static str>> {
    table
        .lines()
        .filter(|line| !line.starts_with('#') && !line.is_empty())
        .skip(1)
        .map(|line| line.split(',').collect())
}

fn number(cell: &str) -> f64 {
    cell.parse()
        .unwrap_or_else(|_| panic!("`{cell}` is not a number"))
}

/// The same formula to 0.0005 kg/m³, half the last digit; the CRC *Handbook of Chemistry and Physics*, an independent table, to
/// 0.1, its last digit.
#[test]
fn wort_density_is_that_of_the_sugar_form_and_of_the_crc_handbook() {
    let mut checked = 0;
    for row in rows(WORT_DENSITY) {
        let (p, t, expected) = (number(row[1]), number(row[2]), number(row[3]));
        let allowed = if row[0] == "crc" { 0.1 } else { 5.1e-4 };
        let got = wort_density_kg_m3(p, t);
        assert!(
            (got - expected).abs() <= allowed,
            "{p} °P {t} °C: {got} against {expected}"
        );
        checked += 1;
    }
    assert_eq!(checked, 32);
}

/// IAPWS-95 and IAPWS R12-08. 0.0002 kg/m³ and 0.02 %: what the short equations of IAPWS SR6-08 depart from them.
#[test]
fn water_is_that_of_iapws_from_freezing_to_boiling() {
    let mut checked = 0;
    for row in rows(WATER) {
        let (t, density, viscosity) = (number(row[0]), number(row[1]), number(row[2]));
        let got = water_density_kg_m3(t);
        assert!(
            (got - density).abs() < 2e-4,
            "{t} °C: {got} against {density} kg/m³"
        );
        let ratio = water_viscosity_mpa_s(t) / viscosity;
        assert!((ratio - 1.0).abs() < 2e-4, "{t} °C: {ratio}");
        checked += 1;
    }
    assert_eq!(checked, 21);
}

/// ICUMSA 1974. 7e-6 within the fitted range (0–35 %), 2e-5 up to 40 %: what the cubic departs from the table's rounded
/// figures.
#[test]
fn refractive_index_is_that_of_the_whole_icumsa_table() {
    let mut checked = 0;
    for row in rows(REFRACTIVE_INDEX) {
        let (brix, index) = (number(row[0]), number(row[1]));
        let got = refractive_index_from_brix(brix);
        let allowed = if brix <= 35.0 { 7e-6 } else { 2e-5 };
        assert!(
            (got - index).abs() < allowed,
            "{brix} °Bx: {got} against {index}"
        );
        checked += 1;
    }
    assert_eq!(checked, 41);
}

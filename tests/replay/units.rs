//! The same run in other units gives the same stop-point: the units are the instrument maker's business.
//!
//! The recording is converted here, cell by cell; the expected answer is that of the recording as it was.

use lauter_core::units::{Unit, gravity_from_density_p, gravity_from_p, span_to_loop};

use super::recorded::{Lines, Recorded, assert_within, number};
use super::table::Table;

/// Refractometer reading over extract, as the service assumes it.
const WORT_FACTOR: f64 = 1.04;
const KETTLE_CAPACITY_L: f64 = 7000.0;
/// The recorded level is a loop from 0 to this, L.
const LEVEL_AT_20_MA_L: f64 = 7200.0;

/// Another instrument in the place of a recorded one.
struct Other {
    id: &'static str,
    unit: &'static str,
    limits: (f64, f64),
    /// Unit, value at 4 mA and at 20 mA, of a loop.
    span: Option<(&'static str, f64, f64)>,
    /// From the recorded value and the wort's temperature in °C.
    convert: Box<dyn Fn(f64, f64) -> f64>,
}

impl Other {
    fn new(
        id: &'static str,
        unit: &'static str,
        limits: (f64, f64),
        convert: impl Fn(f64, f64) -> f64 + 'static,
    ) -> Self {
        Self {
            id,
            unit,
            limits,
            span: None,
            convert: Box::new(convert),
        }
    }

    /// The same as a 4-20 mA loop over its span.
    fn looped(self, at_4_ma: f64, at_20_ma: f64) -> Self {
        let Self {
            id, unit, convert, ..
        } = self;
        Self {
            id,
            unit: "mA",
            limits: (3.6, 21.0),
            span: Some((unit, at_4_ma, at_20_ma)),
            convert: Box::new(move |value, temperature_c| {
                span_to_loop(convert(value, temperature_c), at_4_ma, at_20_ma)
            }),
        }
    }
}

fn gravity(unit: Unit, limits: (f64, f64)) -> Other {
    let convert = move |density_kg_m3, temperature_c| {
        let gravity_p = gravity_from_density_p(density_kg_m3, temperature_c).expect("wort");
        gravity_from_p(unit, gravity_p, Some(temperature_c), WORT_FACTOR).expect("wort")
    };
    Other::new("runnings_density", unit.name(), limits, convert)
}

fn temperature(unit: &'static str, convert: fn(f64) -> f64) -> Other {
    let limits = (convert(0.0), convert(110.0));
    Other::new("runnings_temperature", unit, limits, move |c, _| convert(c))
}

fn flow(unit: &'static str, per_l_min: f64) -> Other {
    let limits = (0.0, 250.0 * per_l_min);
    Other::new("runoff_flow", unit, limits, move |l_min, _| {
        l_min * per_l_min
    })
}

fn level(unit: &'static str, per_l: f64) -> Other {
    let limits = (-150.0 * per_l, 7400.0 * per_l);
    Other::new("kettle_level", unit, limits, move |ma, _| {
        (ma - 4.0) / 16.0 * LEVEL_AT_20_MA_L * per_l
    })
}

fn pressure(unit: &'static str, per_mbar: f64) -> Other {
    let limits = (-10.0 * per_mbar, 200.0 * per_mbar);
    Other::new("bed_pressure_drop", unit, limits, move |mbar, _| {
        mbar * per_mbar
    })
}

fn fahrenheit(celsius: f64) -> f64 {
    1.8 * celsius + 32.0
}

fn kelvin(celsius: f64) -> f64 {
    celsius + 273.15
}

/// Replays the recording with these instruments instead of the recorded ones.
fn replayed(recorded: &Recorded, others: &[Other]) -> Lines {
    let mut table = Table::of(&recorded.read("RUN.csv"));
    let mut config: toml::Table = recorded.read("config.toml").parse().expect("TOML");
    // A gravity is converted with the recorded temperature, so that comes last.
    let mut others: Vec<&Other> = others.iter().collect();
    others.sort_by_key(|other| other.id == "runnings_temperature");
    for other in others {
        table.change(other.id, |value, cell| {
            (other.convert)(value, cell("runnings_temperature"))
        });
        let instruments = config["instrument"].as_array_mut().expect("instruments");
        let instrument = instruments
            .iter_mut()
            .filter_map(toml::Value::as_table_mut)
            .find(|instrument| instrument["id"].as_str() == Some(other.id))
            .expect("the instrument");
        instrument.insert("unit".to_owned(), other.unit.into());
        instrument.insert("low".to_owned(), other.limits.0.into());
        instrument.insert("high".to_owned(), other.limits.1.into());
        instrument.remove("span");
        if let Some((unit, at_4_ma, at_20_ma)) = other.span {
            let span = toml::toml! {
                unit = unit
                at_4_ma = at_4_ma
                at_20_ma = at_20_ma
            };
            instrument.insert("span".to_owned(), span.into());
        }
    }
    recorded.write("other.csv", &table.text());
    recorded.write("other.toml", &config.to_string());
    recorded
        .replay()
        .config("other.toml")
        .data("other.csv")
        .lines()
}

/// The stop-point, and every line of the table.
fn assert_agree(found: &Lines, expected: &Lines) {
    assert_within(
        "stop-point",
        found.stop_volume_l(),
        expected.stop_volume_l(),
        1e-3,
    );
    let (found, expected) = (found.of_kind("table"), expected.of_kind("table"));
    assert_eq!(found.len(), expected.len());
    for (found, expected) in found.into_iter().zip(expected) {
        for (field, tolerance) in [
            ("/runnings_gravity_p", 0.05),
            ("/kettle_gravity_p", 0.03),
            ("/kettle_volume_l", 5.0),
            ("/runnings_ph", 0.01),
            ("/flow_l_min", 0.5),
            ("/pressure_drop_kpa", 0.02),
        ] {
            let (found_value, expected_value) = (number(found, field), number(expected, field));
            assert!(
                (found_value - expected_value).abs() <= tolerance,
                "{field}: {found} for {expected}"
            );
        }
    }
}

#[test]
fn plato_cubic_metres_per_hour_hectolitres_kilopascals_and_fahrenheit() {
    let recorded = Recorded::of("orchard-ale-channel");
    let found = replayed(
        &recorded,
        &[
            gravity(Unit::DegreePlato, (-1.0, 33.0)),
            temperature("degF", fahrenheit),
            flow("m3/h", 0.06),
            level("hL", 0.01),
            pressure("kPa", 0.1),
        ],
    );
    assert_agree(&found, &recorded.replay().lines());
}

#[test]
fn specific_gravity_litres_per_hour_per_cent_pascals_and_kelvin() {
    let recorded = Recorded::of("orchard-ale-channel");
    let found = replayed(
        &recorded,
        &[
            gravity(Unit::SpecificGravity, (0.995, 1.14)),
            temperature("K", kelvin),
            flow("L/h", 60.0),
            level("%", 100.0 / KETTLE_CAPACITY_L),
            pressure("Pa", 100.0),
        ],
    );
    assert_agree(&found, &recorded.replay().lines());
}

#[test]
fn refractive_brix_hectolitres_per_hour_cubic_metres_and_millimetres_of_water() {
    let recorded = Recorded::of("orchard-ale-channel");
    let found = replayed(
        &recorded,
        &[
            gravity(Unit::DegreeBrix, (-1.0, 34.0)),
            flow("hL/h", 0.6),
            level("m3", 0.001),
            // 1 mmH2O is 9.80665 Pa (conventional millimetre of water).
            pressure("mmH2O", 100.0 / 9.80665),
        ],
    );
    assert_agree(&found, &recorded.replay().lines());
}

#[test]
fn current_loops_for_everything_that_can_be_one() {
    let recorded = Recorded::of("orchard-ale-channel");
    let density = Other::new(
        "runnings_density",
        "kg/m3",
        (900.0, 1150.0),
        |density, _| density,
    );
    let found = replayed(
        &recorded,
        &[
            density.looped(950.0, 1100.0),
            temperature("degC", |celsius| celsius).looped(0.0, 120.0),
            flow("m3/h", 0.06).looped(0.0, 8.0),
            level("hL", 0.01).looped(0.0, 72.0),
            pressure("mbar", 1.0).looped(0.0, 60.0),
        ],
    );
    assert_agree(&found, &recorded.replay().lines());
}

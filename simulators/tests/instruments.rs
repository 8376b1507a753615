//! Instruments show what the scenario says they do with the truth.

use lauter_core::reading::Status;
use simulators::{Brewhouse, Fault, InstrumentReading, Scenario};

const SCENARIO: &str = include_str!("../scenarios/orchard-ale-channel.toml");

fn brewhouse() -> Brewhouse {
    let scenario = Scenario::from_toml(SCENARIO).expect("our own scenario");
    Brewhouse::new(&scenario, 21)
}

fn reading<'a>(brewhouse: &'a Brewhouse, id: &str) -> &'a InstrumentReading {
    brewhouse
        .readings()
        .iter()
        .find(|reading| reading.id == id)
        .expect("a known instrument")
}

fn inject(brewhouse: &mut Brewhouse, command: &str) {
    let fault = Fault::from_command(command).expect("a command");
    brewhouse.inject(&fault).expect("a fault within its range");
}

#[test]
fn readings_lie_about_the_truth_in_the_instrument_s_own_unit() {
    let mut brewhouse = brewhouse();
    brewhouse.advance(1500.0);
    let truth = *brewhouse.truth();
    let value = |id| reading(&brewhouse, id).value.expect("a value");
    let density = lauter_core::units::wort_density_kg_m3(
        truth.runnings_gravity_p,
        truth.runnings_temperature_c,
    );
    assert!((value("runnings_density") - density).abs() < 1.0);
    assert!((value("bed_pressure_drop") - 10.0 * truth.pressure_drop_kpa).abs() < 1.0);
    let level_ma = 4.0 + 16.0 * truth.kettle_volume_l / 7200.0;
    assert!((value("kettle_level") - level_ma).abs() < 0.2);
    assert!((value("runoff_total") - 1.003 * truth.metered_volume_l).abs() < 2.0);
}

#[test]
fn a_frozen_instrument_repeats_its_value_until_it_is_restored() {
    let mut brewhouse = brewhouse();
    brewhouse.advance(1200.0);
    inject(&mut brewhouse, "freeze runoff_flow");
    let before = reading(&brewhouse, "runoff_flow").value;
    for _ in 0..50 {
        brewhouse.advance(1.0);
        assert_eq!(reading(&brewhouse, "runoff_flow").value, before);
    }
    inject(&mut brewhouse, "restore runoff_flow");
    brewhouse.advance(1.0);
    assert_ne!(reading(&brewhouse, "runoff_flow").value, before);
}

#[test]
fn a_dropout_ends_by_itself() {
    let mut brewhouse = brewhouse();
    inject(&mut brewhouse, "dropout runnings_ph for_s=30");
    brewhouse.advance(29.0);
    assert_eq!(reading(&brewhouse, "runnings_ph").value, None);
    brewhouse.advance(3.0);
    assert!(reading(&brewhouse, "runnings_ph").value.is_some());
}

#[test]
fn a_loop_fault_and_a_status_show_as_such() {
    let mut brewhouse = brewhouse();
    inject(&mut brewhouse, "current kettle_level ma=3.5");
    inject(
        &mut brewhouse,
        "status runnings_density status=out-of-specification",
    );
    brewhouse.advance(5.0);
    assert_eq!(reading(&brewhouse, "kettle_level").value, Some(3.5));
    assert_eq!(
        reading(&brewhouse, "runnings_density").status,
        Status::OutOfSpecification
    );
}

#[test]
fn bubbles_only_lower_a_reading() {
    let mut calm = brewhouse();
    let mut gassy = brewhouse();
    inject(&mut gassy, "bubbles runnings_density depth=20");
    let mut lower = 0;
    for _ in 0..600 {
        calm.advance(1.0);
        gassy.advance(1.0);
        let value = |b: &Brewhouse| reading(b, "runnings_density").value.expect("a value");
        // The scenario's own rare bubbles are replaced by the fault's.
        let difference = value(&gassy) - value(&calm);
        if difference < -1.0 {
            lower += 1;
        }
    }
    assert!((30..400).contains(&lower), "{lower} of 600 samples");
}

#[test]
fn a_dropped_link_silences_all_its_instruments() {
    let mut brewhouse = brewhouse();
    inject(&mut brewhouse, "drop link skid for_s=20");
    brewhouse.advance(10.0);
    assert!(!brewhouse.link_is_up("skid"));
    assert!(
        brewhouse
            .readings()
            .iter()
            .all(|reading| reading.value.is_none())
    );
    brewhouse.advance(15.0);
    assert!(brewhouse.link_is_up("skid"));
    assert!(
        brewhouse
            .readings()
            .iter()
            .all(|reading| reading.value.is_some())
    );
}

#[test]
fn an_unknown_instrument_or_link_is_named_together_with_the_known_ones() {
    let mut brewhouse = brewhouse();
    let error = |brewhouse: &mut Brewhouse, command: &str| {
        let fault = Fault::from_command(command).expect("a command");
        brewhouse.inject(&fault).expect_err("refused").to_string()
    };
    let message = error(&mut brewhouse, "freeze nothing");
    assert!(
        message.contains("\"nothing\"") && message.contains("runoff_flow"),
        "{message}"
    );
    let message = error(&mut brewhouse, "drop link nowhere");
    assert!(
        message.contains("\"nowhere\"") && message.contains("skid"),
        "{message}"
    );
}

#[test]
fn a_lag_is_of_first_order() {
    let mut scenario = Scenario::from_toml(SCENARIO).expect("our own scenario");
    scenario.events.clear();
    scenario.run.unrest = 0.0;
    let flow = scenario
        .instruments
        .iter_mut()
        .find(|instrument| instrument.id == "runoff_flow")
        .expect("a flow meter");
    (flow.noise, flow.gain, flow.lag_s) = (0.0, 1.0, 30.0);
    let mut brewhouse = Brewhouse::new(&scenario, 1);
    brewhouse.advance(800.0);
    let before = brewhouse.truth().flow_l_min;
    inject(&mut brewhouse, "pause 600");
    brewhouse.advance(60.0);
    let shown = reading(&brewhouse, "runoff_flow").value.expect("a value");
    // The valve closes within seconds, so that after two lags a little more than e^-2 is left.
    let left = shown / before;
    assert!((0.135..0.17).contains(&left), "left {left}");
}

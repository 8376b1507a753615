//! Units, compensation, limits, and each instrument among the others.

use crate::support::{complete_with, instrument_with, minimal_with};

#[test]
fn a_unit_that_does_not_fit_the_quantity_is_refused() {
    minimal_with(
        &[("unit = \"L/min\"", "unit = \"degC\"")],
        "instrument[1] \"runoff_flow\": unit: is \"degC\"; allowed for runoff-flow is L/min, L/h, hL/h, m3/h or mA",
    );
}

#[test]
fn only_a_kettle_volume_may_be_a_percentage() {
    instrument_with(
        "id = \"total\"\nmeasures = \"runoff-total\"\nunit = \"%\"\nlow = 0\nhigh = 100",
        "instrument[2] \"total\": unit: is \"%\"; allowed for runoff-total is L, hL, m3 or mA",
    );
}

#[test]
fn a_switch_is_no_current() {
    instrument_with(
        "id = \"rake\"\nmeasures = \"rake-running\"\nunit = \"mA\"\nlow = 4\nhigh = 20\n\
         span = { unit = \"bool\", at_4_ma = 0, at_20_ma = 1 }",
        "instrument[2] \"rake\": unit: is \"mA\"; allowed for rake-running is bool",
    );
}

#[test]
fn a_current_without_span_is_refused() {
    complete_with(
        &[("span = {", "# span = {")],
        "instrument[7] \"bed_pressure_drop\": span: is missing; a current needs to be told what it stands for, such as \
         { unit = \"kPa\", at_4_ma = 0.0, at_20_ma = 5.0 }",
    );
}

#[test]
fn a_span_without_a_current_is_refused() {
    let span = "span = { unit = \"degP\", at_4_ma = 0, at_20_ma = 25 }\nlow = -1.0";
    minimal_with(
        &[("low = -1.0", span)],
        "instrument[0] \"runnings_gravity\": span: belongs to the unit mA; the unit is degP",
    );
}

#[test]
fn the_unit_of_a_span_must_fit_the_quantity() {
    complete_with(
        &[("span = { unit = \"mbar\"", "span = { unit = \"degC\"")],
        "instrument[7] \"bed_pressure_drop\": span.unit: is \"degC\"; allowed for bed-pressure-drop is kPa, mbar, Pa or \
         mmH2O",
    );
}

#[test]
fn a_span_of_no_width_is_refused() {
    complete_with(
        &[("at_20_ma = 100.0", "at_20_ma = 0.0")],
        "instrument[7] \"bed_pressure_drop\": span.at_20_ma: is the same as at_4_ma; allowed is any other number",
    );
}

#[test]
fn the_limits_of_a_current_are_in_milliampere() {
    complete_with(
        &[("high = 21.0", "high = 100.0")],
        "instrument[7] \"bed_pressure_drop\": high: is 100; allowed is a current from 0 to 25 mA",
    );
}

#[test]
fn a_density_as_a_current_needs_compensation_too() {
    let current = "unit = \"mA\"\nspan = { unit = \"kg/m3\", at_4_ma = 900, at_20_ma = 1150 }\nlow = 3.6\nhigh = 21";
    minimal_with(
        &[("unit = \"degP\"\nlow = -1.0\nhigh = 35.0", current)],
        "instrument[0] \"runnings_gravity\": temperature: is missing; a density in kg/m3 needs the id of the instrument \
         that measures its temperature",
    );
}

#[test]
fn a_compensating_instrument_that_there_is_not_is_refused() {
    complete_with(
        &[(
            "temperature = \"runnings_temperature\"",
            "temperature = \"runings_temperature\"",
        )],
        "instrument[0] \"runnings_density\": temperature: is \"runings_temperature\", which is no instrument's id; allowed \
         is an instrument that measures a temperature: runnings_temperature or kettle_temperature",
    );
}

#[test]
fn a_compensating_instrument_must_measure_a_temperature() {
    minimal_with(
        &[(
            "unit = \"degP\"",
            "unit = \"kg/m3\"\ntemperature = \"runoff_flow\"",
        )],
        "instrument[0] \"runnings_gravity\": temperature: is \"runoff_flow\", which measures runoff-flow; allowed is an \
         instrument that measures a temperature, and the file has none",
    );
}

#[test]
fn a_flow_is_not_compensated() {
    minimal_with(
        &[(
            "unit = \"L/min\"",
            "unit = \"L/min\"\ntemperature = \"runnings_gravity\"",
        )],
        "instrument[1] \"runoff_flow\": temperature: has no use: runoff-flow is not compensated for temperature",
    );
}

#[test]
fn limits_are_needed_but_for_a_switch() {
    minimal_with(
        &[("high = 35.0", "")],
        "instrument[0] \"runnings_gravity\": high: is missing; needed is the physical limit in degP",
    );
}

#[test]
fn limits_must_ascend() {
    minimal_with(
        &[("low = -1.0", "low = 35")],
        "instrument[0] \"runnings_gravity\": high: is 35; allowed is more than low (35)",
    );
}

#[test]
fn an_id_stands_once() {
    minimal_with(
        &[("id = \"runoff_flow\"", "id = \"runnings_gravity\"")],
        "instrument[1] \"runnings_gravity\": id: is \"runnings_gravity\", as is instrument[0]; an id stands once",
    );
}

#[test]
fn a_quantity_is_measured_once() {
    instrument_with(
        "id = \"second\"\nmeasures = \"runoff-flow\"\nunit = \"L/h\"\nlow = 0\nhigh = 9000",
        "instrument[2] \"second\": measures: is \"runoff-flow\" in both \"runoff_flow\" and \"second\"; allowed is one \
         instrument for each quantity",
    );
}

#[test]
fn the_heading_of_the_time_column_is_no_id() {
    for id in ["elapsed_s", "time"] {
        minimal_with(
            &[("id = \"runoff_flow\"", &format!("id = \"{id}\""))],
            &format!(
                "instrument[1] \"{id}\": id: is \"{id}\", which heads the time column of a replay file; give it another id"
            ),
        );
    }
}

#[test]
fn a_reading_must_not_be_stale_before_the_next_is_due() {
    minimal_with(
        &[("high = 35.0", "high = 35.0\nstale_after_s = 1.5")],
        "instrument[0] \"runnings_gravity\": stale_after_s: is 1.5; allowed is at least 2, twice the reading period of \
         modbus.every_ms, so that one late reading is no fault",
    );
}

#[test]
fn a_zero_belongs_to_a_pressure_drop() {
    minimal_with(
        &[("high = 35.0", "high = 35.0\nzero_kpa = 0.1")],
        "instrument[0] \"runnings_gravity\": zero_kpa: belongs to bed-pressure-drop; this instrument measures \
         runnings-gravity",
    );
}

#[test]
fn an_instrument_is_read_in_one_way() {
    let both = "topic = \"g\"\n[instrument.modbus]\nlink = \"skid\"\nunit_id = 1\ntable = \"input\"\naddress = 0\n\
                type = \"f32\"";
    complete_with(
        &[("topic = \"plant/kettle/gravity\"", both)],
        "instrument[9] \"kettle_gravity\": mqtt: modbus is given too; an instrument is read in one way",
    );
}

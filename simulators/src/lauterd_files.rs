//! The `lauterd` configuration and run-off plan that belong to a scenario.
//!
//! Owns the translation into the service's file formats, so that a simulated brewhouse and the service that
//! watches it cannot disagree about a register. Written as text: the service's types are not this crate's.

use std::fmt::Write as _;

use serde::Serialize;

use crate::scenario::{
    Influx, Instrument, ModbusLink, ModbusPoint, Mqtt, MqttPoint, Scenario, Span,
};

#[derive(Serialize)]
struct Configuration<'a> {
    site: Site<'a>,
    tun: Tun<'a>,
    kettle: Kettle,
    instrument: Vec<ConfiguredInstrument<'a>>,
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    modbus_link: &'a [ModbusLink],
    #[serde(skip_serializing_if = "Option::is_none")]
    mqtt: Option<&'a Mqtt>,
    #[serde(skip_serializing_if = "Option::is_none")]
    influx: Option<&'a Influx>,
    store: Store,
    web: Web<'a>,
}

#[derive(Serialize)]
struct Site<'a> {
    name: &'a str,
}

#[derive(Serialize)]
struct Tun<'a> {
    name: &'a str,
    bed_area_m2: f64,
    pipe_volume_l: f64,
    pressure_drop_limit_kpa: f64,
}

#[derive(Serialize)]
struct Kettle {
    capacity_l: f64,
    heel_l: f64,
}

#[derive(Serialize)]
struct ConfiguredInstrument<'a> {
    id: &'a str,
    measures: lauter_core::reading::Measures,
    unit: lauter_core::units::Unit,
    #[serde(skip_serializing_if = "Option::is_none")]
    span: Option<Span>,
    #[serde(skip_serializing_if = "Option::is_none")]
    temperature: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    low: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    high: Option<f64>,
    stale_after_s: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    modbus: Option<&'a ModbusPoint>,
    #[serde(skip_serializing_if = "Option::is_none")]
    mqtt: Option<&'a MqttPoint>,
}

#[derive(Serialize)]
struct Store {
    directory: String,
}

#[derive(Serialize)]
struct Web<'a> {
    listen: &'a str,
}

#[derive(Serialize)]
struct Plan<'a> {
    brew: &'a str,
    recipe: &'a str,
    grist_kg: f64,
    target_gravity_p: f64,
    planned_volume_l: f64,
    runoff_minutes: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    first_wort_gravity_p: Option<f64>,
    gravity_floor_p: f64,
    ph_ceiling: f64,
    ph_basis: &'a str,
}

/// Rounds away digits that no file should show.
fn tidy(value: f64) -> f64 {
    format!("{value:.6e}").parse().unwrap_or(value)
}

fn instrument(keys: &Instrument) -> ConfiguredInstrument<'_> {
    ConfiguredInstrument {
        id: &keys.id,
        measures: keys.measures,
        unit: keys.unit,
        span: keys.span,
        temperature: keys.temperature.as_deref(),
        low: keys.low.map(tidy),
        high: keys.high.map(tidy),
        stale_after_s: keys.stale_after_s,
        modbus: keys.modbus.as_ref(),
        mqtt: keys.mqtt.as_ref(),
    }
}

/// The service's configuration for this brewhouse.
pub fn configuration(scenario: &Scenario) -> String {
    let configuration = Configuration {
        site: Site {
            name: &scenario.site,
        },
        tun: Tun {
            name: &scenario.tun.name,
            bed_area_m2: tidy(scenario.tun.bed_area_m2),
            pipe_volume_l: tidy(scenario.tun.pipe_volume_l),
            pressure_drop_limit_kpa: tidy(scenario.tun.pressure_drop_limit_kpa),
        },
        kettle: Kettle {
            capacity_l: scenario.kettle.capacity_l,
            heel_l: scenario.kettle.heel_l,
        },
        instrument: scenario.instruments.iter().map(instrument).collect(),
        modbus_link: &scenario.modbus_links,
        mqtt: scenario.mqtt.as_ref(),
        influx: scenario.influx.as_ref(),
        store: Store {
            directory: format!("lauterd-{}", scenario.name),
        },
        web: Web {
            listen: &scenario.web_listen,
        },
    };
    header(
        &format!(
            "lauterd's configuration for the simulated brewhouse \"{}\".",
            scenario.name
        ),
        "simulators config",
        &configuration,
    )
}

/// The run-off plan of this brew.
pub fn plan(scenario: &Scenario) -> String {
    let keys = &scenario.plan;
    let noted = keys
        .noted_first_wort_gravity_p
        .unwrap_or(keys.first_wort_gravity_p);
    let plan = Plan {
        brew: &keys.brew,
        recipe: &keys.recipe,
        grist_kg: keys.grist_kg,
        target_gravity_p: keys.target_gravity_p,
        planned_volume_l: keys.planned_volume_l,
        runoff_minutes: keys.runoff_minutes,
        first_wort_gravity_p: (noted > 0.0).then_some(noted),
        gravity_floor_p: keys.gravity_floor_p,
        ph_ceiling: keys.ph_ceiling,
        ph_basis: &keys.ph_basis,
    };
    header(
        &format!("Run-off plan of the simulated brew \"{}\".", keys.brew),
        "simulators config --plan",
        &plan,
    )
}

fn header(title: &str, command: &str, content: &impl Serialize) -> String {
    let mut text = String::new();
    let _ = writeln!(text, "# {title}");
    let _ = writeln!(
        text,
        "# Made from the scenario by `{command}`; change it there.\n"
    );
    text.push_str(&toml::to_string(content).expect("tables, numbers and strings only"));
    text
}

//! A simulated brewhouse in the likeness of a configured tun.
//!
//! Owns the translation: the tun's measures, its kettle and its instruments with their registers, and a brew that fits
//! them. What is read over MQTT is served over Modbus instead, so that nothing simulated ever appears on a topic of
//! the site. How good the invented instruments are is that of the demonstration's.

use lauter_core::reading::Measures;
use lauter_core::units::{Dimension, Unit};
use simulators::Scenario;
use simulators::scenario::{
    Instrument, ModbusLink, ModbusPoint, Setpoint, Span, StatusRegister, Table, ValueType,
};

use crate::config::model::{ConfiguredInstrument, ModbusPoint as SitePoint, Source};
use crate::config::{self, Configuration};
use crate::exit::{Failure, Kind};
use lauter_core::projection::Plan;

/// Link of what the site reads otherwise than over Modbus.
const OTHERS: &str = "simulated";

/// Share of the kettle that the invented brew fills. Own choice: room is left to run on past the stop-point.
pub const FILLED_SHARE: f64 = 0.85;

/// First of the registers that stand for what is read otherwise, eight for each.
const OTHERS_FROM: u16 = 1000;

/// A calm brew on the configured tun, of the given plan or of one that fits.
pub fn scenario(configuration: &Configuration, plan: Option<&Plan>) -> Result<Scenario, Failure> {
    let mut scenario = calm(Scenario::demonstration());
    let kettle = &configuration.kettle;
    let model = scenario.plan.clone();
    "commission".clone_into(&mut scenario.name);
    if let Some(plan) = plan {
        take_plan(&mut scenario, plan);
    } else {
        let volume_l = FILLED_SHARE * kettle.capacity_l;
        scenario.plan.planned_volume_l = volume_l.round();
        scenario.plan.grist_kg =
            (model.grist_kg * (volume_l - kettle.heel_l) / model.planned_volume_l).max(1.0);
    }
    scenario.kettle.capacity_l = kettle.capacity_l;
    scenario.kettle.heel_l = kettle.heel_l;
    scenario.kettle.heel_gravity_p = scenario.plan.target_gravity_p;
    let tun = &configuration.tun;
    let limit_kpa = tun.pressure_drop_limit_kpa;
    let by = limit_kpa / scenario.tun.pressure_drop_limit_kpa;
    scenario.bed.pressure_drop_kpa *= by;
    scenario.bed.compaction_threshold_kpa *= by;
    scenario.bed.available_pressure_kpa *= by;
    scenario.tun.name.clone_from(&tun.name);
    scenario.tun.bed_area_m2 = tun.bed_area_m2;
    scenario.tun.pipe_volume_l = tun.pipe_volume_l;
    scenario.tun.pressure_drop_limit_kpa = limit_kpa;
    scenario.modbus_links = links(configuration);
    scenario.instruments = instruments(configuration, &scenario);
    if plan.is_none() && has_uncompensated_ph(&scenario) {
        // The limit of a sample at room temperature cannot be watched with it.
        "process".clone_into(&mut scenario.plan.ph_basis);
    }
    let faults = scenario.faults();
    if faults.is_empty() {
        return Ok(scenario);
    }
    let faults: Vec<String> = faults.iter().map(ToString::to_string).collect();
    let of_instruments = faults.iter().any(|fault| fault.starts_with("instrument"));
    let remedy = if of_instruments {
        "mend it in the configuration"
    } else {
        "give a plan that fits it (--plan)"
    };
    let words = format!(
        "no brew can be simulated on this tun: {}; {remedy}",
        faults.join("; ")
    );
    Err(Failure::new(Kind::Data, words))
}

fn has_uncompensated_ph(scenario: &Scenario) -> bool {
    let is_one = |instrument: &Instrument| {
        instrument.measures == Measures::RunningsPh && instrument.temperature.is_none()
    };
    scenario.instruments.iter().any(is_one)
}

/// Nothing happens in it: it runs clear, and to the kettle at once.
pub fn calm(mut scenario: Scenario) -> Scenario {
    scenario.events.clear();
    scenario.wort.first_turbidity_ebc = 0.0;
    scenario.run.flow = vec![Setpoint {
        at_s: 20.0,
        share: 1.0,
    }];
    for link in &mut scenario.modbus_links {
        link.tcp = Some(FREE.to_owned());
    }
    scenario
}

/// Any free port of this machine.
const FREE: &str = "127.0.0.1:0";

fn take_plan(scenario: &mut Scenario, plan: &Plan) {
    let keys = &mut scenario.plan;
    keys.brew.clone_from(&plan.brew);
    keys.recipe.clone_from(&plan.recipe);
    keys.grist_kg = plan.grist_kg;
    keys.target_gravity_p = plan.target_gravity_p;
    keys.planned_volume_l = plan.planned_volume_l;
    keys.runoff_minutes = plan.runoff_minutes;
    if let Some(first_wort_p) = plan.first_wort_gravity_p {
        keys.first_wort_gravity_p = first_wort_p;
        keys.noted_first_wort_gravity_p = Some(first_wort_p);
    }
    keys.gravity_floor_p = plan.gravity_floor_p;
    keys.ph_ceiling = plan.ph_ceiling;
    keys.ph_basis = config::spelt(plan.ph_basis);
}

fn links(configuration: &Configuration) -> Vec<ModbusLink> {
    let named = |name: &str| ModbusLink {
        name: name.to_owned(),
        tcp: Some(FREE.to_owned()),
        rtu_over_tcp: None,
        rtu: None,
        baud: None,
        parity: None,
        stop_bits: None,
        timeout_ms: 800,
    };
    let sites = configuration.modbus_links.iter();
    let mut links: Vec<ModbusLink> = sites.map(|link| named(&link.name)).collect();
    links.push(named(OTHERS));
    links
}

fn instruments(configuration: &Configuration, scenario: &Scenario) -> Vec<Instrument> {
    let mut instruments: Vec<Instrument> = Vec::new();
    for (index, configured) in (0_u16..).zip(&configuration.instruments) {
        let mut instrument = instrument(configured, scenario, configuration);
        let temperature = configured.instrument.temperature;
        instrument.temperature =
            temperature.map(|other| configuration.instruments[other].instrument.id.clone());
        instrument.modbus = Some(match &configured.source {
            Source::Modbus(point) => point_of(point, configuration, &instruments),
            Source::Mqtt(_) | Source::Recorded => point_of_other(index, configured),
        });
        instruments.push(instrument);
    }
    instruments
}

fn instrument(
    configured: &ConfiguredInstrument,
    scenario: &Scenario,
    configuration: &Configuration,
) -> Instrument {
    let known = &configured.instrument;
    let is_level = known.measures == Measures::KettleVolume;
    // What a strapping table reads is the vessel's own secret: the simulated level reads litres.
    let is_strapped = is_level && !configuration.kettle.strapping.is_empty();
    let unit = if is_strapped { Unit::Litre } else { known.unit };
    let span = known.span.filter(|_| !is_strapped).map(|span| Span {
        unit: span.unit,
        at_4_ma: span.at_4_ma,
        at_20_ma: span.at_20_ma,
    });
    let capacity_l = configuration.kettle.capacity_l;
    let working = span.map_or(unit, |span| span.unit);
    let (low, high) = if is_strapped {
        (Some(-0.05 * capacity_l), Some(1.2 * capacity_l))
    } else {
        (known.low, known.high)
    };
    Instrument {
        id: known.id.clone(),
        measures: known.measures,
        unit,
        span,
        temperature: None,
        low,
        high,
        stale_after_s: known.stale_after_s,
        every_s: 1.0,
        noise: noise(known.measures, working, scenario),
        lag_s: lag_s(known.measures),
        bias: known.zero,
        gain: 1.0,
        drift_per_h: 0.0,
        resolution: 0.0,
        bubbles: None,
        dropouts: None,
        modbus: None,
        mqtt: None,
    }
}

/// One sample's standard deviation in `unit`, like the demonstration's instruments.
fn noise(measures: Measures, unit: Unit, scenario: &Scenario) -> f64 {
    let plan = &scenario.plan;
    let in_base = match measures.dimension() {
        Dimension::Gravity => {
            return match unit {
                Unit::KilogramPerCubicMetre => 0.15,
                Unit::SpecificGravity => 0.00015,
                _ => 0.035,
            };
        }
        Dimension::Flow => 0.007 * plan.planned_volume_l / plan.runoff_minutes,
        // A counter is a register that only grows.
        Dimension::Volume if measures == Measures::RunoffTotal => 0.0,
        Dimension::Volume => 0.002 * plan.planned_volume_l,
        Dimension::Pressure => 0.006 * scenario.tun.pressure_drop_limit_kpa,
        Dimension::Turbidity => 1.0,
        Dimension::Temperature => 0.03,
        Dimension::Ph => 0.006,
        Dimension::Switch | Dimension::Current => 0.0,
    };
    if unit == Unit::Percent {
        return 100.0 * in_base / scenario.kettle.capacity_l;
    }
    in_unit(unit, in_base)
}

/// How large a difference is in `unit`, from the program's own unit of its dimension.
pub fn in_unit(unit: Unit, difference: f64) -> f64 {
    let zero = unit.linear_from_base(0.0).unwrap_or(0.0);
    unit.linear_from_base(difference).unwrap_or(difference) - zero
}

fn lag_s(measures: Measures) -> f64 {
    match measures.dimension() {
        Dimension::Ph => 15.0,
        Dimension::Temperature => 8.0,
        Dimension::Gravity | Dimension::Turbidity => 4.0,
        Dimension::Volume if measures == Measures::KettleVolume => 4.0,
        Dimension::Flow | Dimension::Pressure => 2.0,
        _ => 0.0,
    }
}

fn point_of(
    point: &SitePoint,
    configuration: &Configuration,
    others: &[Instrument],
) -> ModbusPoint {
    let link = configuration.modbus_links[point.link].name.clone();
    let status = point.status.as_ref().map(|register| StatusRegister {
        address: register.address,
        bits: register
            .bits
            .iter()
            .map(|(bit, class)| (bit.to_string(), *class))
            .collect(),
    });
    // One register may tell the health of several instruments; the simulated one tells that of the first.
    let is_taken = |status: &StatusRegister| {
        others
            .iter()
            .filter_map(|other| other.modbus.as_ref())
            .any(|other| {
                other.link == link
                    && other.unit_id == point.unit_id
                    && other
                        .status
                        .as_ref()
                        .is_some_and(|taken| taken.address == status.address)
            })
    };
    ModbusPoint {
        status: status.filter(|status| !is_taken(status)),
        unit_id: point.unit_id,
        table: same(point.table),
        address: point.address,
        value_type: same(point.value_type),
        byte_order: same(point.byte_order),
        scale: point.scale,
        offset: point.offset,
        every_ms: u32::try_from(point.every.as_millis()).unwrap_or(1000),
        link,
    }
}

/// The simulators' words are the configuration's.
fn same<T: serde::Serialize, U: serde::de::DeserializeOwned + Default>(word: T) -> U {
    serde_json::to_value(word)
        .and_then(serde_json::from_value)
        .unwrap_or_default()
}

fn point_of_other(index: u16, configured: &ConfiguredInstrument) -> ModbusPoint {
    let is_switch = configured.instrument.unit == Unit::Bool;
    ModbusPoint {
        link: OTHERS.to_owned(),
        unit_id: 1,
        table: if is_switch {
            Table::Discrete
        } else {
            Table::Input
        },
        address: OTHERS_FROM + 8 * index,
        value_type: if is_switch {
            ValueType::Bit
        } else {
            ValueType::F64
        },
        byte_order: simulators::scenario::ByteOrder::Abcd,
        scale: 1.0,
        offset: 0.0,
        every_ms: 1000,
        status: None,
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::config::Surroundings;

    fn examples() -> Vec<Configuration> {
        let directory = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let entries = std::fs::read_dir(directory).expect("the examples");
        let mut paths: Vec<_> = entries
            .map(|entry| entry.expect("an entry").path())
            .collect();
        paths.sort();
        paths
            .iter()
            .filter(|path| !path.display().to_string().ends_with("plan.toml"))
            .map(|path| config::load_with(path, &Surroundings::none()).expect("an example"))
            .collect()
    }

    #[test]
    fn every_example_is_a_tun_that_can_be_simulated_with_its_registers_where_they_are() {
        for site in examples() {
            let mut scenario = scenario(&site, None)
                .unwrap_or_else(|failure| panic!("{}: {failure}", site.file.display()));
            for (link, port) in scenario.modbus_links.iter_mut().zip(5502..) {
                // As if it were served.
                link.tcp = Some(format!("127.0.0.1:{port}"));
            }
            let text = simulators::lauterd_files::configuration(&scenario);
            let again = config::parse(Path::new("simulated"), text, &Surroundings::none());
            let again = again.unwrap_or_else(|errors| panic!("{}: {errors}", site.file.display()));
            for (of_site, own) in site.instruments.iter().zip(&again.instruments) {
                assert_eq!(of_site.instrument.id, own.instrument.id);
                assert_eq!(of_site.instrument.measures, own.instrument.measures);
                let (Source::Modbus(of_site), Source::Modbus(own)) = (&of_site.source, &own.source)
                else {
                    assert!(
                        matches!(own.source, Source::Modbus(_)),
                        "nothing on the site's topics"
                    );
                    continue;
                };
                assert_eq!(of_site.address, own.address);
                assert_eq!(of_site.byte_order, own.byte_order);
                assert_eq!(of_site.value_type, own.value_type);
            }
            assert!(again.mqtt.is_none() && again.influx.is_none());
        }
    }

    #[test]
    fn a_ph_without_its_temperature_is_watched_as_it_reads_in_the_line() {
        let compensated = include_str!("../../../config/simulated-harbour-stout.toml");
        let ph_alone = {
            let (before, ph) = compensated
                .split_once("measures = \"runnings-ph\"")
                .expect("a pH");
            let ph = ph.replacen("temperature = \"runnings_temperature\"\n", "", 1);
            format!("{before}measures = \"runnings-ph\"{ph}")
        };
        assert_ne!(ph_alone, compensated);
        let basis = |text: &str| {
            let site = config::parse(Path::new("site"), text.to_owned(), &Surroundings::none());
            let scenario = scenario(&site.expect("a tun"), None).expect("a brew");
            scenario.plan.ph_basis
        };
        assert_eq!(basis(&ph_alone), "process");
        assert_eq!(basis(compensated), "room");
    }

    #[test]
    fn a_plan_that_no_mash_can_give_is_refused_with_what_to_do() {
        let site = examples().remove(0);
        let text = "brew = \"x\"\ngrist_kg = 100\ntarget_gravity_p = 12\nplanned_volume_l = 5000\n\
                    first_wort_gravity_p = 29\n";
        let plan = config::parse_plan(Path::new("plan"), text.to_owned()).expect("a plan");
        let refused = scenario(&site, Some(&plan)).expect_err("too little grist");
        assert!(refused.message.contains("--plan"), "{refused}");
    }
}

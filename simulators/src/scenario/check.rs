//! What cannot be in a scenario, and in which line of its file it stands.

use std::collections::BTreeSet;

use lauter_core::reading::Measures;
use lauter_core::units::Unit;
use toml::de::DeTable;

use super::{Instrument, Scenario, ScenarioFault, Table, ValueType, ranges};
use crate::fault::{Fault, FaultError};
use crate::instrument::MQTT_LINK;
use crate::model::wort::Wort;

/// Collects faults.
#[derive(Default)]
struct Faults(Vec<ScenarioFault>);

impl Faults {
    fn add(&mut self, key: impl Into<String>, message: impl Into<String>) {
        self.0.push(ScenarioFault {
            key: key.into(),
            line: None,
            message: message.into(),
        });
    }

    fn range(&mut self, key: &str, value: f64, low: f64, high: f64) {
        if !(low..=high).contains(&value) {
            self.add(key, format!("is {value}; allowed is {low} to {high}"));
        }
    }
}

/// Everything impossible, all at once.
pub fn faults(scenario: &Scenario) -> Vec<ScenarioFault> {
    let mut faults = Faults::default();
    for (key, value, low, high) in ranges::of(scenario) {
        faults.range(key, value, low, high);
    }
    plan(scenario, &mut faults);
    volumes(scenario, &mut faults);
    run(scenario, &mut faults);
    links(scenario, &mut faults);
    instruments(scenario, &mut faults);
    events(scenario, &mut faults);
    faults.0
}

fn plan(scenario: &Scenario, faults: &mut Faults) {
    let plan = &scenario.plan;
    if !["room", "process"].contains(&plan.ph_basis.as_str()) {
        faults.add("plan.ph_basis", "must be \"room\" or \"process\"");
    }
    if plan.target_gravity_p >= plan.first_wort_gravity_p {
        faults.add(
            "plan.target_gravity_p",
            format!(
                "is {}; it must be below first_wort_gravity_p ({})",
                plan.target_gravity_p, plan.first_wort_gravity_p
            ),
        );
    }
}

fn volumes(scenario: &Scenario, faults: &mut Faults) {
    let (plan, bed) = (&scenario.plan, &scenario.bed);
    let in_range = (40.0..=90.0).contains(&scenario.wort.temperature_c)
        && (2.0..=30.0).contains(&plan.first_wort_gravity_p);
    if !in_range {
        return;
    }
    let wort = Wort::at(scenario.wort.temperature_c);
    let concentration_kg_l = wort.concentration_kg_l(plan.first_wort_gravity_p);
    let all_l = bed.extract_kg_per_kg * plan.grist_kg / concentration_kg_l;
    let bed_l = (bed.mobile_l_per_kg + bed.immobile_l_per_kg) * plan.grist_kg;
    let below_l = bed_l + scenario.tun.pipe_volume_l;
    if all_l < below_l {
        faults.add(
            "bed.mobile_l_per_kg",
            format!(
                "bed and pipe hold {below_l:.0} L, but grist and first-wort gravity give only \
                 {all_l:.0} L of wort; lower it or the first-wort gravity"
            ),
        );
    }
    if scenario.kettle.heel_l >= scenario.kettle.capacity_l {
        faults.add("kettle.heel_l", "must be less than kettle.capacity_l");
    }
}

fn run(scenario: &Scenario, faults: &mut Faults) {
    let flow = &scenario.run.flow;
    if flow.is_empty() {
        faults.add("run.flow", "is empty; give at least one setpoint");
    }
    for (index, entry) in flow.iter().enumerate() {
        let key = |name: &str| format!("run.flow[{index}].{name}");
        faults.range(&key("at_s"), entry.at_s, 0.0, 86_400.0);
        faults.range(&key("share"), entry.share, 0.0, 5.0);
        if index > 0 && entry.at_s < flow[index - 1].at_s {
            faults.add(key("at_s"), "must not be before the entry above it");
        }
    }
}

fn links(scenario: &Scenario, faults: &mut Faults) {
    let mut names = BTreeSet::new();
    for (index, link) in scenario.modbus_links.iter().enumerate() {
        if link.name == MQTT_LINK || !names.insert(&link.name) {
            faults.add(
                format!("modbus_link[{index}].name"),
                format!("\"{}\" is taken; name every link differently", link.name),
            );
        }
        let transports = [&link.tcp, &link.rtu_over_tcp, &link.rtu];
        if transports.iter().filter(|t| t.is_some()).count() != 1 {
            faults.add(
                format!("modbus_link[{index}].name"),
                "needs exactly one of tcp, rtu_over_tcp and rtu",
            );
        }
    }
}

fn instruments(scenario: &Scenario, faults: &mut Faults) {
    let mut ids = BTreeSet::new();
    let mut taken = Vec::new();
    for (index, instrument) in scenario.instruments.iter().enumerate() {
        let key = |name: &str| format!("instrument[{index}].{name}");
        if instrument.id.is_empty() || !ids.insert(&instrument.id) {
            faults.add(
                key("id"),
                format!("\"{}\" is empty or taken", instrument.id),
            );
        }
        unit(instrument, &key, faults);
        qualities(instrument, &key, faults);
        let needs_temperature = instrument.unit == Unit::KilogramPerCubicMetre
            || (instrument.measures == Measures::RunningsPh && scenario.plan.ph_basis == "room");
        if needs_temperature && instrument.temperature.is_none() {
            faults.add(
                key("temperature"),
                "is missing: a density, and a pH for a plan on the room basis, need the instrument \
                 that compensates them",
            );
        }
        if let Some(other) = &instrument.temperature
            && !scenario.instruments.iter().any(|i| &i.id == other)
        {
            faults.add(key("temperature"), format!("no instrument \"{other}\""));
        }
        if instrument.modbus.is_some() && instrument.mqtt.is_some() {
            faults.add(key("mqtt"), "an instrument has either [modbus] or [mqtt]");
        }
        if instrument.mqtt.is_some() && scenario.mqtt.is_none() {
            faults.add(key("mqtt"), "needs a [mqtt] table with the broker");
        }
        registers(scenario, index, &mut taken, faults);
    }
}

fn unit(instrument: &Instrument, key: &impl Fn(&str) -> String, faults: &mut Faults) {
    let wanted = instrument.measures.dimension();
    let working = match (instrument.unit, instrument.span) {
        (Unit::Milliampere, Some(span)) => {
            if (span.at_20_ma - span.at_4_ma).abs() < 1e-12 {
                faults.add(key("span"), "at_4_ma and at_20_ma must differ");
            }
            span.unit
        }
        (Unit::Milliampere, None) => {
            faults.add(
                key("unit"),
                "is mA; give span = { unit, at_4_ma, at_20_ma }",
            );
            return;
        }
        (unit, Some(_)) => {
            faults.add(
                key("span"),
                format!("is for mA only; unit is {}", unit.name()),
            );
            return;
        }
        (unit, None) => unit,
    };
    if working.dimension() != wanted {
        faults.add(
            key("unit"),
            format!("{} does not measure {wanted:?}", working.name()),
        );
    }
}

fn qualities(instrument: &Instrument, key: &impl Fn(&str) -> String, faults: &mut Faults) {
    faults.range(&key("every_s"), instrument.every_s, 0.05, 3600.0);
    faults.range(&key("noise"), instrument.noise, 0.0, 1e6);
    faults.range(&key("lag_s"), instrument.lag_s, 0.0, 3600.0);
    faults.range(&key("gain"), instrument.gain, 0.1, 10.0);
    faults.range(&key("resolution"), instrument.resolution, 0.0, 1e6);
}

/// Registers that an instrument occupies: link, unit, table, first, words.
type Occupied = (String, u8, Table, u32, u32, String);

fn registers(scenario: &Scenario, index: usize, taken: &mut Vec<Occupied>, faults: &mut Faults) {
    let instrument = &scenario.instruments[index];
    let Some(point) = &instrument.modbus else {
        return;
    };
    let key = |name: &str| format!("instrument[{index}].modbus.{name}");
    if !scenario.modbus_links.iter().any(|l| l.name == point.link) {
        faults.add(key("link"), format!("no modbus_link \"{}\"", point.link));
    }
    let bits = matches!(point.table, Table::Discrete | Table::Coil);
    if bits != (point.value_type == ValueType::Bit) {
        faults.add(
            key("type"),
            "bit goes with discrete and coil, and only there",
        );
    }
    if point.scale == 0.0 || !point.scale.is_finite() {
        faults.add(key("scale"), "must not be 0");
    }
    let mut occupy = |name: &str, address: u16, words: u32| {
        let first = u32::from(address);
        if first + words > 65_536 {
            faults.add(key(name), "goes past register 65535");
        }
        let clash = taken.iter().find(|(link, unit, table, start, length, _)| {
            *link == point.link
                && *unit == point.unit_id
                && *table == point.table
                && first < start + length
                && *start < first + words
        });
        if let Some((.., other)) = clash {
            faults.add(key(name), format!("registers overlap those of {other}"));
        }
        taken.push((
            point.link.clone(),
            point.unit_id,
            point.table,
            first,
            words,
            instrument.id.clone(),
        ));
    };
    occupy(
        "address",
        point.address,
        u32::from(point.value_type.words().max(1)),
    );
    if let Some(status) = &point.status {
        occupy("status.address", status.address, 1);
        let fine = |bit: &String| bit.parse::<u8>().is_ok_and(|bit| bit < 16);
        if !status.bits.keys().all(fine) {
            faults.add(key("status.bits"), "keys are bit numbers, 0 to 15");
        }
    }
}

fn events(scenario: &Scenario, faults: &mut Faults) {
    for (index, event) in scenario.events.iter().enumerate() {
        faults.range(&format!("event[{index}].at_s"), event.at_s, 0.0, 86_400.0);
        if let Err(error) = event.what.check() {
            faults.add(format!("event[{index}].what"), error.to_string());
        }
        if matches!(event.what, Fault::Channel { .. }) && scenario.bed.lanes < 2 {
            let message = FaultError::SingleLane.to_string();
            faults.add(format!("event[{index}].what"), message);
        }
        if let Some(id) = event.what.instrument()
            && !scenario.instruments.iter().any(|i| i.id == id)
        {
            faults.add(
                format!("event[{index}].what"),
                format!("no instrument \"{id}\""),
            );
        }
        let link = match &event.what {
            Fault::DropLink { link, .. } | Fault::RestoreLink { link } => link,
            _ => &None,
        };
        if let Some(link) = link
            && link != MQTT_LINK
            && !scenario.modbus_links.iter().any(|l| &l.name == link)
        {
            faults.add(
                format!("event[{index}].what"),
                format!("no link \"{link}\""),
            );
        }
    }
}

/// Line of the deepest part of a key's path that stands in the file.
pub fn line_of(text: &str, key: &str) -> Option<usize> {
    let table = DeTable::parse(text).ok()?;
    let mut found = None;
    let mut here = table.get_ref();
    for part in key.split('.') {
        let (name, index) = match part.split_once('[') {
            Some((name, rest)) => (name, rest.trim_end_matches(']').parse::<usize>().ok()),
            None => (part, None),
        };
        let Some((spanned_key, value)) = here.get_key_value(name) else {
            break;
        };
        let mut value = value;
        found = Some(spanned_key.span().start);
        if let Some(index) = index
            && let Some(entry) = value
                .get_ref()
                .as_array()
                .and_then(|array| array.get(index))
        {
            found = Some(entry.span().start);
            value = entry;
        }
        match value.get_ref().as_table() {
            Some(next) => here = next,
            None => break,
        }
    }
    found.map(|offset| text[..offset].matches('\n').count() + 1)
}

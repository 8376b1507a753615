//! From the tables as written to the configuration the service works with.
//!
//! Owns what keys mean together: what one of them requires or rules out of another. Each value by itself has
//! been checked by `shape` and defaults have been filled in, so a value that is absent here is optional or has
//! been reported. Every fault is noted and the search goes on; only a file without any becomes a
//! `Configuration`.

mod instrument;
mod link;
mod modbus;
mod publisher;
mod secret;
mod web;

use std::collections::BTreeMap;
use std::path::Path as FilePath;

use lauter_core::alarm::AlarmId;
use lauter_core::reading::Measures;
use serde::Serialize;

use super::Surroundings;
use super::faults::Faults;
use super::key_path::KeyPath;
use super::model::{AlarmSettings, Configuration, Kettle, Projection, Store, Tun, Watch};
use super::tables::{AlarmTable, KettleTable, RootTable};

/// Checks what keys mean together, and resolves the tables if nothing at all was wrong with them.
pub fn configuration(
    file: &FilePath,
    root: &RootTable,
    surroundings: &Surroundings,
    faults: &mut Faults,
) -> Option<Configuration> {
    let kettle = kettle(root, faults);
    let modbus_links = link::links(root, faults);
    let instruments = instrument::instruments(root, faults);
    let mqtt = publisher::mqtt(root, surroundings, faults);
    let sparkplug = publisher::sparkplug(root, faults);
    let influx = publisher::influx(root, surroundings, faults);
    let web = web::web(root, surroundings, faults);
    limits_without_use(root.alarms.as_ref(), faults);
    if !faults.is_empty() {
        return None;
    }
    let tun = root.tun.as_ref()?;
    let store = root.store.as_ref()?;
    let watch = root.watch.as_ref()?;
    let projection = root.projection.as_ref()?;
    Some(Configuration {
        file: file.to_owned(),
        site: root.site.as_ref()?.name.clone()?,
        tun: Tun {
            name: tun.name.clone()?,
            bed_area_m2: tun.bed_area_m2?,
            pipe_volume_l: tun.pipe_volume_l?,
            pressure_drop_limit_kpa: tun.pressure_drop_limit_kpa?,
        },
        kettle: kettle?,
        instruments: instruments?,
        modbus_links: modbus_links?,
        store: Store {
            directory: store.directory.clone()?.into(),
            keep_readings_days: store.keep_readings_days?,
            keep_brews_days: store.keep_brews_days,
        },
        web: web?,
        mqtt,
        sparkplug,
        influx,
        alarms: alarms(root.alarms.as_ref()),
        watch: Watch {
            table_every_s: watch.table_every_s?,
            runoff_every_s: watch.runoff_every_s?,
            reading_every_s: watch.reading_every_s?,
            no_flow_l_min: watch.no_flow_l_min?,
            assumed_temperature_c: watch.assumed_temperature_c?,
            wort_factor: watch.wort_factor?,
        },
        projection: Projection {
            every_s: projection.every_s?,
            stop_ahead_s: projection.stop_ahead_s?,
            limit_ahead_s: projection.limit_ahead_s?,
            top_up_temperature_c: projection.top_up_temperature_c?,
        },
    })
}

fn kettle(root: &RootTable, faults: &mut Faults) -> Option<Kettle> {
    let at = KeyPath::default().key("kettle");
    let table = root.kettle.as_ref()?;
    if let (Some(capacity_l), Some(heel_l)) = (table.capacity_l, table.heel_l)
        && heel_l >= capacity_l
    {
        let message = format!("is {heel_l}; allowed is less than capacity_l ({capacity_l})");
        faults.add(&at.key("heel_l"), message);
    }
    let strapping = strapping(table, &at.key("strapping"), faults);
    let levels = root.instrument.iter().flatten();
    let has_level = levels
        .filter_map(|instrument| instrument.measures)
        .any(|measures| measures == Measures::KettleVolume);
    if !strapping.is_empty() && !has_level && !faults.concern(&KeyPath::default().key("instrument"))
    {
        let message = "has no use: no instrument measures kettle-volume";
        faults.add(&at.key("strapping"), message);
    }
    Some(Kettle {
        capacity_l: table.capacity_l?,
        heel_l: table.heel_l?,
        strapping,
    })
}

fn strapping(table: &KettleTable, at: &KeyPath, faults: &mut Faults) -> Vec<(f64, f64)> {
    let rows: Vec<(Option<f64>, Option<f64>)> = table
        .strapping
        .iter()
        .flatten()
        .map(|row| (row.reading, row.volume_l))
        .collect();
    for (index, pair) in rows.windows(2).enumerate() {
        let columns = [
            ("reading", pair[0].0, pair[1].0),
            ("volume_l", pair[0].1, pair[1].1),
        ];
        for (key, before, here) in columns {
            if let (Some(before), Some(here)) = (before, here)
                && here <= before
            {
                let message =
                    format!("is {here}; allowed is more than in the row before ({before})");
                faults.add(&at.index(index + 1).key(key), message);
            }
        }
    }
    rows.into_iter()
        .filter_map(|(reading, volume_l)| Some((reading?, volume_l?)))
        .collect()
}

/// These follow from a state and have no threshold; a limit would be taken and change nothing.
fn has_limit(alarm: AlarmId) -> bool {
    !matches!(
        alarm,
        AlarmId::Channelling | AlarmId::InstrumentFault | AlarmId::LinkLost
    )
}

fn limits_without_use(tables: Option<&BTreeMap<AlarmId, AlarmTable>>, faults: &mut Faults) {
    let at = KeyPath::default().key("alarms");
    for (alarm, table) in tables.into_iter().flatten() {
        if table.limit.is_some() && !has_limit(*alarm) {
            let message = "has no use: this alarm has no threshold; leave it out";
            faults.add(&at.key(alarm.name()).key("limit"), message);
        }
    }
}

fn alarms(tables: Option<&BTreeMap<AlarmId, AlarmTable>>) -> BTreeMap<AlarmId, AlarmSettings> {
    let settings = |table: &AlarmTable| AlarmSettings {
        enabled: table.enabled,
        priority: table.priority,
        on_delay_s: table.on_delay_s,
        off_delay_s: table.off_delay_s,
        limit: table.limit,
        deadband: table.deadband,
        longest_shelving_min: table.longest_shelving_min,
    };
    tables
        .into_iter()
        .flatten()
        .map(|(alarm, table)| (*alarm, settings(table)))
        .collect()
}

/// A choice as it is spelt in the file.
pub fn spelt(choice: impl Serialize) -> String {
    match serde_json::to_value(choice) {
        Ok(serde_json::Value::String(name)) => name,
        other => format!("{other:?}"),
    }
}

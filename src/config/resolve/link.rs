//! The lines to Modbus devices.

use std::time::Duration;

use super::super::faults::Faults;
use super::super::key_path::KeyPath;
use super::super::model::{ModbusLink, Parity, Transport};
use super::super::tables::{ModbusLinkTable, RootTable};

/// The keys that say how a link reaches its devices.
const WAYS: [&str; 3] = ["tcp", "rtu_over_tcp", "rtu"];
/// The broker's name among the links, as alarms and topics show it.
const BROKER: &str = "mqtt";
/// Bits a second where the file does not say (Modbus over Serial Line V1.02; from memory).
const STANDARD_BAUD: u32 = 19_200;

pub fn links(root: &RootTable, faults: &mut Faults) -> Option<Vec<ModbusLink>> {
    let at = KeyPath::default().key("modbus_link");
    let tables = root.modbus_link.as_deref().unwrap_or_default();
    doubles(tables, &at, faults);
    let links: Vec<Option<ModbusLink>> = tables
        .iter()
        .enumerate()
        .map(|(index, table)| link(table, &at.index(index), faults))
        .collect();
    links.into_iter().collect()
}

fn link(table: &ModbusLinkTable, at: &KeyPath, faults: &mut Faults) -> Option<ModbusLink> {
    if table.name.as_deref() == Some(BROKER) {
        let message = format!("is {BROKER:?}, which names the MQTT broker; give it another name");
        faults.add(&at.key("name"), message);
    }
    let ways = ways(table);
    match ways.as_slice() {
        [] if !WAYS.iter().any(|way| faults.concern(&at.key(way))) => {
            let message = "needs one of tcp = \"host:port\", rtu_over_tcp = \"host:port\" and rtu = \"/dev/…\"";
            faults.add(at, message);
        }
        [] | [_] => {}
        [(first, _), others @ ..] => {
            for (key, _) in others {
                faults.add(
                    &at.key(key),
                    format!("{first} is given too; a link has one of them"),
                );
            }
        }
    }
    if table.rtu.is_none() && !faults.concern(&at.key("rtu")) {
        let serial = [
            ("baud", table.baud.is_some()),
            ("parity", table.parity.is_some()),
            ("stop_bits", table.stop_bits.is_some()),
        ];
        for (key, _) in serial.into_iter().filter(|(_, given)| *given) {
            let message = "belongs to rtu only; a gateway sets its own serial line";
            faults.add(&at.key(key), message);
        }
    }
    Some(ModbusLink {
        name: table.name.clone()?,
        transport: transport(table)?,
        timeout: Duration::from_millis(table.timeout_ms?.into()),
    })
}

fn transport(table: &ModbusLinkTable) -> Option<Transport> {
    if let Some(address) = &table.tcp {
        return Some(Transport::Tcp(address.clone()));
    }
    if let Some(address) = &table.rtu_over_tcp {
        return Some(Transport::RtuOverTcp(address.clone()));
    }
    let parity = table.parity.unwrap_or(Parity::Even);
    Some(Transport::Rtu {
        path: table.rtu.clone()?,
        baud: table.baud.unwrap_or(STANDARD_BAUD),
        parity,
        stop_bits: table
            .stop_bits
            .unwrap_or(if parity == Parity::None { 2 } else { 1 }),
    })
}

fn ways(table: &ModbusLinkTable) -> Vec<(&'static str, &str)> {
    let given = [&table.tcp, &table.rtu_over_tcp, &table.rtu];
    WAYS.into_iter()
        .zip(given)
        .filter_map(|(key, way)| Some((key, way.as_deref()?)))
        .collect()
}

/// Two links of one name, or to one address: a bus carries one request at a time, so it has one link.
fn doubles(tables: &[ModbusLinkTable], at: &KeyPath, faults: &mut Faults) {
    for (index, table) in tables.iter().enumerate() {
        for (earlier_index, earlier) in tables[..index].iter().enumerate() {
            if let Some(name) = table
                .name
                .as_ref()
                .filter(|name| earlier.name.as_ref() == Some(*name))
            {
                let message =
                    format!("is {name:?}, as is modbus_link[{earlier_index}]; a name stands once");
                faults.add(&at.index(index).key("name"), message);
            }
            for (key, way) in ways(table) {
                if ways(earlier).iter().any(|(_, other)| *other == way) {
                    let message = format!(
                        "is {way:?}, as in modbus_link[{earlier_index}]; one link serves all devices behind one \
                         address"
                    );
                    faults.add(&at.index(index).key(key), message);
                }
            }
        }
    }
}

//! lauterd's configuration, as far as a player needs it: instruments, links, and the text with new addresses.
//!
//! Owns the reading of another program's file: what is not needed is passed over, for the service checks its own file.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::Path;

use serde::Deserialize;
use toml::{Table, Value};

use super::PlayError;
use crate::scenario::{Instrument, ModbusLink, Mqtt};

/// Keys of an instrument that say what it is and where it is read.
const INSTRUMENT_KEYS: [&str; 7] = [
    "id",
    "measures",
    "unit",
    "span",
    "stale_after_s",
    "modbus",
    "mqtt",
];
const WHOLE_KEYS: [&str; 6] = [
    "unit_id",
    "address",
    "every_ms",
    "baud",
    "stop_bits",
    "timeout_ms",
];

/// What is played, and the file it came from.
#[derive(Clone, Debug)]
pub struct Played {
    pub instruments: Vec<Instrument>,
    pub links: Vec<ModbusLink>,
    pub broker: Option<Mqtt>,
    table: Table,
}

impl Played {
    pub fn load(path: &Path) -> Result<Self, PlayError> {
        let text = std::fs::read_to_string(path).map_err(|source| PlayError::NoInput {
            path: path.to_owned(),
            source,
        })?;
        Self::parse(&text).map_err(|fault| PlayError::Configuration {
            path: path.to_owned(),
            fault,
        })
    }

    pub fn parse(text: &str) -> Result<Self, String> {
        let table: Table = text
            .parse()
            .map_err(|error: toml::de::Error| error.to_string())?;
        let mut played = Self {
            instruments: Vec::new(),
            links: Vec::new(),
            broker: None,
            table: table.clone(),
        };
        for entry in entries(&table, "instrument") {
            let picked: Table = entry
                .iter()
                .filter(|(key, _)| INSTRUMENT_KEYS.contains(&key.as_str()))
                .map(|(key, value)| (key.clone(), whole(key, value)))
                .collect();
            let id = entry.get("id").and_then(Value::as_str).unwrap_or("?");
            let instrument = Instrument::deserialize(picked)
                .map_err(|error| format!("instrument {id}: {error}"))?;
            played.instruments.push(instrument);
        }
        for entry in entries(&table, "modbus_link") {
            let whole: Table = entry
                .iter()
                .map(|(key, value)| (key.clone(), whole(key, value)))
                .collect();
            let link =
                ModbusLink::deserialize(whole).map_err(|error| format!("modbus_link: {error}"))?;
            played.links.push(link);
        }
        Ok(played)
    }

    /// Every link gets an address of this machine: a recording must not need the site's.
    pub fn redirect(&mut self, listen: Option<SocketAddr>) {
        let mut next = listen.unwrap_or_else(|| SocketAddr::from(([127, 0, 0, 1], 0)));
        for link in &mut self.links {
            let Some(place) = link.tcp.as_mut().or(link.rtu_over_tcp.as_mut()) else {
                link.rtu = Some("pty".to_owned());
                continue;
            };
            *place = next.to_string();
            if next.port() != 0 {
                next.set_port(next.port().wrapping_add(1));
            }
        }
    }

    /// The file again, with the addresses of `links` and `broker` in it.
    pub fn text(&self) -> String {
        let mut table = self.table.clone();
        let by_name: BTreeMap<&str, &ModbusLink> = self
            .links
            .iter()
            .map(|link| (link.name.as_str(), link))
            .collect();
        if let Some(Value::Array(links)) = table.get_mut("modbus_link") {
            for entry in links.iter_mut().filter_map(Value::as_table_mut) {
                let name = entry.get("name").and_then(Value::as_str).unwrap_or("");
                if let Some(link) = by_name.get(name)
                    && let Ok(served) = Table::try_from(*link)
                {
                    *entry = served;
                }
            }
        }
        if let Some(broker) = &self.broker {
            let mut mqtt = Table::new();
            mqtt.insert("host".to_owned(), broker.host.clone().into());
            mqtt.insert("port".to_owned(), i64::from(broker.port).into());
            table.insert("mqtt".to_owned(), mqtt.into());
        }
        table.to_string()
    }
}

fn entries<'a>(table: &'a Table, key: &str) -> impl Iterator<Item = &'a Table> {
    let entries = table.get(key).and_then(Value::as_array);
    entries.into_iter().flatten().filter_map(Value::as_table)
}

/// The service takes 100.0 for 100; the types here do not.
fn whole(key: &str, value: &Value) -> Value {
    match value {
        Value::Float(number) if WHOLE_KEYS.contains(&key) && number.fract() == 0.0 => {
            Value::Integer(*number as i64)
        }
        Value::Table(inner) => inner
            .iter()
            .map(|(key, value)| (key.clone(), whole(key, value)))
            .collect::<Table>()
            .into(),
        other => other.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = r#"
[site]
name = "yard"
[tun]
name = "tun-1"
bed_area_m2 = 7.0
[[modbus_link]]
name = "skid"
tcp = "192.0.2.10:502"
[[modbus_link]]
name = "cellar"
tcp = "192.0.2.11:502"
timeout_ms = 500.0
[[instrument]]
id = "flow"
measures = "runoff-flow"
unit = "L/min"
low = 0.0
high = 200
zero_kpa = 0.0
modbus = { link = "skid", unit_id = 3.0, table = "input", address = 100.0, type = "f32" }
"#;

    #[test]
    fn every_link_moves_to_this_machine_and_the_rest_of_the_file_stays() {
        let mut played = Played::parse(TEXT).unwrap();
        assert_eq!(played.instruments[0].modbus.as_ref().unwrap().address, 100);
        played.redirect(Some(([127, 0, 0, 1], 5502).into()));
        let written: Table = played.text().parse().unwrap();
        let links = written["modbus_link"].as_array().unwrap();
        assert_eq!(links[0]["tcp"].as_str(), Some("127.0.0.1:5502"));
        assert_eq!(links[1]["tcp"].as_str(), Some("127.0.0.1:5503"));
        assert_eq!(links[1]["timeout_ms"].as_integer(), Some(500));
        assert_eq!(written["tun"]["bed_area_m2"].as_float(), Some(7.0));
        assert_eq!(written["instrument"][0]["high"].as_integer(), Some(200));
    }
}

//! Adds an instrument's table to a configuration file, instead of pasting it by hand.
//!
//! Owns what must fit the rest of the file: an id stands once, one link serves everything behind one address, and which
//! registers are described. What stands in the file is left as it is; the new tables come behind it.

use std::fmt::Write as _;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use serde::de::DeserializeOwned;
use toml::{Table, Value};

use crate::commission::candidates::Way;
use crate::config;
use crate::config::model::{self, Transport};
use crate::exit::{Failure, Kind};

/// Name of the first link; the next are numbered.
const LINK: &str = "skid";

/// What a new file begins with. The gaps are none that pass a check.
const BEGINNING: &str = "\
# Every key: /etc/lauterd/example.toml, or docs/configuration.md.
[site]
name = \"\"             # set it: letters, digits and hyphens

[tun]
name = \"\"             # set it
bed_area_m2 = 0.0     # set it

[kettle]
capacity_l = 0.0      # set it
";

/// A configuration file that is still being written: it need not be complete, nor be there yet.
#[derive(Debug)]
pub struct Unfinished {
    path: PathBuf,
    text: String,
    tables: Table,
}

impl Unfinished {
    pub fn open(path: &Path) -> Result<Self, Failure> {
        let name = path.display();
        let text = match fs::read_to_string(path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => BEGINNING.to_owned(),
            other => other.map_err(|error| {
                Failure::new(Kind::NoInput, format!("{name}: cannot be read: {error}"))
            })?,
        };
        let tables = text.parse().map_err(|error| {
            Failure::new(Kind::Configuration, format!("{name}: no TOML: {error}"))
        })?;
        Ok(Self {
            path: path.to_owned(),
            text,
            tables,
        })
    }

    /// An id that is there already is refused, before anything is asked of a device.
    pub fn must_lack(&self, id: &str) -> Result<(), Failure> {
        let is_there = self
            .each("instrument")
            .any(|table| table.get("id").and_then(Value::as_str) == Some(id));
        if !is_there {
            return Ok(());
        }
        let words = format!(
            "{}: has an instrument {id:?} already; give another --id, or take it out of the file",
            self.path.display()
        );
        Err(Failure::new(Kind::Usage, words))
    }

    fn each(&self, name: &str) -> impl Iterator<Item = &Table> {
        let tables = self.tables.get(name).and_then(Value::as_array);
        tables.into_iter().flatten().filter_map(Value::as_table)
    }

    /// Name of the link that leads to this address, and whether it must still be written.
    pub fn link(&self, transport: &Transport) -> (String, bool) {
        let (key, address) = place(transport);
        let name = |table: &Table| table.get("name").and_then(Value::as_str).map(str::to_owned);
        let leads_there = |table: &&Table| table.get(key).and_then(Value::as_str) == Some(address);
        if let Some(known) = self.each("modbus_link").find(leads_there).and_then(name) {
            return (known, false);
        }
        let taken: Vec<String> = self.each("modbus_link").filter_map(name).collect();
        let numbered = (2..).map(|number| format!("{LINK}-{number}"));
        let mut names = std::iter::once(LINK.to_owned()).chain(numbered);
        let free = names.find(|name| !taken.contains(name));
        (free.unwrap_or_else(|| LINK.to_owned()), true)
    }

    /// The instruments that the file has behind this address, in this table of this unit, and how each is read.
    pub fn described(
        &self,
        transport: &Transport,
        unit: u8,
        table: model::Table,
    ) -> Vec<(String, Way)> {
        let (link, is_new) = self.link(transport);
        if is_new {
            return Vec::new();
        }
        let is_here = |modbus: &&Table| {
            modbus.get("link").and_then(Value::as_str) == Some(&link)
                && modbus.get("unit_id").and_then(Value::as_integer) == Some(unit.into())
                && word(modbus, "table") == Some(table)
        };
        self.each("instrument")
            .filter_map(|instrument| {
                let id = instrument.get("id")?.as_str()?.to_owned();
                let modbus = instrument.get("modbus")?.as_table()?;
                Some((id, way(Some(modbus).filter(is_here)?)?))
            })
            .collect()
    }

    pub fn add(&self, tables: &str) -> Result<(), Failure> {
        let mut text = self.text.trim_end().to_owned();
        let _ = write!(text, "\n\n{}\n", tables.trim_end());
        fs::write(&self.path, text).map_err(|error| {
            let name = self.path.display();
            Failure::new(Kind::Io, format!("{name}: cannot be written: {error}"))
        })
    }
}

/// A word of the configuration, if it is there and is one.
fn word<T: DeserializeOwned>(table: &Table, key: &str) -> Option<T> {
    table.get(key)?.clone().try_into().ok()
}

fn way(modbus: &Table) -> Option<Way> {
    Some(Way {
        address: word(modbus, "address")?,
        value_type: word(modbus, "type")?,
        byte_order: word(modbus, "byte_order").unwrap_or(model::ByteOrder::Abcd),
        scale: word(modbus, "scale").unwrap_or(1.0),
    })
}

fn place(transport: &Transport) -> (&'static str, &str) {
    match transport {
        Transport::Tcp(address) => ("tcp", address),
        Transport::RtuOverTcp(address) => ("rtu_over_tcp", address),
        Transport::Rtu { path, .. } => ("rtu", path),
    }
}

/// Name of the link in a table that is pasted by hand.
pub fn first_link() -> (String, bool) {
    (LINK.to_owned(), true)
}

/// The link's table.
pub fn link_table(name: &str, transport: &Transport) -> String {
    let (key, address) = place(transport);
    let mut text = format!(
        "[[modbus_link]]     # once for all instruments behind it\nname = {name:?}\n{key} = {address:?}\n"
    );
    if let Transport::Rtu {
        baud,
        parity,
        stop_bits,
        ..
    } = transport
    {
        let _ = write!(
            text,
            "baud = {baud}\nparity = \"{}\"\nstop_bits = {stop_bits}\n",
            config::spelt(*parity)
        );
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    const TUN: &str = "# ours\n[site]\nname = \"a\"\n\n[[instrument]]\nid = \"ph\"\n\n\
                       [[modbus_link]]\nname = \"skid\"\ntcp = \"192.0.2.10:502\"\n";

    fn unfinished(text: &str) -> (tempfile::NamedTempFile, Unfinished) {
        let file = tempfile::NamedTempFile::new().expect("a file");
        fs::write(file.path(), text).expect("written");
        let opened = Unfinished::open(file.path()).expect("opened");
        (file, opened)
    }

    #[test]
    fn the_link_to_an_address_is_written_once_and_another_gets_a_name_of_its_own() {
        let (_file, tun) = unfinished(TUN);
        let tcp = |address: &str| Transport::Tcp(address.to_owned());
        assert_eq!(tun.link(&tcp("192.0.2.10:502")), ("skid".to_owned(), false));
        assert_eq!(
            tun.link(&tcp("192.0.2.11:502")),
            ("skid-2".to_owned(), true)
        );
        let other_frames = Transport::RtuOverTcp("192.0.2.10:502".to_owned());
        assert_eq!(tun.link(&other_frames), ("skid-2".to_owned(), true));
        let (_file, empty) = unfinished("");
        assert_eq!(empty.link(&tcp("192.0.2.10:502")), first_link());
    }

    #[test]
    fn what_is_described_is_that_of_the_same_table_behind_the_same_address() {
        let here = "link = \"skid\"\nunit_id = 3\ntable = \"input\"";
        let elsewhere = here.replace("input", "holding");
        let instrument = |id: &str, at: &str| {
            format!(
                "\n[[instrument]]\nid = {id:?}\n[instrument.modbus]\n{at}\naddress = 100\ntype = \"f32\"\n"
            )
        };
        let text = [
            TUN,
            &instrument("density", here),
            &instrument("set", &elsewhere),
        ];
        let (_file, tun) = unfinished(&text.concat());
        let described = |address: &str, unit| {
            let ways = tun.described(
                &Transport::Tcp(address.to_owned()),
                unit,
                model::Table::Input,
            );
            ways.into_iter()
                .map(|(id, way)| (id, way.address, way.value_type))
                .collect::<Vec<_>>()
        };
        assert_eq!(
            described("192.0.2.10:502", 3),
            [("density".to_owned(), 100, model::ValueType::F32)]
        );
        assert_eq!(described("192.0.2.10:502", 4), []);
        assert_eq!(described("192.0.2.11:502", 3), []);
    }

    #[test]
    fn an_id_stands_once() {
        let (_file, tun) = unfinished(TUN);
        let refused = tun.must_lack("ph").expect_err("it is there");
        assert!(refused.message.contains("\"ph\""), "{refused}");
        tun.must_lack("flow").expect("it is free");
    }

    #[test]
    fn what_stood_in_the_file_stands_as_it_was_before_what_is_added() {
        let (file, tun) = unfinished(TUN);
        tun.add("[[instrument]]\nid = \"flow\"\n").expect("added");
        let text = fs::read_to_string(file.path()).expect("read");
        assert!(text.starts_with(TUN), "{text}");
        let tables: Table = text.parse().expect("TOML");
        assert_eq!(tables["instrument"].as_array().map(Vec::len), Some(2));
    }

    #[test]
    fn a_new_file_begins_with_gaps_that_the_check_finds() {
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("tun.toml");
        let new = Unfinished::open(&path).expect("begun");
        new.add("[[instrument]]\nid = \"flow\"\n").expect("added");
        let surroundings = config::Surroundings::none();
        let faults = config::load_with(&path, &surroundings).expect_err("gaps");
        for gap in [
            "site.name",
            "tun.name",
            "tun.bed_area_m2",
            "kettle.capacity_l",
        ] {
            assert!(faults.to_string().contains(gap), "{gap}: {faults}");
        }
    }

    #[test]
    fn a_file_that_is_no_toml_is_named() {
        let file = tempfile::NamedTempFile::new().expect("a file");
        fs::write(file.path(), "[site").expect("written");
        let broken = Unfinished::open(file.path()).expect_err("broken");
        assert!(broken.message.contains("no TOML"), "{broken}");
    }
}

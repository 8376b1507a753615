//! An instrument's place on a Modbus device.

use std::time::Duration;

use lauter_core::reading::Status;
use lauter_core::units::Unit;

use super::super::faults::Faults;
use super::super::key_path::KeyPath;
use super::super::model::{ModbusPoint, StatusRegister, Table, ValueType};
use super::super::shape::one_of;
use super::super::tables::{ModbusLinkTable, ModbusTable, StatusTable};
use super::spelt;

/// Number of addresses in each Modbus table.
const ADDRESSES: u32 = 65_536;

pub fn point(
    table: &ModbusTable,
    unit: Option<Unit>,
    links: &[ModbusLinkTable],
    at: &KeyPath,
    faults: &mut Faults,
) -> Option<ModbusPoint> {
    let link = link(table, links, at, faults);
    if let Some(link) = link {
        unit_id(table, &links[link], at, faults);
    }
    value_type(table, unit, at, faults);
    if let (Some(address), Some(value_type)) = (table.address, table.r#type)
        && u32::from(address) + registers(value_type) > ADDRESSES
    {
        let message = format!(
            "is {address}; a value of type {} there ends beyond the last address, 65535",
            spelt(value_type)
        );
        faults.add(&at.key("address"), message);
    }
    if table.scale == Some(0.0) {
        let message = "is 0; allowed is any other number, because 0 makes every reading the same";
        faults.add(&at.key("scale"), message);
    }
    let status = match &table.status {
        None => None,
        Some(status) => Some(status_register(
            status,
            table.table,
            &at.key("status"),
            faults,
        )?),
    };
    Some(ModbusPoint {
        link: link?,
        unit_id: table.unit_id?,
        table: table.table?,
        address: table.address?,
        value_type: table.r#type?,
        byte_order: table.byte_order?,
        scale: table.scale?,
        offset: table.offset?,
        every: Duration::from_millis(table.every_ms?.into()),
        status,
    })
}

fn link(
    table: &ModbusTable,
    links: &[ModbusLinkTable],
    at: &KeyPath,
    faults: &mut Faults,
) -> Option<usize> {
    let name = table.link.as_ref()?;
    let index = links
        .iter()
        .position(|link| link.name.as_ref() == Some(name));
    if index.is_none() && !faults.concern(&KeyPath::default().key("modbus_link")) {
        let names: Vec<&String> = links.iter().filter_map(|link| link.name.as_ref()).collect();
        let message = if names.is_empty() {
            format!("is {name:?}, but the file has no [[modbus_link]]")
        } else {
            format!(
                "is {name:?}; allowed is the name of a [[modbus_link]]: {}",
                one_of(&names)
            )
        };
        faults.add(&at.key("link"), message);
    }
    index
}

/// 0 and 248 to 255 have a meaning over TCP only (Modbus Messaging on TCP/IP V1.0b; from memory).
fn unit_id(table: &ModbusTable, link: &ModbusLinkTable, at: &KeyPath, faults: &mut Faults) {
    if let Some(unit_id) = table.unit_id
        && link.tcp.is_none()
        && !(1..=247).contains(&unit_id)
    {
        let message = format!("is {unit_id}; allowed on a serial line is 1 to 247");
        faults.add(&at.key("unit_id"), message);
    }
}

fn value_type(table: &ModbusTable, unit: Option<Unit>, at: &KeyPath, faults: &mut Faults) {
    let (Some(value_type), Some(modbus_table)) = (table.r#type, table.table) else {
        return;
    };
    let bits = matches!(modbus_table, Table::Discrete | Table::Coil);
    let bit = value_type == ValueType::Bit;
    if bits != bit {
        let allowed = if bits {
            "bit"
        } else {
            "u16, i16, u32, i32, f32, u64, i64 or f64"
        };
        let message = format!(
            "is \"{}\"; allowed in the table {} is {allowed}",
            spelt(value_type),
            spelt(modbus_table)
        );
        faults.add(&at.key("type"), message);
    } else if bit && let Some(unit) = unit.filter(|unit| *unit != Unit::Bool) {
        let message = format!(
            "is \"bit\", but the unit is {}; a bit has the unit bool",
            spelt(unit)
        );
        faults.add(&at.key("type"), message);
    }
}

fn registers(value_type: ValueType) -> u32 {
    match value_type {
        ValueType::U16 | ValueType::I16 | ValueType::Bit => 1,
        ValueType::U32 | ValueType::I32 | ValueType::F32 => 2,
        ValueType::U64 | ValueType::I64 | ValueType::F64 => 4,
    }
}

fn status_register(
    table: &StatusTable,
    modbus_table: Option<Table>,
    at: &KeyPath,
    faults: &mut Faults,
) -> Option<StatusRegister> {
    if matches!(modbus_table, Some(Table::Discrete | Table::Coil)) {
        let message = "needs 16-bit registers; the instrument's table must be input or holding";
        faults.add(at, message);
    }
    let classes = table.bits.as_ref()?;
    if classes.is_empty() && !faults.concern(&at.key("bits")) {
        let message = "is empty; needed is at least one bit, such as \"0\" = \"failure\"";
        faults.add(&at.key("bits"), message);
    }
    let mut bits = Vec::new();
    for (key, status) in classes {
        let path = at.key("bits").literal_key(key);
        match key.parse::<u8>() {
            Ok(bit) if bit < 16 && bit.to_string() == *key => bits.push((bit, *status)),
            _ => faults.add(
                &path,
                format!("is no bit; allowed are \"0\" to \"15\", found {key:?}"),
            ),
        }
        if *status == Status::Good {
            let message = "is \"good\"; a bit stands for a fault, and good is when none is set";
            faults.add(&path, message);
        }
    }
    bits.sort_by_key(|(bit, _)| *bit);
    Some(StatusRegister {
        address: table.address?,
        bits,
    })
}

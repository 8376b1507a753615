//! The register map of one link: which word of which instrument stands at which address.
//!
//! Owns scaling, number types and byte orders, written from the configuration's definition and not from the
//! service's reader, so that one checks the other.

use std::collections::BTreeMap;

use lauter_core::reading::Status;
use tokio_modbus::ExceptionCode;

use crate::instrument::InstrumentReading;
use crate::scenario::{ByteOrder, Instrument, ModbusPoint, StatusRegister, Table, ValueType};

/// Most words in one answer (Modbus Application Protocol V1.1b3, 6.3).
const MOST_WORDS: u16 = 125;

/// Most bits in one answer (6.1).
const MOST_BITS: u16 = 2000;

/// What stands at an address.
#[derive(Clone, Copy, Debug)]
enum Place {
    /// A word of an instrument's value.
    Value { instrument: usize, word: usize },
    /// An instrument's status register.
    Status { instrument: usize },
}

/// All registers of a link.
#[derive(Clone, Debug)]
pub struct RegisterMap {
    points: Vec<Option<ModbusPoint>>,
    places: BTreeMap<(u8, TableKey, u16), Place>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct TableKey(u8);

impl From<Table> for TableKey {
    fn from(table: Table) -> Self {
        Self(match table {
            Table::Coil => 0,
            Table::Discrete => 1,
            Table::Holding => 3,
            Table::Input => 4,
        })
    }
}

impl RegisterMap {
    /// The registers that the instruments have on this link.
    pub fn of(instruments: &[Instrument], link: &str) -> Self {
        let points: Vec<Option<ModbusPoint>> = instruments
            .iter()
            .map(|keys| keys.modbus.clone().filter(|point| point.link == link))
            .collect();
        let mut places = BTreeMap::new();
        for (instrument, point) in points.iter().enumerate() {
            let Some(point) = point else { continue };
            let table = TableKey::from(point.table);
            for word in 0..point.value_type.words().max(1) {
                let address = point.address.saturating_add(word);
                let word = usize::from(word);
                places.insert(
                    (point.unit_id, table, address),
                    Place::Value { instrument, word },
                );
            }
            if let Some(status) = &point.status {
                let key = (point.unit_id, table, status.address);
                places.insert(key, Place::Status { instrument });
            }
        }
        Self { points, places }
    }

    /// Whether any instrument answers to this unit.
    pub fn has_unit(&self, unit_id: u8) -> bool {
        self.points
            .iter()
            .flatten()
            .any(|point| point.unit_id == unit_id)
    }

    /// Words of a register table, or the exception a device would answer with.
    pub fn words(
        &self,
        readings: &[InstrumentReading],
        unit_id: u8,
        table: Table,
        address: u16,
        count: u16,
    ) -> Result<Vec<u16>, ExceptionCode> {
        if count == 0 || count > MOST_WORDS {
            return Err(ExceptionCode::IllegalDataValue);
        }
        self.each(unit_id, table, address, count, |place| match place {
            Place::Value { instrument, word } => {
                let value = readings[instrument].value;
                let value = value.ok_or(ExceptionCode::ServerDeviceFailure)?;
                let point = self.points[instrument].as_ref();
                let point = point.ok_or(ExceptionCode::IllegalDataAddress)?;
                encode(point, value)
                    .get(word)
                    .copied()
                    .ok_or(ExceptionCode::IllegalDataAddress)
            }
            Place::Status { instrument } => {
                let register = self.points[instrument]
                    .as_ref()
                    .and_then(|point| point.status.as_ref())
                    .ok_or(ExceptionCode::IllegalDataAddress)?;
                Ok(status_word(register, readings[instrument].status))
            }
        })
    }

    /// Bits of a coil or discrete-input table.
    pub fn bits(
        &self,
        readings: &[InstrumentReading],
        unit_id: u8,
        table: Table,
        address: u16,
        count: u16,
    ) -> Result<Vec<bool>, ExceptionCode> {
        if count == 0 || count > MOST_BITS {
            return Err(ExceptionCode::IllegalDataValue);
        }
        self.each(unit_id, table, address, count, |place| match place {
            Place::Value { instrument, .. } => readings[instrument]
                .value
                .map(|value| value >= 0.5)
                .ok_or(ExceptionCode::ServerDeviceFailure),
            Place::Status { .. } => Err(ExceptionCode::IllegalDataAddress),
        })
    }

    fn each<T>(
        &self,
        unit_id: u8,
        table: Table,
        address: u16,
        count: u16,
        read: impl Fn(Place) -> Result<T, ExceptionCode>,
    ) -> Result<Vec<T>, ExceptionCode> {
        (0..count)
            .map(|offset| {
                let place = address
                    .checked_add(offset)
                    .and_then(|at| self.places.get(&(unit_id, table.into(), at)))
                    .ok_or(ExceptionCode::IllegalDataAddress)?;
                read(*place)
            })
            .collect()
    }
}

/// The words of a value on the wire. A number that does not fit its type stops at the type's limit.
fn encode(point: &ModbusPoint, value: f64) -> Vec<u16> {
    let raw = (value - point.offset) / point.scale;
    let whole = raw.round();
    let bytes: Vec<u8> = match point.value_type {
        ValueType::Bit => vec![0, u8::from(raw >= 0.5)],
        ValueType::U16 => (whole as u16).to_be_bytes().to_vec(),
        ValueType::I16 => (whole as i16).to_be_bytes().to_vec(),
        ValueType::U32 => (whole as u32).to_be_bytes().to_vec(),
        ValueType::I32 => (whole as i32).to_be_bytes().to_vec(),
        ValueType::F32 => (raw as f32).to_be_bytes().to_vec(),
        ValueType::U64 => (whole as u64).to_be_bytes().to_vec(),
        ValueType::I64 => (whole as i64).to_be_bytes().to_vec(),
        ValueType::F64 => raw.to_be_bytes().to_vec(),
    };
    let mut words: Vec<u16> = bytes
        .chunks_exact(2)
        .map(|pair| u16::from_be_bytes([pair[0], pair[1]]))
        .collect();
    // An order of bytes is one of 32 or 64 bits; a single word is always high byte first.
    if words.len() > 1 {
        if matches!(point.byte_order, ByteOrder::Badc | ByteOrder::Dcba) {
            for word in &mut words {
                *word = word.swap_bytes();
            }
        }
        if matches!(point.byte_order, ByteOrder::Cdab | ByteOrder::Dcba) {
            words.reverse();
        }
    }
    words
}

/// The bits that stand for this status; none for good.
fn status_word(register: &StatusRegister, status: Status) -> u16 {
    register
        .bits
        .iter()
        .filter(|(_, class)| **class == status)
        .filter_map(|(bit, _)| bit.parse::<u32>().ok())
        .fold(0, |word, bit| word | 1_u16.checked_shl(bit).unwrap_or(0))
}

#[cfg(test)]
mod tests {
    use super::{encode, status_word};
    use crate::scenario::{ByteOrder, ModbusPoint, StatusRegister, ValueType};
    use lauter_core::reading::Status;

    fn point(value_type: ValueType, byte_order: ByteOrder) -> ModbusPoint {
        ModbusPoint {
            link: "a".to_owned(),
            unit_id: 1,
            table: crate::scenario::Table::Input,
            address: 0,
            value_type,
            byte_order,
            scale: 1.0,
            offset: 0.0,
            every_ms: 1000,
            status: None,
        }
    }

    #[test]
    fn the_four_byte_orders_stand_on_the_wire_as_they_are_named() {
        // 1.0e9 as a 32-bit integer is 3B 9A CA 00.
        let words = |order| encode(&point(ValueType::U32, order), 1.0e9);
        assert_eq!(words(ByteOrder::Abcd), [0x3B9A, 0xCA00]);
        assert_eq!(words(ByteOrder::Cdab), [0xCA00, 0x3B9A]);
        assert_eq!(words(ByteOrder::Badc), [0x9A3B, 0x00CA]);
        assert_eq!(words(ByteOrder::Dcba), [0x00CA, 0x9A3B]);
        // 1.0 as a 32-bit float is 3F 80 00 00.
        assert_eq!(
            encode(&point(ValueType::F32, ByteOrder::Abcd), 1.0),
            [0x3F80, 0]
        );
    }

    #[test]
    fn eight_bytes_extend_the_orders_of_four() {
        // 1.0 as a 64-bit float is 3F F0 and six zeros.
        let words = |order| encode(&point(ValueType::F64, order), 1.0);
        assert_eq!(words(ByteOrder::Abcd), [0x3FF0, 0, 0, 0]);
        assert_eq!(words(ByteOrder::Cdab), [0, 0, 0, 0x3FF0]);
        assert_eq!(words(ByteOrder::Badc), [0xF03F, 0, 0, 0]);
        assert_eq!(words(ByteOrder::Dcba), [0, 0, 0, 0xF03F]);
    }

    #[test]
    fn scale_and_offset_are_undone_and_limits_hold() {
        let mut scaled = point(ValueType::I16, ByteOrder::Abcd);
        scaled.scale = 0.1;
        scaled.offset = -50.0;
        assert_eq!(encode(&scaled, 25.3), [753]);
        assert_eq!(encode(&scaled, 1e9), [i16::MAX as u16]);
        assert_eq!(encode(&scaled, -1e9), [i16::MIN as u16]);
    }

    #[test]
    fn a_status_sets_its_own_bits_alone() {
        let register = StatusRegister {
            address: 0,
            bits: [
                ("0".to_owned(), Status::Failure),
                ("3".to_owned(), Status::MaintenanceRequired),
                ("15".to_owned(), Status::Failure),
            ]
            .into(),
        };
        assert_eq!(status_word(&register, Status::Good), 0);
        assert_eq!(status_word(&register, Status::MaintenanceRequired), 0b1000);
        assert_eq!(status_word(&register, Status::Failure), 0x8001);
    }
}

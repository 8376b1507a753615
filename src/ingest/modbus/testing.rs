//! What the Modbus tests share: a checksum of their own and links, points and instruments to poll.

use std::time::Duration;

use lauter_core::reading::{Instrument, Measures};
use lauter_core::units::Unit;

use crate::config::model::{
    ByteOrder, ConfiguredInstrument, ModbusLink, ModbusPoint, Source, Table, Transport, ValueType,
};

/// CRC-16/MODBUS bit by bit (MODBUS over Serial Line V1.02, 6.2.2), independent of the library's table.
pub(super) fn crc_16_modbus(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| {
            if crc & 1 == 1 {
                crc >> 1 ^ 0xA001
            } else {
                crc >> 1
            }
        })
    })
}

pub(super) fn link(transport: Transport, timeout_ms: u64) -> ModbusLink {
    ModbusLink {
        name: "skid".to_owned(),
        transport,
        timeout: Duration::from_millis(timeout_ms),
    }
}

/// One input register of `unit_id`, read every 20 ms.
pub(super) fn register(unit_id: u8, address: u16) -> ModbusPoint {
    ModbusPoint {
        link: 0,
        unit_id,
        table: Table::Input,
        address,
        value_type: ValueType::U16,
        byte_order: ByteOrder::Abcd,
        scale: 1.0,
        offset: 0.0,
        every: Duration::from_millis(20),
        status: None,
    }
}

pub(super) fn instruments(points: Vec<ModbusPoint>) -> Vec<ConfiguredInstrument> {
    points
        .into_iter()
        .enumerate()
        .map(|(index, point)| ConfiguredInstrument {
            instrument: Instrument {
                id: format!("instrument-{index}"),
                measures: Measures::RunoffFlow,
                unit: Unit::LitrePerMinute,
                span: None,
                temperature: None,
                low: None,
                high: None,
                stale_after_s: 10.0,
                zero: 0.0,
                link: Some("skid".to_owned()),
            },
            source: Source::Modbus(point),
        })
        .collect()
}

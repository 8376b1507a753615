//! Which registers are read together.
//!
//! Owns the merging of points into reads and the splitting of a read that a device refuses. Only points of
//! one unit, table and period share a read, and only where they touch or overlap: an address nobody
//! configured is never asked for, since a device may answer it with an exception. Knows nothing of
//! connections or time.

use std::fmt;
use std::time::Duration;

use crate::config::model::{ModbusPoint, Table, ValueType};

use super::parameters::Parameters;

/// What of an instrument an address range holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    Value,
    Status,
}

/// One part of one instrument inside a read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Item {
    /// Index of the instrument in the configuration.
    pub instrument: usize,
    pub part: Part,
    pub range: Range,
}

/// Registers or bits in a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Range {
    pub address: u16,
    pub quantity: u16,
}

impl Range {
    /// The address after the last one. May be 65536.
    fn end(self) -> u32 {
        u32::from(self.address) + u32::from(self.quantity)
    }

    /// This range grown to cover `other`, if the two touch or overlap and stay within `limit`.
    fn joined(self, other: Self, limit: u16) -> Option<Self> {
        let end = self.end().max(other.end());
        let quantity = end - u32::from(self.address);
        let touches = u32::from(other.address) <= self.end();
        (touches && quantity <= u32::from(limit)).then_some(Self {
            address: self.address,
            quantity: quantity as u16,
        })
    }
}

/// One request, and what its answer is for.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Read {
    pub unit_id: u8,
    pub table: Table,
    pub range: Range,
    pub every: Duration,
    pub items: Vec<Item>,
}

impl Read {
    /// One read for each distinct range in this one.
    pub fn split(&self) -> Vec<Self> {
        let mut reads: Vec<Self> = Vec::new();
        for item in &self.items {
            match reads.iter_mut().find(|read| read.range == item.range) {
                Some(read) => read.items.push(*item),
                None => reads.push(Self {
                    range: item.range,
                    items: vec![*item],
                    ..self.clone()
                }),
            }
        }
        reads
    }

    /// True if the read was put together from several ranges.
    pub fn is_merged(&self) -> bool {
        self.items.iter().any(|item| item.range != self.range)
    }
}

impl fmt::Display for Read {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let table = match self.table {
            Table::Input => "input register",
            Table::Holding => "holding register",
            Table::Discrete => "discrete input",
            Table::Coil => "coil",
        };
        let Range { address, quantity } = self.range;
        let last = self.range.end() - 1;
        if quantity == 1 {
            write!(f, "{table} {address}")
        } else {
            write!(f, "{table}s {address} to {last}")
        }
    }
}

/// The reads that cover `points`, in order of unit, table, period and address.
pub(super) fn plan(points: &[(usize, &ModbusPoint)], parameters: &Parameters) -> Vec<Read> {
    let mut singles: Vec<Read> = points
        .iter()
        .flat_map(|(instrument, point)| single_reads(*instrument, point))
        .collect();
    singles.sort_by_key(|read| (read.unit_id, read.table as u8, read.every, read.range));

    let mut reads: Vec<Read> = Vec::new();
    for single in singles {
        let limit = match single.table {
            Table::Input | Table::Holding => parameters.registers_per_read,
            Table::Discrete | Table::Coil => parameters.bits_per_read,
        };
        let joined = reads
            .last()
            .filter(|last| same_group(last, &single))
            .and_then(|last| last.range.joined(single.range, limit));
        match (joined, reads.last_mut()) {
            (Some(range), Some(last)) => {
                last.range = range;
                last.items.extend(single.items);
            }
            _ => reads.push(single),
        }
    }
    reads
}

fn same_group(one: &Read, other: &Read) -> bool {
    one.unit_id == other.unit_id && one.table == other.table && one.every == other.every
}

/// A point's value and, if it has one, its status register, each as a read of its own.
fn single_reads(instrument: usize, point: &ModbusPoint) -> impl Iterator<Item = Read> {
    let read = move |part, range| Read {
        unit_id: point.unit_id,
        table: point.table,
        range,
        every: point.every,
        items: vec![Item {
            instrument,
            part,
            range,
        }],
    };
    let value = Range {
        address: point.address,
        quantity: quantity(point.table, point.value_type),
    };
    let status = point.status.as_ref().map(|status| Range {
        address: status.address,
        quantity: status_quantity(point.table, &status.bits),
    });
    std::iter::once(read(Part::Value, value)).chain(status.map(|range| read(Part::Status, range)))
}

/// Registers or bits that a value takes.
fn quantity(table: Table, value_type: ValueType) -> u16 {
    match (table, value_type) {
        (Table::Discrete | Table::Coil, _)
        | (_, ValueType::U16 | ValueType::I16 | ValueType::Bit) => 1,
        (_, ValueType::U32 | ValueType::I32 | ValueType::F32) => 2,
        (_, ValueType::U64 | ValueType::I64 | ValueType::F64) => 4,
    }
}

/// A status is one register; in a table of bits it is as many bits as the configuration names.
fn status_quantity<S>(table: Table, bits: &[(u8, S)]) -> u16 {
    match table {
        Table::Input | Table::Holding => 1,
        Table::Discrete | Table::Coil => {
            1 + bits
                .iter()
                .map(|(bit, _)| u16::from(*bit))
                .max()
                .unwrap_or(0)
        }
    }
}

#[cfg(test)]
mod tests {
    use lauter_core::reading::Status;
    use proptest::prelude::*;

    use super::*;
    use crate::config::model::{ByteOrder, StatusRegister};

    fn point(address: u16, value_type: ValueType) -> ModbusPoint {
        ModbusPoint {
            link: 0,
            unit_id: 3,
            table: Table::Input,
            address,
            value_type,
            byte_order: ByteOrder::Abcd,
            scale: 1.0,
            offset: 0.0,
            every: Duration::from_secs(1),
            status: None,
        }
    }

    fn ranges(points: &[ModbusPoint]) -> Vec<(u16, u16)> {
        let points: Vec<_> = points.iter().enumerate().collect();
        plan(&points, &Parameters::default())
            .iter()
            .map(|read| (read.range.address, read.range.quantity))
            .collect()
    }

    #[test]
    fn touching_points_share_a_read_and_a_gap_of_one_register_does_not() {
        let points = [
            point(104, ValueType::U16),
            point(100, ValueType::F32),
            point(102, ValueType::U32),
            point(106, ValueType::I16),
        ];
        assert_eq!(ranges(&points), [(100, 5), (106, 1)]);
    }

    #[test]
    fn other_units_tables_and_periods_are_read_apart() {
        let mut other_unit = point(101, ValueType::U16);
        other_unit.unit_id = 4;
        let mut other_table = point(101, ValueType::U16);
        other_table.table = Table::Holding;
        let mut slower = point(101, ValueType::U16);
        slower.every = Duration::from_secs(5);
        let points = [point(100, ValueType::U16), other_unit, other_table, slower];
        assert_eq!(ranges(&points).len(), 4);
    }

    #[test]
    fn a_status_register_joins_the_read_of_its_value() {
        let mut with_status = point(100, ValueType::F32);
        with_status.status = Some(StatusRegister {
            address: 102,
            bits: vec![(0, Status::Failure)],
        });
        assert_eq!(ranges(&[with_status]), [(100, 3)]);
    }

    #[test]
    fn a_read_ends_at_the_protocols_limit_without_tearing_a_value() {
        let points: Vec<_> = (0..70).map(|n| point(2 * n, ValueType::F32)).collect();
        assert_eq!(ranges(&points), [(0, 124), (124, 16)]);
        let bits: Vec<_> = (0..2001)
            .map(|n| ModbusPoint {
                table: Table::Coil,
                ..point(n, ValueType::Bit)
            })
            .collect();
        assert_eq!(ranges(&bits), [(0, 2000), (2000, 1)]);
    }

    #[test]
    fn the_last_address_of_a_device_is_planned_without_overflow() {
        assert_eq!(
            ranges(&[point(65534, ValueType::U16), point(65535, ValueType::U16)]),
            [(65534, 2)]
        );
        assert_eq!(
            plan(
                &[(0, &point(65535, ValueType::F32))],
                &Parameters::default()
            )[0]
            .to_string(),
            "input registers 65535 to 65536"
        );
    }

    #[test]
    fn a_shared_register_stays_one_read_after_a_split() {
        let points = [
            point(100, ValueType::U16),
            point(100, ValueType::U16),
            point(101, ValueType::U16),
        ];
        let indexed: Vec<_> = points.iter().enumerate().collect();
        let reads = plan(&indexed, &Parameters::default());
        assert_eq!(reads.len(), 1);
        assert!(reads[0].is_merged());
        let split = reads[0].split();
        assert_eq!(split.len(), 2);
        assert_eq!(split[0].items.len(), 2);
        assert!(split.iter().all(|read| !read.is_merged()));
    }

    fn any_point() -> impl Strategy<Value = ModbusPoint> {
        let value_type = prop::sample::select(vec![
            ValueType::U16,
            ValueType::F32,
            ValueType::F64,
            ValueType::Bit,
        ]);
        let table = prop::sample::select(vec![Table::Input, Table::Holding, Table::Coil]);
        (
            0_u16..300,
            value_type,
            table,
            1_u8..3,
            1_u64..3,
            any::<bool>(),
        )
            .prop_map(|(address, value_type, table, unit_id, seconds, status)| {
                ModbusPoint {
                    unit_id,
                    table,
                    every: Duration::from_secs(seconds),
                    status: status.then(|| StatusRegister {
                        address: address + 4,
                        bits: vec![(3, Status::Failure)],
                    }),
                    ..point(address, value_type)
                }
            })
    }

    proptest! {
        #[test]
        fn every_part_is_read_once_within_limits_and_no_other_address_is_asked_for(
            points in prop::collection::vec(any_point(), 1..60)
        ) {
            let indexed: Vec<_> = points.iter().enumerate().collect();
            let reads = plan(&indexed, &Parameters::default());
            let parts: usize = points.iter().map(|p| 1 + usize::from(p.status.is_some())).sum();
            prop_assert_eq!(reads.iter().map(|read| read.items.len()).sum::<usize>(), parts);
            for read in &reads {
                let limit = if read.table == Table::Coil { 2000 } else { 125 };
                prop_assert!(read.range.quantity <= limit);
                for address in u32::from(read.range.address)..read.range.end() {
                    let asked_for = read.items.iter().any(|item| {
                        (u32::from(item.range.address)..item.range.end()).contains(&address)
                    });
                    prop_assert!(asked_for, "nobody configured {address}");
                }
                for item in &read.items {
                    prop_assert!(item.range.address >= read.range.address);
                    prop_assert!(item.range.end() <= read.range.end());
                    let point = &points[item.instrument];
                    prop_assert_eq!(point.unit_id, read.unit_id);
                    prop_assert_eq!(point.table, read.table);
                    prop_assert_eq!(point.every, read.every);
                }
                let apart = read.split();
                prop_assert_eq!(
                    apart.iter().map(|single| single.items.len()).sum::<usize>(),
                    read.items.len()
                );
            }
        }
    }
}

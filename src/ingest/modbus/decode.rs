//! From registers and bits to numbers and status.
//!
//! Owns byte orders, number types, scale and offset, and the meaning of status bits. A 4–20 mA value leaves
//! here in mA: span and NE 43 are the core's. Knows nothing of connections, time or instruments' names.

use std::borrow::Cow;

use lauter_core::reading::{Cause, Status};

use crate::config::model::{ByteOrder, ModbusPoint, StatusRegister, ValueType};

use super::plan::Range;

/// What a device sent for one read: as many registers or bits as were asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Payload<'a> {
    Registers(Cow<'a, [u16]>),
    Bits(Cow<'a, [bool]>),
}

impl Payload<'_> {
    pub fn len(&self) -> usize {
        match self {
            Self::Registers(registers) => registers.len(),
            Self::Bits(bits) => bits.len(),
        }
    }

    /// The part at `range` of an answer that begins at address `first`.
    pub fn part(&self, first: u16, range: Range) -> Payload<'_> {
        let start = usize::from(range.address - first);
        let span = start..start + usize::from(range.quantity);
        match self {
            Self::Registers(registers) => Payload::Registers(Cow::Borrowed(&registers[span])),
            Self::Bits(bits) => Payload::Bits(Cow::Borrowed(&bits[span])),
        }
    }
}

/// The point's value, raw × scale + offset, in the instrument's unit.
pub(super) fn value(point: &ModbusPoint, payload: &Payload<'_>) -> Result<f64, Cause> {
    let raw = match payload {
        Payload::Registers(registers) => number(point.value_type, point.byte_order, registers),
        Payload::Bits(bits) => switch(bits.iter().any(|bit| *bit)),
    };
    let value = raw * point.scale + point.offset;
    if value.is_finite() {
        Ok(value)
    } else {
        Err(Cause::NotFinite)
    }
}

/// The worst class among the bits that are set; bits without a class do not count.
pub(super) fn status(register: &StatusRegister, payload: &Payload<'_>) -> Status {
    let is_set = |bit: u8| match payload {
        Payload::Registers(registers) => registers
            .first()
            .is_some_and(|word| word.checked_shr(u32::from(bit)).unwrap_or(0) & 1 == 1),
        Payload::Bits(bits) => bits.get(usize::from(bit)).copied().unwrap_or(false),
    };
    register
        .bits
        .iter()
        .filter(|(bit, _)| is_set(*bit))
        .map(|(_, class)| *class)
        .max()
        .unwrap_or(Status::Good)
}

/// A number out of as many registers as its type takes. A bit kept in a register is on unless the
/// register is zero.
pub fn number(value_type: ValueType, byte_order: ByteOrder, registers: &[u16]) -> f64 {
    let bits = in_order(byte_order, registers);
    match value_type {
        ValueType::U16 => f64::from(bits as u16),
        ValueType::I16 => f64::from((bits as u16).cast_signed()),
        ValueType::U32 => f64::from(bits as u32),
        ValueType::I32 => f64::from((bits as u32).cast_signed()),
        ValueType::F32 => f64::from(f32::from_bits(bits as u32)),
        ValueType::U64 => bits as f64,
        ValueType::I64 => bits.cast_signed() as f64,
        ValueType::F64 => f64::from_bits(bits),
        ValueType::Bit => switch(bits != 0),
    }
}

/// The value's bits, the most significant first. Each order swaps the words of a value, the bytes within a word, both or
/// neither; a single register has no words to swap.
fn in_order(byte_order: ByteOrder, registers: &[u16]) -> u64 {
    let (words_swapped, bytes_swapped) = match byte_order {
        ByteOrder::Abcd => (false, false),
        ByteOrder::Cdab => (true, false),
        ByteOrder::Badc => (false, true),
        ByteOrder::Dcba => (true, true),
    };
    let with = |bits: u64, word: &u16| {
        let word = if bytes_swapped {
            word.swap_bytes()
        } else {
            *word
        };
        bits << 16 | u64::from(word)
    };
    if words_swapped {
        registers.iter().rev().fold(0, with)
    } else {
        registers.iter().fold(0, with)
    }
}

fn switch(on: bool) -> f64 {
    if on { 1.0 } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use proptest::prelude::*;

    use super::*;
    use crate::config::model::Table;

    fn point(value_type: ValueType, byte_order: ByteOrder) -> ModbusPoint {
        ModbusPoint {
            link: 0,
            unit_id: 1,
            table: Table::Input,
            address: 0,
            value_type,
            byte_order,
            scale: 1.0,
            offset: 0.0,
            every: Duration::from_secs(1),
            status: None,
        }
    }

    const ORDERS: [ByteOrder; 4] = [
        ByteOrder::Abcd,
        ByteOrder::Cdab,
        ByteOrder::Badc,
        ByteOrder::Dcba,
    ];

    /// An encoder that shares nothing with the decoder: it places the letters as the order spells them.
    fn encode(big_endian: &[u8], byte_order: ByteOrder) -> Payload<'static> {
        let spelling = match (big_endian.len(), byte_order) {
            (2, ByteOrder::Abcd | ByteOrder::Cdab) => "AB",
            (2, ByteOrder::Badc | ByteOrder::Dcba) => "BA",
            (4, ByteOrder::Abcd) => "ABCD",
            (4, ByteOrder::Cdab) => "CDAB",
            (4, ByteOrder::Badc) => "BADC",
            (4, ByteOrder::Dcba) => "DCBA",
            (8, ByteOrder::Abcd) => "ABCDEFGH",
            (8, ByteOrder::Cdab) => "GHEFCDAB",
            (8, ByteOrder::Badc) => "BADCFEHG",
            (8, ByteOrder::Dcba) => "HGFEDCBA",
            (length, _) => panic!("no value takes {length} bytes"),
        };
        let wire: Vec<u8> = spelling
            .bytes()
            .map(|letter| big_endian[usize::from(letter - b'A')])
            .collect();
        Payload::Registers(
            wire.chunks(2)
                .map(|pair| u16::from(pair[0]) * 256 + u16::from(pair[1]))
                .collect(),
        )
    }

    fn decoded_everywhere(value_type: ValueType, big_endian: &[u8]) -> Vec<Result<u64, Cause>> {
        ORDERS
            .iter()
            .map(|order| {
                value(&point(value_type, *order), &encode(big_endian, *order)).map(f64::to_bits)
            })
            .collect()
    }

    proptest! {
        #[test]
        fn integers_survive_every_byte_order(n in any::<u64>()) {
            let cases = [
                (ValueType::U16, (n as u16).to_be_bytes().to_vec(), f64::from(n as u16)),
                (ValueType::I16, (n as u16).cast_signed().to_be_bytes().to_vec(), f64::from((n as u16).cast_signed())),
                (ValueType::U32, (n as u32).to_be_bytes().to_vec(), f64::from(n as u32)),
                (ValueType::I32, (n as u32).cast_signed().to_be_bytes().to_vec(), f64::from((n as u32).cast_signed())),
                (ValueType::U64, n.to_be_bytes().to_vec(), n as f64),
                (ValueType::I64, n.cast_signed().to_be_bytes().to_vec(), n.cast_signed() as f64),
            ];
            for (value_type, bytes, expected) in cases {
                for found in decoded_everywhere(value_type, &bytes) {
                    prop_assert_eq!(found, Ok(expected.to_bits()), "{:?}", value_type);
                }
            }
        }

        #[test]
        fn floats_survive_every_byte_order_and_widen_exactly(
            single in prop::num::f32::ANY, double in prop::num::f64::ANY
        ) {
            // Adding the offset 0.0 turns -0.0 into 0.0, the same number.
            let expected = |value: f64| if value.is_finite() {
                Ok((value + 0.0).to_bits())
            } else {
                Err(Cause::NotFinite)
            };
            for found in decoded_everywhere(ValueType::F32, &single.to_be_bytes()) {
                prop_assert_eq!(found, expected(f64::from(single)));
                if let Ok(bits) = found {
                    prop_assert_eq!((f64::from_bits(bits) as f32).to_bits(), (single + 0.0).to_bits());
                }
            }
            for found in decoded_everywhere(ValueType::F64, &double.to_be_bytes()) {
                prop_assert_eq!(found, expected(double));
            }
        }

        #[test]
        fn the_worst_set_bit_with_a_class_decides_the_status(word in any::<u16>()) {
            let register = StatusRegister {
                address: 0,
                bits: vec![
                    (0, Status::MaintenanceRequired),
                    (5, Status::Failure),
                    (9, Status::OutOfSpecification),
                    (15, Status::FunctionCheck),
                ],
            };
            let expected = if word & 0x0020 != 0 {
                Status::Failure
            } else if word & 0x8000 != 0 {
                Status::FunctionCheck
            } else if word & 0x0200 != 0 {
                Status::OutOfSpecification
            } else if word & 0x0001 != 0 {
                Status::MaintenanceRequired
            } else {
                Status::Good
            };
            prop_assert_eq!(status(&register, &Payload::Registers(vec![word].into())), expected);
            let bits = (0..16).map(|n| word >> n & 1 == 1).collect();
            prop_assert_eq!(status(&register, &Payload::Bits(Cow::Owned(bits))), expected);
        }
    }

    #[test]
    fn scale_and_offset_apply_to_the_raw_number() {
        let mut tenths = point(ValueType::I16, ByteOrder::Abcd);
        tenths.scale = 0.1;
        tenths.offset = -40.0;
        assert_eq!(
            value(&tenths, &Payload::Registers(vec![1150].into())),
            Ok(75.0)
        );
    }

    #[test]
    fn a_scale_that_overflows_gives_no_value() {
        let mut huge = point(ValueType::F64, ByteOrder::Abcd);
        huge.scale = 1e10;
        let payload = encode(&f64::MAX.to_be_bytes(), ByteOrder::Abcd);
        assert_eq!(value(&huge, &payload), Err(Cause::NotFinite));
    }

    #[test]
    fn a_bit_is_one_or_zero_in_a_coil_as_in_a_register() {
        let bit = point(ValueType::Bit, ByteOrder::Abcd);
        assert_eq!(value(&bit, &Payload::Bits(vec![true].into())), Ok(1.0));
        assert_eq!(value(&bit, &Payload::Bits(vec![false].into())), Ok(0.0));
        assert_eq!(
            value(&bit, &Payload::Registers(vec![0xFF00].into())),
            Ok(1.0)
        );
        assert_eq!(value(&bit, &Payload::Registers(vec![0].into())), Ok(0.0));
    }

    #[test]
    fn a_part_is_cut_from_the_answer_by_its_address() {
        let answer = Payload::Registers(vec![10, 11, 12, 13].into());
        let range = Range {
            address: 102,
            quantity: 2,
        };
        assert_eq!(
            answer.part(100, range),
            Payload::Registers(vec![12, 13].into())
        );
    }
}

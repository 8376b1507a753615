//! Every reading that some registers may stand for.
//!
//! Owns which types, byte orders and scalings are tried, which readings are plausible at all, and in which order they
//! are shown. Must not know how registers are read.

use crate::config::model::{ByteOrder, ValueType};
use crate::ingest::modbus::number;

/// Types in the order in which instruments use them, the commonest first (common practice, no source). Signed before
/// unsigned: the two read alike until something falls a little below nought, and then the unsigned one leaps.
const TYPES: [ValueType; 8] = [
    ValueType::F32,
    ValueType::I16,
    ValueType::U16,
    ValueType::I32,
    ValueType::U32,
    ValueType::F64,
    ValueType::I64,
    ValueType::U64,
];

/// The first two swap no words: a single register has none to swap.
const ORDERS: [ByteOrder; 4] = [
    ByteOrder::Abcd,
    ByteOrder::Badc,
    ByteOrder::Cdab,
    ByteOrder::Dcba,
];

/// Scalings of whole numbers; a float bears its own point (common practice, no source).
const SCALES: [f64; 4] = [1.0, 0.1, 0.01, 0.001];

/// Beyond this, and nearer to nothing than its reverse, a float is the wrong bytes. Own choice.
const GREATEST: f64 = 1e8;
const LEAST: f64 = 1e-6;

/// One way to read one place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Way {
    pub address: u16,
    pub value_type: ValueType,
    pub byte_order: ByteOrder,
    pub scale: f64,
}

/// A way and what it gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Candidate {
    pub way: Way,
    pub value: f64,
    /// It lies within the expected range, if one was given.
    pub is_expected: bool,
    pub rank: Rank,
}

/// How well a way explains its registers; the least is the best. Of two that are equal nothing here tells which is right.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Rank {
    /// An idle register fits many ranges that reach to 0; what says something comes first.
    is_nought: bool,
    /// It could not show what every instrument of the quantity must be able to show.
    is_too_small: bool,
    is_whole: bool,
    /// How many of its registers hold nought: a number that fills its registers explains them better than one that
    /// begins in the empty ones before it.
    empty_words: usize,
}

fn words(value_type: ValueType) -> usize {
    match value_type {
        ValueType::Bit | ValueType::U16 | ValueType::I16 => 1,
        ValueType::U32 | ValueType::I32 | ValueType::F32 => 2,
        ValueType::U64 | ValueType::I64 | ValueType::F64 => 4,
    }
}

fn is_float(value_type: ValueType) -> bool {
    matches!(value_type, ValueType::F32 | ValueType::F64)
}

impl Way {
    /// Its registers, if all of them were read.
    fn run(&self, registers: &[(u16, u16)]) -> Option<Vec<u16>> {
        let count = words(self.value_type);
        let first = registers
            .iter()
            .position(|(address, _)| *address == self.address)?;
        let run = registers.get(first..first + count)?;
        let in_a_row = run
            .iter()
            .zip(self.address..)
            .all(|((address, _), expected)| *address == expected);
        in_a_row.then(|| run.iter().map(|(_, register)| *register).collect())
    }

    /// Whether a register belongs to both.
    pub fn overlaps(&self, other: &Self) -> bool {
        let end = |way: &Self| usize::from(way.address) + words(way.value_type);
        usize::from(self.address) < end(other) && usize::from(other.address) < end(self)
    }

    /// The greatest number that its type can hold.
    fn greatest(&self) -> f64 {
        let raw = match self.value_type {
            ValueType::Bit => 1.0,
            ValueType::U16 => f64::from(u16::MAX),
            ValueType::I16 => f64::from(i16::MAX),
            ValueType::U32 => f64::from(u32::MAX),
            ValueType::I32 => f64::from(i32::MAX),
            ValueType::F32 | ValueType::F64 => f64::INFINITY,
            ValueType::U64 => u64::MAX as f64,
            ValueType::I64 => i64::MAX as f64,
        };
        raw * self.scale
    }

    fn rank(&self, registers: &[(u16, u16)], value: f64, must_reach: Option<f64>) -> Rank {
        Rank {
            is_nought: value == 0.0,
            is_too_small: must_reach.is_some_and(|least| self.greatest() < least),
            is_whole: !is_float(self.value_type),
            empty_words: self.empty_words(registers),
        }
    }

    fn empty_words(&self, registers: &[(u16, u16)]) -> usize {
        let run = self.run(registers).unwrap_or_default();
        run.iter().filter(|register| **register == 0).count()
    }

    /// What this way gives, if its registers were all read and the number is plausible.
    pub fn value(&self, registers: &[(u16, u16)]) -> Option<f64> {
        let run = self.run(registers)?;
        let raw = number(self.value_type, self.byte_order, &run);
        let size = raw.abs();
        let plausible = size == 0.0 || (LEAST..=GREATEST).contains(&size);
        (raw.is_finite() && plausible).then_some(raw * self.scale)
    }
}

/// Every plausible reading of the registers: what lies within the expected range first, then place by place. Registers
/// that hold nothing but nought are listed once: every way to read them says the same. `must_reach` is what every
/// instrument of the quantity must be able to show.
pub fn candidates(
    registers: &[(u16, u16)],
    expected: Option<(f64, f64)>,
    must_reach: Option<f64>,
) -> Vec<Candidate> {
    let mut found: Vec<Candidate> = Vec::new();
    for (address, _) in registers {
        for value_type in TYPES {
            for way in ways(*address, value_type) {
                let Some(value) = way.value(registers) else {
                    continue;
                };
                let is_expected = expected.is_some_and(|(low, high)| (low..=high).contains(&value));
                if is_expected || value != 0.0 || way == empty(*address) {
                    found.push(Candidate {
                        way,
                        value,
                        is_expected,
                        rank: way.rank(registers, value, must_reach),
                    });
                }
            }
        }
    }
    found.sort_by_key(|candidate| {
        (
            !candidate.is_expected,
            candidate.is_expected.then_some(candidate.rank),
        )
    });
    found
}

/// How a register that holds nought is listed.
fn empty(address: u16) -> Way {
    Way {
        address,
        value_type: ValueType::U16,
        byte_order: ByteOrder::Abcd,
        scale: 1.0,
    }
}

fn ways(address: u16, value_type: ValueType) -> impl Iterator<Item = Way> {
    let scales = if is_float(value_type) {
        &SCALES[..1]
    } else {
        &SCALES[..]
    };
    let orders = if words(value_type) == 1 { 2 } else { 4 };
    ORDERS.into_iter().take(orders).flat_map(move |byte_order| {
        scales.iter().map(move |scale| Way {
            address,
            value_type,
            byte_order,
            scale: *scale,
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn placed(from: u16, registers: &[u16]) -> Vec<(u16, u16)> {
        (from..).zip(registers.iter().copied()).collect()
    }

    /// 1048.5 as a float is 44 83 10 00 (IEEE 754).
    const FLOAT: [u16; 2] = [0x4483, 0x1000];

    #[test]
    fn a_float_is_found_in_each_order_at_its_address_and_nowhere_else() {
        let swapped = |word: u16| word.swap_bytes();
        for (order, registers) in [
            (ByteOrder::Abcd, FLOAT),
            (ByteOrder::Cdab, [FLOAT[1], FLOAT[0]]),
            (ByteOrder::Badc, FLOAT.map(swapped)),
            (ByteOrder::Dcba, [FLOAT[1], FLOAT[0]].map(swapped)),
        ] {
            let read = placed(100, &[0xFFFF, registers[0], registers[1], 0xFFFF]);
            let found = candidates(&read, Some((1048.4, 1048.6)), None);
            let marked = found.iter().filter(|candidate| candidate.is_expected);
            let floats: Vec<Way> = marked.map(|candidate| candidate.way).collect();
            let expected = Way {
                address: 101,
                value_type: ValueType::F32,
                byte_order: order,
                scale: 1.0,
            };
            assert_eq!(floats.first(), Some(&expected), "{floats:?}");
        }
    }

    #[test]
    fn a_scaled_integer_is_found_with_its_scale() {
        let found = candidates(&placed(7, &[752]), Some((70.0, 80.0)), None);
        let scales: Vec<String> = found
            .iter()
            .filter(|candidate| candidate.is_expected)
            .filter(|candidate| candidate.way.value_type == ValueType::U16)
            .map(|candidate| format!("{} x {}", candidate.way.address, candidate.way.scale))
            .collect();
        assert_eq!(scales, ["7 x 0.1"]);
    }

    #[test]
    fn a_number_that_fills_its_registers_stands_before_one_that_begins_in_empty_ones() {
        let first = |registers: &[u16], expected| {
            let found = candidates(&placed(7, registers), Some(expected), None);
            (found[0].way.address, found[0].way.value_type)
        };
        assert_eq!(first(&[0, 0, 0, 502], (5.0, 5.1)), (10, ValueType::I16));
        // 73.009 in thousandths is 0x0001_1D31.
        assert_eq!(first(&[0, 0, 1, 0x1D31], (72.0, 74.0)), (9, ValueType::I32));
        // With its words swapped, the empty register before it would give 1048.0.
        assert_eq!(
            first(&[0, FLOAT[0], FLOAT[1]], (1040.0, 1060.0)),
            (8, ValueType::F32)
        );
    }

    #[test]
    fn a_type_that_cannot_hold_what_the_quantity_comes_to_stands_behind_one_that_can() {
        let first = |must_reach| {
            let found = candidates(&placed(7, &[0, 24_100]), Some((24.0, 24.2)), must_reach);
            (found[0].way.address, found[0].way.value_type)
        };
        assert_eq!(first(None), (8, ValueType::I16));
        // In thousandths a single register ends at 65.5.
        assert_eq!(first(Some(1000.0)), (7, ValueType::I32));
    }

    #[test]
    fn two_places_that_say_the_same_are_of_one_rank_and_a_wider_number_is_not() {
        let registers = placed(7, &[FLOAT[0], FLOAT[1], 0xFFFF, FLOAT[0], FLOAT[1], 1049]);
        let found = candidates(&registers, Some((1048.0, 1049.0)), None);
        assert_eq!((found[0].way.address, found[1].way.address), (7, 10));
        assert_eq!(found[0].rank, found[1].rank);
        let whole = found
            .iter()
            .find(|it| it.way.address == 12)
            .expect("the register");
        assert!(found[0].rank < whole.rank);
    }

    #[test]
    fn what_is_not_expected_is_shown_behind_what_is_and_nought_only_once() {
        let found = candidates(&placed(7, &[752, 0, 0]), Some((70.0, 80.0)), None);
        let first_unmarked = found.iter().position(|candidate| !candidate.is_expected);
        let last_marked = found.iter().rposition(|candidate| candidate.is_expected);
        assert!(last_marked < first_unmarked, "{found:?}");
        let noughts: Vec<u16> = found
            .iter()
            .filter(|candidate| candidate.value == 0.0)
            .map(|candidate| candidate.way.address)
            .collect();
        assert_eq!(noughts, [8, 9]);
    }

    #[test]
    fn a_gap_between_registers_is_not_read_over_and_nonsense_is_not_shown() {
        let gap = [(1, FLOAT[0]), (3, FLOAT[1])];
        assert!(
            candidates(&gap, None, None)
                .iter()
                .all(|candidate| words(candidate.way.value_type) == 1)
        );
        let not_a_number = placed(0, &[0x7FC0, 0x0000]);
        let floats = candidates(&not_a_number, None, None);
        let abcd = |candidate: &&Candidate| {
            candidate.way.value_type == ValueType::F32
                && candidate.way.byte_order == ByteOrder::Abcd
        };
        assert_eq!(floats.iter().find(abcd), None);
    }
}

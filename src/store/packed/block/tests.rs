//! Blocks come back whole or are called damaged.

use proptest::prelude::*;

use super::*;

const WORDS: [&str; 3] = ["degP", "link-lost", "maintenance-required"];

fn names() -> Names {
    let mut names = Names::default();
    for word in WORDS {
        names.code(Some(word)).expect("there is room");
    }
    names
}

prop_compose! {
    fn any_row()(
        step in prop_oneof![4 => Just(1_i64), 1 => 1..50_i64],
        after_us in prop_oneof![4 => Just(0_i64), 4 => 999_000..1_001_000_i64, 1 => any::<i64>()],
        instrument in -1..12_i64,
        codes in [0..4_u16, 0..4_u16, 0..4_u16],
        age_us in prop_oneof![4 => Just(0_i64), 1 => any::<i64>()],
        numbers in [any_number(), any_number(), any_number(), any_number()],
    ) -> Row {
        let [status, cause, unit] = codes;
        Row { seq: step, at_us: after_us, instrument, status, cause, unit, age_us, numbers }
    }
}

fn any_number() -> impl Strategy<Value = Option<f64>> {
    let number = prop_oneof![
        3 => (-1_000_000..1_000_000_i64).prop_map(|n| n as f64 / 1e6),
        3 => any::<f32>().prop_map(f64::from),
        1 => any::<u64>().prop_map(f64::from_bits),
    ];
    proptest::option::weighted(0.8, number)
}

fn any_block() -> impl Strategy<Value = Block> {
    proptest::collection::vec(any_row(), 0..200).prop_map(|mut rows| {
        let (mut seq, mut at_us) = (0, 1_776_945_600_000_000_i64);
        for row in &mut rows {
            seq += row.seq;
            at_us = at_us.wrapping_add(row.at_us);
            (row.seq, row.at_us) = (seq, at_us);
        }
        Block {
            names: names(),
            rows,
        }
    })
}

proptest! {
    #[test]
    fn any_rows_come_back_bit_for_bit(block in any_block()) {
        let bytes = block.pack().expect("readings of a brew");
        prop_assert_eq!(Block::unpack(&bytes), Ok(block));
    }

    #[test]
    fn a_block_with_a_spoiled_byte_is_called_damaged(
        block in any_block(),
        place in any::<prop::sample::Index>(),
        change in 1..=255_u8,
    ) {
        let mut bytes = block.pack().expect("readings of a brew");
        *place.get_mut(&mut bytes) ^= change;
        prop_assert_eq!(Block::unpack(&bytes), Err(Damage::Checksum));
    }

    #[test]
    fn a_block_that_lost_its_end_is_called_damaged(
        block in any_block(),
        place in any::<prop::sample::Index>(),
    ) {
        let bytes = block.pack().expect("readings of a brew");
        prop_assert!(Block::unpack(&bytes[..place.index(bytes.len())]).is_err());
    }

    /// As if somebody had written it so: the checksum alone must not be what keeps the reader from a panic.
    #[test]
    fn a_senseless_block_with_a_fitting_checksum_is_damage_and_no_panic(
        block in any_block(),
        spoiled in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
    ) {
        let mut bytes = block.pack().expect("readings of a brew");
        bytes.truncate(bytes.len() - CHECKSUM_BYTES);
        for (place, byte) in spoiled {
            *place.get_mut(&mut bytes) = byte;
        }
        if let Ok(read) = Block::unpack_content(&bytes) {
            prop_assert!(read.rows.len() <= MOST_ROWS);
        }
    }

    #[test]
    fn any_bytes_are_a_block_or_damage(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let mut content = vec![FORM, 0];
        content.extend(bytes);
        if let Ok(read) = Block::unpack_content(&content) {
            prop_assert!(read.rows.len() <= MOST_ROWS);
        }
    }
}

#[test]
fn a_block_of_a_later_form_says_so() {
    let mut bytes = vec![FORM + 1];
    bytes.extend(CHECKSUM.checksum(&bytes).to_le_bytes());
    assert_eq!(Block::unpack(&bytes), Err(Damage::Form(FORM + 1)));
}

#[test]
fn rows_that_are_no_readings_of_a_brew_are_not_packed() {
    let row = Row {
        seq: 0,
        at_us: 0,
        instrument: MOST_INSTRUMENTS,
        status: 0,
        cause: 0,
        unit: 0,
        age_us: 0,
        numbers: [None; NUMBERS],
    };
    let block = |rows| Block {
        names: Names::default(),
        rows,
    };
    assert_eq!(block(vec![row]).pack(), None);
    let tick = Row {
        instrument: TICK,
        ..row
    };
    assert!(block(vec![tick; MOST_ROWS]).pack().is_some());
    assert_eq!(block(vec![tick; MOST_ROWS + 1]).pack(), None);
}

#[test]
fn a_form_that_was_released_can_be_read_for_ever() {
    // Two instruments, a tick, and a reading without a value, as form 1 wrote them.
    let row = |seq: i64, at_us: i64, instrument: i64, value: Option<f64>| Row {
        seq,
        at_us,
        instrument,
        status: 0,
        cause: if value.is_none() && instrument != TICK {
            2
        } else {
            0
        },
        unit: 0,
        age_us: 0,
        numbers: [value, None, None, None],
    };
    let block = Block {
        names: names(),
        rows: vec![
            row(0, 1_776_945_600_000_000, 0, Some(1070.25)),
            row(1, 1_776_945_600_000_000, 1, Some(5.43)),
            row(3, 1_776_945_601_000_000, TICK, None),
            row(4, 1_776_945_601_000_200, 0, Some(1070.2)),
            row(5, 1_776_945_601_000_200, 1, None),
        ],
    };
    let bytes: Vec<u8> = RELEASED
        .as_bytes()
        .chunks(2)
        .map(|two| u8::from_str_radix(str::from_utf8(two).unwrap(), 16).unwrap())
        .collect();
    assert_eq!(
        Block::unpack(&bytes),
        Ok(block.clone()),
        "now it would be {:02x?}",
        block.pack().expect("packed")
    );
}

const RELEASED: &str = concat!(
    "01030464656750096c696e6b2d6c6f7374146d61696e74656e616e63652d72657175697265640002814cc4300040f0001809",
    "2214000000000ca03ec68be0007a1201e86103f3f3f3f3f3f3f3f3f3f3f3f0024249688441140000fcfcfcfc0213f3f00308",
    "248f80000fcfcfc050518a1f",
);

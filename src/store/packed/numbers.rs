//! A column of floating-point numbers in few bits, every bit of which comes back.
//!
//! Instruments and the core round: what looks like a number of 64 bits is a few decimals or a number of 32 bits. The column
//! becomes integers in the form that suits it best, as in Afroozeh, Kuffó and Boncz, "ALP: Adaptive Lossless
//! floating-Point Compression", SIGMOD 2023: what does not fit is written whole beside it. Whether a form gives back a number
//! is tried with the very arithmetic that reads it.

use super::Damage;
use super::bits::{BitReader, BitWriter};
use super::integers::{self, Plan};

/// The most decimals tried. Own choice: an instrument with more is packed as a number of 32 or 64 bits.
const DECIMALS: usize = 9;
const POWERS: [f64; DECIMALS + 1] = [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9];
const FRACTIONS: [f64; DECIMALS + 1] = [1e0, 1e-1, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8, 1e-9];
/// Integers up to here are numbers of 64 bits too.
const EXACT: f64 = 9_007_199_254_740_992.0;
/// A form may miss one number in so many. Own choice: each takes five times what it takes as a difference.
const MISSED_AT_MOST: usize = 8;

/// How a number is an integer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Form {
    /// Over a power of ten: what was rounded to decimals.
    Quotient(usize),
    /// Times a power of ten: a register's number with its scale.
    Product(usize),
    /// A number of 32 bits, in the order of numbers.
    Single,
    Double,
}

impl Form {
    fn integer(self, value: f64) -> Option<i64> {
        let whole = |scaled: f64| {
            let rounded = scaled.round();
            (rounded.abs() < EXACT).then_some(rounded as i64)
        };
        let integer = match self {
            Self::Quotient(decimals) => whole(value * POWERS[decimals])?,
            Self::Product(decimals) => whole(value / FRACTIONS[decimals])?,
            Self::Single => ordered_32((value as f32).to_bits().cast_signed()).into(),
            Self::Double => ordered_64(value.to_bits().cast_signed()),
        };
        let again = self.number(integer)?;
        (again.to_bits() == value.to_bits()).then_some(integer)
    }

    fn number(self, integer: i64) -> Option<f64> {
        Some(match self {
            Self::Quotient(decimals) => integer as f64 / POWERS[decimals],
            Self::Product(decimals) => integer as f64 * FRACTIONS[decimals],
            Self::Single => {
                let bits = ordered_32(i32::try_from(integer).ok()?);
                f64::from(f32::from_bits(bits.cast_unsigned()))
            }
            Self::Double => f64::from_bits(ordered_64(integer).cast_unsigned()),
        })
    }

    /// As it stands in a block.
    fn code(self) -> (u64, u64) {
        match self {
            Self::Quotient(decimals) => (0, decimals as u64),
            Self::Product(decimals) => (1, decimals as u64),
            Self::Single => (2, 0),
            Self::Double => (3, 0),
        }
    }

    fn from_code(form: u64, decimals: u64) -> Result<Self, Damage> {
        let decimals = decimals as usize;
        match form {
            _ if decimals > DECIMALS => Err(Damage::Senseless),
            0 => Ok(Self::Quotient(decimals)),
            1 => Ok(Self::Product(decimals)),
            2 => Ok(Self::Single),
            _ => Ok(Self::Double),
        }
    }

    fn misses(self, values: &[f64], at_most: usize) -> usize {
        let missed = values
            .iter()
            .filter(|value| self.integer(**value).is_none());
        missed.take(at_most).count()
    }
}

/// Turns the bits of a number into an integer with the number's order, and back.
fn ordered_32(bits: i32) -> i32 {
    bits ^ ((bits >> 31) & i32::MAX)
}

fn ordered_64(bits: i64) -> i64 {
    bits ^ ((bits >> 63) & i64::MAX)
}

/// The decimal form that misses the fewest; None where all miss too many.
fn decimals(values: &[f64]) -> Option<Form> {
    let most = values.len() / MISSED_AT_MOST + 1;
    let mut best = (most, None);
    for places in 0..=DECIMALS {
        for form in [Form::Quotient(places), Form::Product(places)] {
            let misses = form.misses(values, best.0);
            if misses < best.0 {
                best = (misses, Some(form));
            }
            if misses == 0 {
                return best.1;
            }
        }
    }
    best.1
}

/// A column in one form.
struct Column {
    form: Form,
    plan: Plan,
    missed: Vec<(usize, f64)>,
}

/// Bits of a place in a column, and of how many numbers were missed.
const PLACE_BITS: u32 = 16;

impl Column {
    fn new(values: &[f64], form: Form) -> Self {
        let mut missed = Vec::new();
        let mut last = 0;
        let integers: Vec<i64> = values
            .iter()
            .enumerate()
            .map(|(place, value)| {
                match form.integer(*value) {
                    Some(integer) => last = integer,
                    // The integer before it costs the least in its place.
                    None => missed.push((place, *value)),
                }
                last
            })
            .collect();
        Self {
            form,
            plan: Plan::of(&integers),
            missed,
        }
    }

    fn bits(&self) -> u64 {
        self.plan.bits + self.missed.len() as u64 * u64::from(PLACE_BITS + 64)
    }
}

/// At most as many values as a place can number.
pub fn write(out: &mut BitWriter, values: &[f64]) {
    let decimals = decimals(values).map(|form| Column::new(values, form));
    let exact = |column: &Option<Column>| column.as_ref().is_some_and(|it| it.missed.is_empty());
    let mut columns = vec![];
    if !exact(&decimals) {
        columns.push(Column::new(values, Form::Double));
        let most = values.len() / MISSED_AT_MOST + 1;
        if Form::Single.misses(values, most) < most {
            columns.push(Column::new(values, Form::Single));
        }
    }
    columns.extend(decimals);
    let Some(best) = columns.into_iter().min_by_key(Column::bits) else {
        return;
    };
    let (form, places) = best.form.code();
    out.put(form, 2);
    out.put(places, 4);
    best.plan.write(out);
    out.put(best.missed.len() as u64, PLACE_BITS);
    for (place, value) in best.missed {
        out.put(place as u64, PLACE_BITS);
        out.put(value.to_bits(), 64);
    }
}

/// Reads `count` values; the caller bounds the count.
pub fn read(reader: &mut BitReader<'_>, count: usize) -> Result<Vec<f64>, Damage> {
    let form = Form::from_code(reader.get(2)?, reader.get(4)?)?;
    let integers = integers::read(reader, count)?;
    let mut values: Vec<f64> = integers
        .into_iter()
        .map(|integer| form.number(integer).ok_or(Damage::Senseless))
        .collect::<Result<_, _>>()?;
    for _ in 0..reader.get(PLACE_BITS)? {
        let place = reader.get(PLACE_BITS)? as usize;
        let value = f64::from_bits(reader.get(64)?);
        *values.get_mut(place).ok_or(Damage::Senseless)? = value;
    }
    Ok(values)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn packed(values: &[f64]) -> Vec<u8> {
        let mut out = BitWriter::default();
        write(&mut out, values);
        out.finish()
    }

    fn bits(values: &[f64]) -> Vec<u64> {
        values.iter().map(|value| value.to_bits()).collect()
    }

    /// Numbers as instruments and the core round them, and any others, in one column.
    fn any_column() -> impl Strategy<Value = Vec<f64>> {
        let rounded = (-2_000_000..2_000_000_i64, 0..8_i32);
        let one = prop_oneof![
            4 => rounded.clone().prop_map(|(n, places)| n as f64 / 10_f64.powi(places)),
            4 => rounded.prop_map(|(n, places)| n as f64 * 10_f64.powi(-places)),
            4 => any::<f32>().prop_map(f64::from),
            2 => any::<u64>().prop_map(f64::from_bits),
            1 => Just(-0.0),
            1 => Just(0.0),
        ];
        proptest::collection::vec(one, 0..300)
    }

    proptest! {
        #[test]
        fn any_column_comes_back_bit_for_bit(values in any_column()) {
            let bytes = packed(&values);
            let again = read(&mut BitReader::new(&bytes), values.len()).expect("readable");
            prop_assert_eq!(bits(&again), bits(&values));
        }

        #[test]
        fn any_bytes_give_a_column_or_damage(
            bytes in proptest::collection::vec(any::<u8>(), 0..600),
            count in 0..3000_usize,
        ) {
            if let Ok(values) = read(&mut BitReader::new(&bytes), count) {
                prop_assert_eq!(values.len(), count);
            }
        }
    }

    fn wave(n: usize) -> f64 {
        12.0 + (n as f64 * 0.7).sin() * 0.03
    }

    fn bytes_each(values: &[f64]) -> f64 {
        packed(values).len() as f64 / values.len() as f64
    }

    #[test]
    fn what_was_rounded_takes_the_room_of_its_digits() {
        let six_decimals: Vec<f64> = (0..4000).map(|n| (wave(n) * 1e6).round() / 1e6).collect();
        assert!(bytes_each(&six_decimals) < 2.4);
        let scaled: Vec<f64> = (0..4000)
            .map(|n| (wave(n) * 100.0).round() * 0.01)
            .collect();
        assert!(bytes_each(&scaled) < 0.6);
        let single: Vec<f64> = (0..4000).map(|n| f64::from(wave(n) as f32)).collect();
        assert!(bytes_each(&single) < 2.4);
    }

    #[test]
    fn a_few_strays_do_not_spoil_a_column() {
        let mut values: Vec<f64> = (0..4000)
            .map(|n| (wave(n) * 100.0).round() / 100.0)
            .collect();
        for stray in values.iter_mut().step_by(400) {
            *stray = std::f64::consts::PI;
        }
        assert!(bytes_each(&values) < 0.7);
    }
}

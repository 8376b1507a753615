//! A column of integers in few bits.
//!
//! Each value is guessed from those before it, and only the error of the guess is written: the value itself, the
//! difference to the last one, or the difference of differences, whichever is cheapest (the fixed predictors of
//! Robinson, "SHORTEN: Simple lossless and near-lossless waveform compression", 1994; the last one is also how Pelkonen
//! et al., "Gorilla", VLDB 2015, pack times). The errors are written in Rice's code (Rice, "Some practical universal
//! noiseless coding techniques", JPL 79-22, 1979) with its parameter chosen anew for each frame; a frame in which every guess is
//! right takes six bits. The first values, which nothing comes before, stand whole. Which integers these are, is not known here.

use super::Damage;
use super::bits::{BitReader, BitWriter};

/// Values that share one parameter. Own choice.
const FRAME: usize = 128;
/// Bits of a frame's parameter.
const PARAMETER_BITS: u32 = 6;
/// Bits of the size of a value that stands whole.
const SIZE_BITS: u32 = 7;
/// In place of the parameter: every guess is right.
const ALL_RIGHT: u32 = 63;
const LARGEST_PARAMETER: u32 = 62;
/// An error that would take so many noughts is written whole behind them. Own choice.
const WHOLE: u32 = 24;
/// The most values a guess is made from.
const ORDERS: usize = 3;

/// How a column is best written.
#[derive(Debug)]
pub struct Plan {
    order: usize,
    errors: Vec<u64>,
    /// One for each frame of the errors behind the first `order` values.
    parameters: Vec<u32>,
    pub bits: u64,
}

impl Plan {
    pub fn of(values: &[i64]) -> Self {
        let plans = (0..ORDERS).map(|order| Self::with_order(values, order));
        plans.min_by_key(|plan| plan.bits).unwrap_or(Self {
            order: 0,
            errors: Vec::new(),
            parameters: Vec::new(),
            bits: 0,
        })
    }

    fn with_order(values: &[i64], order: usize) -> Self {
        let mut before = Before::default();
        let errors: Vec<u64> = values
            .iter()
            .map(|value| {
                let error = value.wrapping_sub(before.guess(order));
                before.note(*value);
                folded(error)
            })
            .collect();
        let (first, rest) = errors.split_at(order.min(errors.len()));
        let whole = |error: &u64| u64::from(SIZE_BITS + size(*error));
        let mut bits = 2 + first.iter().map(whole).sum::<u64>();
        let parameters = rest
            .chunks(FRAME)
            .map(|frame| {
                let (parameter, cost) = best_parameter(frame);
                bits += u64::from(PARAMETER_BITS) + cost;
                parameter
            })
            .collect();
        Self {
            order,
            errors,
            parameters,
            bits,
        }
    }

    pub fn write(&self, out: &mut BitWriter) {
        out.put(self.order as u64, 2);
        let (first, rest) = self.errors.split_at(self.order.min(self.errors.len()));
        for error in first {
            out.put(u64::from(size(*error)), SIZE_BITS);
            out.put(*error, size(*error));
        }
        for (frame, parameter) in rest.chunks(FRAME).zip(&self.parameters) {
            out.put(u64::from(*parameter), PARAMETER_BITS);
            if *parameter == ALL_RIGHT {
                continue;
            }
            for error in frame {
                write_error(out, *error, *parameter);
            }
        }
    }
}

pub fn write(out: &mut BitWriter, values: &[i64]) {
    Plan::of(values).write(out);
}

/// Reads `count` values; the caller bounds the count.
pub fn read(reader: &mut BitReader<'_>, count: usize) -> Result<Vec<i64>, Damage> {
    let order = reader.get(2)? as usize;
    if order >= ORDERS {
        return Err(Damage::Senseless);
    }
    let mut before = Before::default();
    let mut values = Vec::with_capacity(count);
    let mut take = |error| {
        let value = before.guess(order).wrapping_add(unfolded(error));
        before.note(value);
        values.push(value);
    };
    let first = order.min(count);
    for _ in 0..first {
        let size = reader.get(SIZE_BITS)? as u32;
        if size > 64 {
            return Err(Damage::Senseless);
        }
        take(reader.get(size)?);
    }
    let mut left = count - first;
    while left > 0 {
        let parameter = reader.get(PARAMETER_BITS)? as u32;
        let frame = FRAME.min(left);
        left -= frame;
        for _ in 0..frame {
            take(match parameter {
                ALL_RIGHT => 0,
                _ => read_error(reader, parameter)?,
            });
        }
    }
    Ok(values)
}

/// The last two values; noughts before the first.
#[derive(Default)]
struct Before {
    last: i64,
    last_but_one: i64,
    seen: usize,
}

impl Before {
    /// With fewer values before it than `order`, the guess is made from those.
    fn guess(&self, order: usize) -> i64 {
        match order.min(self.seen) {
            0 => 0,
            1 => self.last,
            _ => self
                .last
                .wrapping_add(self.last.wrapping_sub(self.last_but_one)),
        }
    }

    fn note(&mut self, value: i64) {
        self.last_but_one = self.last;
        self.last = value;
        self.seen += 1;
    }
}

/// Small errors of either sign become small numbers.
fn folded(error: i64) -> u64 {
    ((error << 1) ^ (error >> 63)).cast_unsigned()
}

fn unfolded(error: u64) -> i64 {
    (error >> 1).cast_signed() ^ -(error & 1).cast_signed()
}

/// Bits of a number without the noughts before it.
fn size(error: u64) -> u32 {
    u64::BITS - error.leading_zeros()
}

fn cost(frame: &[u64], parameter: u32) -> u64 {
    let one = |error: &u64| match error >> parameter {
        noughts if noughts < u64::from(WHOLE) => noughts + 1 + u64::from(parameter),
        _ => u64::from(WHOLE + 64),
    };
    frame.iter().map(one).sum()
}

/// The cheapest parameter and what the frame then takes. The cost falls and rises but once beside stray errors, so the
/// search begins at the size of the errors in the middle.
fn best_parameter(frame: &[u64]) -> (u32, u64) {
    if frame.iter().all(|error| *error == 0) {
        return (ALL_RIGHT, 0);
    }
    let mut sizes = [0_usize; 65];
    for error in frame {
        sizes[size(*error) as usize] += 1;
    }
    let mut below = 0;
    let middle = sizes.into_iter().position(|count| {
        below += count;
        2 * below >= frame.len()
    });
    let first = middle.map_or(0, |size| size.saturating_sub(2) as u32);
    let first = first.min(LARGEST_PARAMETER - 3);
    let costs = (first..=first + 3).map(|parameter| (parameter, cost(frame, parameter)));
    costs
        .min_by_key(|(_, cost)| *cost)
        .unwrap_or((first, u64::MAX))
}

fn write_error(out: &mut BitWriter, error: u64, parameter: u32) {
    let noughts = error >> parameter;
    if noughts >= u64::from(WHOLE) {
        out.put(0, WHOLE);
        out.put(error, 64);
        return;
    }
    out.put(1, noughts as u32 + 1);
    out.put(error & ((1 << parameter) - 1), parameter);
}

fn read_error(reader: &mut BitReader<'_>, parameter: u32) -> Result<u64, Damage> {
    let noughts = reader.noughts(WHOLE)?;
    if noughts == WHOLE {
        return reader.get(64);
    }
    Ok((u64::from(noughts) << parameter) | reader.get(parameter)?)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn packed(values: &[i64]) -> Vec<u8> {
        let mut out = BitWriter::default();
        write(&mut out, values);
        out.finish()
    }

    fn any_values() -> impl Strategy<Value = Vec<i64>> {
        let step = prop_oneof![
            6 => -300..300_i64,
            1 => any::<i64>(),
            1 => Just(i64::MIN),
            1 => Just(i64::MAX),
        ];
        let column = (proptest::collection::vec(step, 0..400), 0..3_usize);
        // Steps taken as values, as differences, and as differences of differences.
        column.prop_map(|(mut values, sums)| {
            for _ in 0..sums {
                let mut sum = 0_i64;
                for value in &mut values {
                    sum = sum.wrapping_add(*value);
                    *value = sum;
                }
            }
            values
        })
    }

    proptest! {
        #[test]
        fn any_column_comes_back_and_takes_the_bits_that_were_planned(values in any_values()) {
            let bytes = packed(&values);
            prop_assert_eq!(bytes.len() as u64, Plan::of(&values).bits.div_ceil(8));
            prop_assert_eq!(read(&mut BitReader::new(&bytes), values.len()), Ok(values));
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

    #[test]
    fn what_goes_on_evenly_costs_next_to_nothing() {
        let even: Vec<i64> = (0..4096)
            .map(|n| 1_776_945_600_000_000 + 1_000_000 * n)
            .collect();
        assert!(packed(&even).len() < 60);
        assert!(packed(&vec![7; 4096]).len() < 40);
    }

    #[test]
    fn noise_costs_its_own_size_and_one_bit_or_two() {
        let mut state = 1_u64;
        let noise: Vec<i64> = (0..4096)
            .map(|_| {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                (state >> 54).cast_signed() - 512
            })
            .collect();
        let bits = 8.0 * packed(&noise).len() as f64 / noise.len() as f64;
        assert!((10.0..12.0).contains(&bits), "{bits}");
    }
}

//! The standard normal numbers behind the projection's ensemble.
//!
//! Owns one fixed table of them, so that the same run-off always gets the same answer and successive
//! projections differ by what was learnt and not by luck.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

use crate::washout::SHAPES;

/// Curves drawn for one projection.
pub const CURVES: usize = 60;
/// Run-offs played along each curve: with opposite courses of the discrepancy, so that these cancel in the middle.
pub const LANES: usize = 2;
/// Run-offs played for one projection: an even number, so that two of them lie about the middle, and enough for the ends
/// of a band.
pub const DRAWS: usize = LANES * CURVES;
const _: () = assert!(DRAWS.is_multiple_of(2) && DRAWS >= 40);
/// Steps along the remaining run-off.
pub const STEPS: usize = 36;
/// Independent quantities of one run-off beside its curve and its course: the offset, the meter, the volume, the
/// flow, the pH law.
pub const QUANTITIES: usize = 5;

/// The table; only its seed is kept in a checkpoint.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(from = "u64", into = "u64")]
pub struct Draws {
    seed: u64,
    shapes: Vec<[f64; SHAPES]>,
    quantities: Vec<[f64; QUANTITIES]>,
    courses: Vec<[f64; STEPS]>,
}

impl From<u64> for Draws {
    fn from(seed: u64) -> Self {
        Self::new(seed)
    }
}

impl From<Draws> for u64 {
    fn from(draws: Draws) -> Self {
        draws.seed
    }
}

impl Draws {
    pub fn new(seed: u64) -> Self {
        let mut state = seed;
        let normal = Normal::standard();
        let shapes = latin_hypercube(CURVES, &mut state, &normal);
        let quantities = latin_hypercube(DRAWS, &mut state, &normal);
        let courses = (0..CURVES)
            .map(|_| std::array::from_fn(|_| normal.inverse_cdf(uniform(&mut state))))
            .collect();
        Self {
            seed,
            shapes,
            quantities,
            courses,
        }
    }

    /// A seed from a brew's name: FNV-1a (Fowler, Noll & Vo).
    pub fn seed_of(name: &str) -> u64 {
        name.bytes().fold(0xcbf29ce484222325, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x100000001b3)
        })
    }

    pub fn shape(&self, curve: usize) -> &[f64; SHAPES] {
        &self.shapes[curve]
    }

    /// The shocks of the discrepancy along a curve; every other lane takes their opposites.
    pub fn course(&self, curve: usize) -> &[f64; STEPS] {
        &self.courses[curve]
    }

    pub fn quantities(&self, draw: usize) -> &[f64; QUANTITIES] {
        &self.quantities[draw]
    }
}

/// Standard normal numbers of which each column takes every one of `rows` equally likely slices once.
fn latin_hypercube<const N: usize>(rows: usize, state: &mut u64, normal: &Normal) -> Vec<[f64; N]> {
    let mut table = vec![[0.0; N]; rows];
    for column in 0..N {
        for (row, slice) in table.iter_mut().zip(shuffled(rows, state)) {
            let probability = (slice as f64 + 0.5) / rows as f64;
            row[column] = normal.inverse_cdf(probability);
        }
    }
    table
}

/// SplitMix64 (Steele, Lea & Flood 2014), from memory; the upper 53 bits as a number inside (0, 1).
fn uniform(state: &mut u64) -> f64 {
    *state = state.wrapping_add(0x9e3779b97f4a7c15);
    let mut mixed = *state;
    mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58476d1ce4e5b9);
    mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d049bb133111eb);
    mixed ^= mixed >> 31;
    ((mixed >> 11) as f64 + 0.5) / 9007199254740992.0
}

fn shuffled(count: usize, state: &mut u64) -> Vec<usize> {
    let mut order: Vec<usize> = (0..count).collect();
    for last in (1..count).rev() {
        let other = (uniform(state) * (last + 1) as f64) as usize;
        order.swap(last, other);
    }
    order
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_numbers_are_standard_normal_and_repeatable() {
        let draws = Draws::new(7);
        assert_eq!(draws, Draws::new(7));
        for quantity in 0..QUANTITIES {
            let values: Vec<f64> = (0..DRAWS)
                .map(|draw| draws.quantities(draw)[quantity])
                .collect();
            let mean = values.iter().sum::<f64>() / DRAWS as f64;
            let variance = values.iter().map(|value| value * value).sum::<f64>() / DRAWS as f64;
            assert!(
                mean.abs() < 1e-9 && (variance - 1.0).abs() < 0.03,
                "{mean} {variance}"
            );
        }
        let all: f64 = (0..CURVES)
            .flat_map(|curve| draws.course(curve))
            .map(|value| value * value)
            .sum();
        assert!((all / (CURVES * STEPS) as f64 - 1.0).abs() < 0.08);
    }

    #[test]
    fn a_checkpoint_keeps_the_seed_alone() {
        let json = serde_json::to_string(&Draws::new(42)).unwrap();
        assert_eq!(json, "42");
        assert_eq!(
            serde_json::from_str::<Draws>(&json).unwrap(),
            Draws::new(42)
        );
    }
}

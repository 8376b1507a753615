//! The standard normal numbers behind the projection's ensemble.
//!
//! Owns one fixed table of them, so that the same run-off always gets the same answer and successive
//! projections differ by what was learnt and not by luck.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

/// Curves drawn for one projection.
pub const DRAWS: usize = 160;
/// Steps along the remaining run-off.
pub const STEPS: usize = 72;
/// Independent quantities of one draw beside its path: the shape, the offset, the meter, the volume, the
/// flow, the pH law.
pub const QUANTITIES: usize = 10;

/// The table; only its seed is kept in a checkpoint.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(from = "u64", into = "u64")]
pub struct Draws {
    seed: u64,
    quantities: Vec<[f64; QUANTITIES]>,
    paths: Vec<[f64; STEPS]>,
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
        // Latin hypercube for the quantities: each takes every one of DRAWS equally likely slices once.
        let mut quantities = vec![[0.0; QUANTITIES]; DRAWS];
        for column in 0..QUANTITIES {
            for (row, slice) in quantities.iter_mut().zip(shuffled(&mut state)) {
                let probability = (slice as f64 + 0.5) / DRAWS as f64;
                row[column] = normal.inverse_cdf(probability);
            }
        }
        let paths = (0..DRAWS)
            .map(|_| std::array::from_fn(|_| normal.inverse_cdf(uniform(&mut state))))
            .collect();
        Self {
            seed,
            quantities,
            paths,
        }
    }

    /// A seed from a brew's name: FNV-1a (Fowler, Noll & Vo).
    pub fn seed_of(name: &str) -> u64 {
        name.bytes().fold(0xcbf29ce484222325, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x100000001b3)
        })
    }

    pub fn quantities(&self, draw: usize) -> &[f64; QUANTITIES] {
        &self.quantities[draw]
    }

    pub fn path(&self, draw: usize) -> &[f64; STEPS] {
        &self.paths[draw]
    }
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

fn shuffled(state: &mut u64) -> Vec<usize> {
    let mut order: Vec<usize> = (0..DRAWS).collect();
    for last in (1..DRAWS).rev() {
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
        let all: f64 = (0..DRAWS)
            .flat_map(|draw| draws.path(draw))
            .map(|value| value * value)
            .sum();
        assert!((all / (DRAWS * STEPS) as f64 - 1.0).abs() < 0.05);
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

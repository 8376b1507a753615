//! The shape of runnings gravity over run-off volume.
//!
//! Owns the family of curves that a washed bed can follow: a plateau of first wort, a breakthrough whose
//! steepness is the bed's dispersion, and a slower tail from wort that the flow reaches late. It knows volume
//! only; doubts and data belong to the fit.

use nalgebra::SVector;
use serde::{Deserialize, Serialize};

/// Number of shape parameters.
pub const SHAPES: usize = 5;

/// A point in the space in which the fit works: unbounded, roughly Gaussian a priori.
pub type ShapeVector = SVector<f64, SHAPES>;

/// One curve.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Curve {
    pub first_wort_gravity_p: f64,
    /// Run-off volume at which half of the quickly washed wort is displaced.
    pub breakthrough_l: f64,
    /// Steepness of the breakthrough: the exponent of the log-logistic survival 1/(1 + (V/V₁)^p).
    pub steepness: f64,
    /// Share of the extract that comes slowly.
    pub tail_share: f64,
    /// Scale of the slow part as a multiple of the breakthrough volume.
    pub tail_scale: f64,
}

impl Curve {
    pub fn from_vector(vector: &ShapeVector) -> Self {
        Self {
            first_wort_gravity_p: vector[0],
            breakthrough_l: vector[1].exp(),
            steepness: vector[2].exp(),
            tail_share: 1.0 / (1.0 + (-vector[3]).exp()),
            tail_scale: vector[4].exp(),
        }
    }

    pub fn to_vector(&self) -> ShapeVector {
        ShapeVector::from([
            self.first_wort_gravity_p,
            self.breakthrough_l.ln(),
            self.steepness.ln(),
            (self.tail_share / (1.0 - self.tail_share)).ln(),
            self.tail_scale.ln(),
        ])
    }

    /// Share of the first wort's gravity left in the runnings at `volume_l`, 1 to 0, never rising.
    pub fn remaining_share(&self, volume_l: f64) -> f64 {
        if volume_l <= 0.0 {
            return 1.0;
        }
        let reduced = volume_l / self.breakthrough_l;
        let quick = 1.0 / (1.0 + reduced.powf(self.steepness));
        // Two stirred stages in series: level at first, exponential at last.
        let late = reduced / self.tail_scale;
        let slow = (1.0 + late) * (-late).exp();
        (1.0 - self.tail_share) * quick + self.tail_share * slow
    }

    pub fn gravity_p(&self, volume_l: f64) -> f64 {
        self.first_wort_gravity_p * self.remaining_share(volume_l)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn every_curve_starts_at_first_wort_and_only_falls(
            first_wort in 8.0_f64..25.0, breakthrough in 50.0_f64..8000.0, steepness in 1.5_f64..20.0,
            share in 0.02_f64..0.9, scale in 0.1_f64..2.0,
        ) {
            let curve = Curve { first_wort_gravity_p: first_wort, breakthrough_l: breakthrough, steepness,
                tail_share: share, tail_scale: scale };
            prop_assert!((curve.gravity_p(0.0) - first_wort).abs() < 1e-9);
            let mut last = first_wort + 1e-9;
            for step in 1..200 {
                let gravity_p = curve.gravity_p(breakthrough * f64::from(step) / 40.0);
                prop_assert!(gravity_p <= last && gravity_p >= 0.0);
                last = gravity_p + 1e-12;
            }
        }

        #[test]
        fn vector_and_curve_are_the_same_thing(
            first_wort in 8.0_f64..25.0, breakthrough in 50.0_f64..8000.0, steepness in 1.5_f64..20.0,
            share in 0.02_f64..0.9, scale in 0.1_f64..2.0,
        ) {
            let curve = Curve { first_wort_gravity_p: first_wort, breakthrough_l: breakthrough, steepness,
                tail_share: share, tail_scale: scale };
            let back = Curve::from_vector(&curve.to_vector());
            prop_assert!((back.breakthrough_l / breakthrough - 1.0).abs() < 1e-9);
            prop_assert!((back.tail_share - share).abs() < 1e-9);
        }
    }
}

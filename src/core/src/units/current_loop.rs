//! The 4–20 mA current loop: from current to span, and what a current outside it means.
//!
//! Owns NAMUR NE 43. What the span's value stands for is the instrument's concern.

use serde::{Deserialize, Serialize};

/// NE 43 (2003): below this the loop says "failure", mA.
pub const LOOP_FAILURE_LOW_MA: f64 = 3.6;

/// NE 43: the lowest current that still is a measurement within range, mA.
pub const LOOP_RANGE_LOW_MA: f64 = 3.8;

/// NE 43: the highest current that still is a measurement within range, mA.
pub const LOOP_RANGE_HIGH_MA: f64 = 20.5;

/// NE 43: above this the loop says "failure", mA.
pub const LOOP_FAILURE_HIGH_MA: f64 = 21.0;

/// What a loop current says about the measurement, after NAMUR NE 43.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LoopState {
    /// Below 3.6 mA (or not a number): broken wire or a failure signalled low.
    FaultLow,
    /// 3.6 to 3.8 mA: measured, but below the span.
    BelowRange,
    /// 3.8 to 20.5 mA.
    InRange,
    /// 20.5 to 21 mA: measured, but above the span.
    AboveRange,
    /// Above 21 mA: short circuit or a failure signalled high.
    FaultHigh,
}

impl LoopState {
    /// Whether the current stands for a measured value at all.
    pub fn is_measured(self) -> bool {
        !matches!(self, Self::FaultLow | Self::FaultHigh)
    }
}

/// NE 43 state of a loop current in mA.
pub fn loop_state(current_ma: f64) -> LoopState {
    if current_ma > LOOP_FAILURE_HIGH_MA {
        LoopState::FaultHigh
    } else if current_ma > LOOP_RANGE_HIGH_MA {
        LoopState::AboveRange
    } else if current_ma >= LOOP_RANGE_LOW_MA {
        LoopState::InRange
    } else if current_ma >= LOOP_FAILURE_LOW_MA {
        LoopState::BelowRange
    } else {
        LoopState::FaultLow
    }
}

/// Value for a current in mA, on the straight line through the span's ends; beyond them it continues.
pub fn loop_to_span(current_ma: f64, at_4_ma: f64, at_20_ma: f64) -> f64 {
    at_4_ma + (current_ma - 4.0) / 16.0 * (at_20_ma - at_4_ma)
}

/// Current in mA for a value of the span: the inverse of [`loop_to_span`]; not finite for a span without width.
pub fn span_to_loop(value: f64, at_4_ma: f64, at_20_ma: f64) -> f64 {
    4.0 + 16.0 * (value - at_4_ma) / (at_20_ma - at_4_ma)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// NAMUR NE 43 limits, each side of each.
    #[test]
    fn loop_states_change_at_the_limits_of_ne_43() {
        for (current, state) in [
            (0.0, LoopState::FaultLow),
            (3.59, LoopState::FaultLow),
            (3.6, LoopState::BelowRange),
            (3.79, LoopState::BelowRange),
            (3.8, LoopState::InRange),
            (20.5, LoopState::InRange),
            (20.51, LoopState::AboveRange),
            (21.0, LoopState::AboveRange),
            (21.01, LoopState::FaultHigh),
            (f64::NAN, LoopState::FaultLow),
        ] {
            assert_eq!(loop_state(current), state, "{current} mA");
        }
    }

    #[test]
    fn half_span_is_twelve_milliampere() {
        assert!((loop_to_span(12.0, 0.0, 100.0) - 50.0).abs() < 1e-12);
        assert!((loop_to_span(4.0, 900.0, 1150.0) - 900.0).abs() < 1e-12);
        assert!((loop_to_span(20.0, 900.0, 1150.0) - 1150.0).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn value_survives_the_round_trip_through_the_loop(
            value in -100.0..2000.0f64, low in -50.0..50.0f64, width in 1.0..1500.0f64
        ) {
            let back = loop_to_span(span_to_loop(value, low, low + width), low, low + width);
            prop_assert!((back - value).abs() < 1e-8);
        }
    }
}

//! pH of wort between the line and the laboratory, and the electrode's slope.
//!
//! Owns two different things that both go by "temperature compensation": the electrode's slope, which every meter
//! corrects itself, and the wort's own acidity, which none does. A limit of pH 6 for a cooled sample is about 5.6 in
//! the line, so a value never travels without its basis.

use super::water::ZERO_CELSIUS_K;

/// Fall of wort pH on heating, 1/K: about 0.35 lower at 65 °C and 0.45 lower at 78 °C than at room temperature (Briggs,
/// Boulton, Brookes & Stevens, *Brewing: Science and Practice*, 2004). Both points lie on one straight line.
const WORT_PH_FALL_PER_C: f64 = 0.00777;

/// Room temperature of a laboratory pH, °C.
const ROOM_C: f64 = 20.0;

/// pH the same wort has when cooled to 20 °C, from the pH read at `temperature_c` in °C.
///
/// Source: Briggs et al. 2004; an average over worts, good to about 0.05.
pub fn ph_at_room(ph_process: f64, temperature_c: f64) -> f64 {
    ph_process + WORT_PH_FALL_PER_C * (temperature_c - ROOM_C)
}

/// pH the wort has at `temperature_c` in °C, from the pH of the sample cooled to 20 °C: the inverse of [`ph_at_room`].
pub fn ph_in_process(ph_room: f64, temperature_c: f64) -> f64 {
    ph_room - WORT_PH_FALL_PER_C * (temperature_c - ROOM_C)
}

/// Slope of an ideal pH electrode, mV per pH, at `temperature_c` in °C: R·T·ln 10/F (Nernst; CODATA 2018).
pub fn nernst_slope_mv_per_ph(temperature_c: f64) -> f64 {
    const GAS_CONSTANT_J_MOL_K: f64 = 8.314462618;
    const FARADAY_C_MOL: f64 = 96485.33212;
    1e3 * GAS_CONSTANT_J_MOL_K * (temperature_c + ZERO_CELSIUS_K) * std::f64::consts::LN_10
        / FARADAY_C_MOL
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Briggs et al. 2004: about 0.35 lower at 65 °C, 0.45 lower at 78 °C. 0.005: half the last digit.
    #[test]
    fn wort_reads_lower_in_the_line_than_cooled() {
        assert!((5.8 - ph_in_process(5.8, 65.0) - 0.35).abs() < 0.005);
        assert!((5.8 - ph_in_process(5.8, 78.0) - 0.45).abs() < 0.005);
    }

    /// R·T·ln 10/F with CODATA 2018. 0.0006 mV: half the last digit.
    #[test]
    fn electrode_slope_is_that_of_nernst() {
        for (t, slope) in [(20.0, 58.167), (25.0, 59.159), (75.0, 69.080)] {
            let got = nernst_slope_mv_per_ph(t);
            assert!((got - slope).abs() <= 6e-4, "{t} °C: {got}");
        }
    }

    proptest! {
        #[test]
        fn ph_survives_the_round_trip_between_line_and_laboratory(ph in 4.0..8.0f64, t in 0.0..100.0f64) {
            prop_assert!((ph_in_process(ph_at_room(ph, t), t) - ph).abs() < 1e-12);
        }
    }
}

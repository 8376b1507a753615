//! The constants of loop checks and corrections.

use crate::reading::Measures;

/// How checks are judged and which corrections are believable.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parameters {
    /// Share of the span of the applied values that two of them must lie apart to be different levels, 0.01 to 0.2. Own
    /// choice: a quarter of the range lies between levels, and buffers vary with their temperature.
    pub level_gap_share: f64,
    /// Degrees of freedom from which the coverage factor is 2, 20 to 1000. Student's factor is 2.05 there (JCGM 100
    /// table G.2). Own choice.
    pub enough_freedom: f64,
    /// What the fall of wort pH on heating is right to, pH, 0 to 0.2: an average over worts, good to about 0.05 (Briggs
    /// et al. 2004), taken as the half-width of a rectangle.
    pub ph_shift_limit: f64,
    /// Least and greatest slope of an electrode that is still corrected, % of Nernst, 50 to 150. Common practice, no
    /// source: beyond it the electrode is broken, dry or in the wrong buffer.
    pub slope_low_percent: f64,
    pub slope_high_percent: f64,
    /// Greatest offset of an electrode that is still corrected, mV, 10 to 120. Common practice, no source: about one pH.
    pub offset_limit_mv: f64,
    /// Slope below which an electrode is at its end, %, 50 to 100. Common practice, no source.
    pub worn_slope_percent: f64,
    /// Offset beyond which an electrode is at its end, mV, 5 to 60. Common practice, no source.
    pub worn_offset_mv: f64,
    /// Least distance between two buffers, pH, 0.5 to 6. DIN 19268 asks for more than 2 where possible.
    pub buffer_gap_ph: f64,
    /// Share of these least distances within which two applied values are one that was repeated, 0.01 to 0.5. Own choice:
    /// a buffer varies by less with its temperature, a solution by less from one drawing to the next.
    pub same_value_share: f64,
    /// Greatest correction of a gravity as a share of the instrument's range, 0.001 to 0.2. Own choice: 0.05 of 900 to
    /// 1150 kg/m³ is about 3 °P; an instrument that is further off needs mending.
    pub shift_share: f64,
    /// Least distance between the two points of a gravity correction as a share of the range, 0.001 to 0.5. Own choice:
    /// water and a solution of 10 °P lie 0.16 of that range apart.
    pub gravity_gap_share: f64,
}

impl Default for Parameters {
    fn default() -> Self {
        Self {
            level_gap_share: 0.1,
            enough_freedom: 50.0,
            ph_shift_limit: 0.05,
            slope_low_percent: 75.0,
            slope_high_percent: 110.0,
            offset_limit_mv: 60.0,
            worn_slope_percent: 90.0,
            worn_offset_mv: 30.0,
            buffer_gap_ph: 1.5,
            same_value_share: 0.1,
            shift_share: 0.05,
            gravity_gap_share: 0.05,
        }
    }
}

impl Parameters {
    /// Everything outside its range, as sentences.
    pub fn check(&self) -> Vec<String> {
        crate::units::outside_ranges(&[
            ("level_gap_share", self.level_gap_share, 0.01, 0.2),
            ("enough_freedom", self.enough_freedom, 20.0, 1000.0),
            ("ph_shift_limit", self.ph_shift_limit, 0.0, 0.2),
            ("slope_low_percent", self.slope_low_percent, 50.0, 100.0),
            ("slope_high_percent", self.slope_high_percent, 100.0, 150.0),
            ("offset_limit_mv", self.offset_limit_mv, 10.0, 120.0),
            ("worn_slope_percent", self.worn_slope_percent, 50.0, 100.0),
            ("worn_offset_mv", self.worn_offset_mv, 5.0, 60.0),
            ("buffer_gap_ph", self.buffer_gap_ph, 0.5, 6.0),
            ("same_value_share", self.same_value_share, 0.01, 0.5),
            ("shift_share", self.shift_share, 0.001, 0.2),
            ("gravity_gap_share", self.gravity_gap_share, 0.001, 0.5),
        ])
    }
}

/// Days from one check to the next where nobody said otherwise. Common practice, no source: electrodes age within weeks,
/// what vibrates or is magnetic within years.
pub(super) fn usual_interval_days(measures: Measures) -> f64 {
    match measures {
        Measures::RunningsPh => 30.0,
        Measures::RunningsGravity | Measures::KettleGravity | Measures::RunningsTurbidity => 182.0,
        _ => 365.0,
    }
}

impl Measures {
    /// Days from one loop check of such an instrument to the next, where nobody said otherwise.
    pub fn usual_check_interval_days(self) -> f64 {
        usual_interval_days(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_defaults_lie_within_their_own_ranges() {
        assert_eq!(Parameters::default().check(), Vec::<String>::new());
        let wrong = Parameters {
            buffer_gap_ph: 0.0,
            ..Parameters::default()
        };
        assert!(wrong.check()[0].starts_with("buffer_gap_ph is 0"));
    }
}

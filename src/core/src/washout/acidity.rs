//! pH of the runnings as the extract washes out.
//!
//! Owns the rise of pH with the fall of gravity: the buffers leave with the extract. Whether pH follows the share
//! of extract gone, its square or its logarithm depends on malt and liquor, so all stand in the law and the run-off
//! decides; a discrepancy of its own keeps it from being sure. Works on whichever pH basis the plan names; the
//! conversion is the units' work.

use nalgebra::{Matrix4, Vector4};
use serde::{Deserialize, Serialize};

/// What is believed about pH before it is measured. Common practice, no source; wide.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct AcidityParameters {
    /// pH of the first wort on the plan's basis, 4.5 to 6.5, and its standard deviation.
    pub first_wort_ph: f64,
    pub first_wort_sd_ph: f64,
    /// pH gained when the gravity falls by a factor e, 0 to 1, and its standard deviation.
    pub rise_ph: f64,
    pub rise_sd_ph: f64,
    /// pH gained in proportion to the share of extract gone, 0 to 1.5, and its standard deviation.
    pub share_rise_ph: f64,
    pub share_rise_sd_ph: f64,
    /// pH gained in proportion to the square of the share of extract gone, −0.5 to 1.5, and its standard deviation:
    /// where the buffers hold at first and give way late.
    pub late_rise_ph: f64,
    pub late_rise_sd_ph: f64,
    /// Standard deviation of the law's own error, pH, 0.005 to 0.5.
    pub discrepancy_sd_ph: f64,
    /// Standard deviation of the electrode's calibration, pH, 0.005 to 0.3. Some hundredths after careful buffering:
    /// common practice, no source. No reading of its own can show it.
    pub calibration_sd_ph: f64,
}

impl Default for AcidityParameters {
    fn default() -> Self {
        Self {
            first_wort_ph: 5.35,
            first_wort_sd_ph: 0.2,
            rise_ph: 0.05,
            rise_sd_ph: 0.08,
            share_rise_ph: 0.25,
            share_rise_sd_ph: 0.25,
            late_rise_ph: 0.12,
            late_rise_sd_ph: 0.25,
            discrepancy_sd_ph: 0.025,
            calibration_sd_ph: 0.04,
        }
    }
}

impl AcidityParameters {
    /// Everything outside its range, as sentences.
    pub fn check(&self) -> Vec<String> {
        crate::units::outside_ranges(&[
            ("first_wort_ph", self.first_wort_ph, 4.5, 6.5),
            ("first_wort_sd_ph", self.first_wort_sd_ph, 0.01, 1.0),
            ("rise_ph", self.rise_ph, 0.0, 1.0),
            ("rise_sd_ph", self.rise_sd_ph, 0.005, 0.5),
            ("share_rise_ph", self.share_rise_ph, 0.0, 1.5),
            ("share_rise_sd_ph", self.share_rise_sd_ph, 0.005, 1.0),
            ("late_rise_ph", self.late_rise_ph, -0.5, 1.5),
            ("late_rise_sd_ph", self.late_rise_sd_ph, 0.005, 1.0),
            ("discrepancy_sd_ph", self.discrepancy_sd_ph, 0.005, 0.5),
            ("calibration_sd_ph", self.calibration_sd_ph, 0.005, 0.3),
        ])
    }
}

/// Belief about pH = intercept + rise · ln(first wort / runnings) + share rise · g + late rise · g², where g is the share
/// of gravity gone, 1 − runnings / first wort.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Acidity {
    parameters: AcidityParameters,
    mean: Vector4<f64>,
    covariance: Matrix4<f64>,
    /// Washing, ln(first wort / runnings), of the last reading used, and what it missed by.
    last: Option<(f64, f64)>,
    /// The electrode's reading minus the truth, mean and variance; nought until an electrode has been read.
    calibration: (f64, f64),
}

/// Readings closer together in washing than this share one discrepancy and are not counted twice.
const SPACING: f64 = 0.04;
/// Distance in washing over which the discrepancy is forgotten.
const MEMORY: f64 = 0.5;

/// ln of first wort over runnings gravity; runnings below 0.2 °P count as 0.2, where the law ends.
pub(crate) fn washing(first_wort_gravity_p: f64, gravity_p: f64) -> f64 {
    (first_wort_gravity_p / gravity_p.max(0.2)).ln().max(0.0)
}

/// What each parameter of the law is multiplied with.
fn regressors(washing: f64) -> Vector4<f64> {
    let gone = 1.0 - (-washing).exp();
    Vector4::new(1.0, washing, gone, gone * gone)
}

impl Acidity {
    pub fn new(parameters: AcidityParameters) -> Self {
        Self {
            parameters,
            mean: Vector4::new(
                parameters.first_wort_ph,
                parameters.rise_ph,
                parameters.share_rise_ph,
                parameters.late_rise_ph,
            ),
            covariance: Matrix4::from_diagonal(&Vector4::new(
                parameters.first_wort_sd_ph.powi(2),
                parameters.rise_sd_ph.powi(2),
                parameters.share_rise_sd_ph.powi(2),
                parameters.late_rise_sd_ph.powi(2),
            )),
            last: None,
            calibration: (0.0, 0.0),
        }
    }

    /// An electrode is being read: what it says may be off by its calibration.
    pub fn note_electrode(&mut self) {
        if self.calibration.1 <= 0.0 {
            self.calibration.1 = self.parameters.calibration_sd_ph.powi(2);
        }
    }

    /// A hand sample taken while the electrode read `line_ph`, both on the plan's basis.
    pub fn compare(&mut self, line_ph: f64, sample_ph: f64, sample_sd_ph: f64) {
        let (mean, variance) = self.calibration;
        let gain = variance / (variance + sample_sd_ph.powi(2));
        let miss = (line_ph - sample_ph) - mean;
        self.calibration = (mean + gain * miss, (1.0 - gain) * variance);
    }

    /// The runnings' pH at a gravity.
    pub fn observe(
        &mut self,
        first_wort_gravity_p: f64,
        gravity_p: f64,
        ph: f64,
        noise_sd_ph: f64,
    ) {
        let washing = washing(first_wort_gravity_p, gravity_p);
        let row = regressors(washing);
        if self
            .last
            .is_none_or(|(used, _)| (washing - used).abs() >= SPACING)
        {
            // The discrepancy of neighbours is common: counting each reading as independent would make the
            // line surer than the law is.
            let variance = noise_sd_ph.powi(2)
                + self.parameters.discrepancy_sd_ph.powi(2) * MEMORY / SPACING / 4.0;
            let spread = self.covariance * row;
            let gain = spread / (row.dot(&spread) + variance);
            self.mean += gain * (ph - row.dot(&self.mean));
            self.covariance -= gain * spread.transpose();
        } else if self.last.is_some_and(|(used, _)| washing < used) {
            return;
        }
        let used = self
            .last
            .filter(|(used, _)| (washing - used).abs() < SPACING)
            .map_or(washing, |(used, _)| used);
        self.last = Some((used, ph - row.dot(&self.mean)));
    }

    /// As [`Self::observe`], for what was read earlier than the last that is known: it moves the law, and the line goes
    /// on from the last.
    pub fn observe_late(
        &mut self,
        first_wort_gravity_p: f64,
        gravity_p: f64,
        ph: f64,
        noise_sd_ph: f64,
    ) {
        let read = washing(first_wort_gravity_p, gravity_p);
        let later = self.last.take_if(|(used, _)| *used > read);
        self.observe(first_wort_gravity_p, gravity_p, ph, noise_sd_ph);
        if later.is_some() {
            self.last = later;
        }
    }

    /// Whether any pH has been read in this run-off.
    pub fn is_begun(&self) -> bool {
        self.last.is_some()
    }

    /// pH by the law alone, as believed now, when `share_left` of the first wort's gravity is left, 0 to 1.
    pub fn by_law(&self, share_left: f64) -> f64 {
        regressors(-share_left.clamp(0.01, 1.0).ln()).dot(&self.mean)
    }

    /// The true pH expected at a washing, and its standard deviation with the electrode's doubt.
    pub fn expected_truth_at(&self, washing: f64) -> (f64, f64) {
        let (reading, standard_deviation) = self.expected_at(washing);
        let (off, off_variance) = self.calibration;
        (reading - off, standard_deviation.hypot(off_variance.sqrt()))
    }

    /// Washing, ln(first wort / runnings), of the last reading used; nought before the first.
    pub fn last_washing(&self) -> f64 {
        self.last.map_or(0.0, |(used, _)| used)
    }

    /// The reading expected at a washing, ln(first wort / runnings), and its standard deviation.
    pub fn expected_at(&self, washing: f64) -> (f64, f64) {
        let row = regressors(washing);
        let law_variance = row.dot(&(self.covariance * row));
        let own = self.parameters.discrepancy_sd_ph.powi(2);
        let (offset, own_variance) = self.last.map_or((0.0, own), |(used, miss)| {
            let rho = (-(washing - used).max(0.0) / MEMORY).exp();
            // Having read the pH at `used` settles most of the line there; what is left grows with distance.
            (rho * miss, own * (1.0 - rho * rho))
        });
        let near = self.last.map_or(1.0, |(used, _)| {
            1.0 - (-(washing - used).max(0.0) / MEMORY).exp()
        });
        (
            row.dot(&self.mean) + offset,
            (law_variance * near + own_variance).max(0.0).sqrt(),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rise_is_learnt_from_the_run_off_itself() {
        let mut acidity = Acidity::new(AcidityParameters::default());
        for step in 0..400 {
            let gravity_p = 18.0 * (-f64::from(step) * 0.003).exp();
            let ph = 5.4 + 0.3 * (18.0 / gravity_p).ln();
            acidity.observe(18.0, gravity_p, ph, 0.01);
        }
        let (ph, sd) = acidity.expected_at(washing(18.0, 3.0));
        let truth = 5.4 + 0.3 * 6.0_f64.ln();
        assert!(
            (ph - truth).abs() < 2.0 * sd + 0.02,
            "{ph} ± {sd} for {truth}"
        );
        assert!((ph - truth).abs() < 0.09, "{ph} for {truth}");
    }

    #[test]
    fn a_rise_in_proportion_to_the_extract_gone_is_learnt_as_well() {
        let law = |gravity_p: f64| 5.3 + 0.8 * (1.0 - gravity_p / 18.0);
        let mut acidity = Acidity::new(AcidityParameters::default());
        for step in 0..360 {
            let gravity_p = 18.0 * (-f64::from(step) * 0.003).exp();
            acidity.observe(18.0, gravity_p, law(gravity_p), 0.01);
        }
        let (ph, sd) = acidity.expected_at(washing(18.0, 3.0));
        assert!(
            (ph - law(3.0)).abs() < 2.0 * sd && (ph - law(3.0)).abs() < 0.08,
            "{ph} ± {sd} for {}",
            law(3.0)
        );
    }

    #[test]
    fn hand_samples_show_what_an_electrode_is_off_by() {
        let mut acidity = Acidity::new(AcidityParameters::default());
        acidity.note_electrode();
        let (_, alone) = acidity.expected_truth_at(1.0);
        for _ in 0..8 {
            acidity.compare(5.56, 5.50, 0.05);
        }
        let (reading, _) = acidity.expected_at(1.0);
        let (truth, sampled) = acidity.expected_truth_at(1.0);
        assert!(
            (reading - truth - 0.06).abs() < 0.015,
            "{}",
            reading - truth
        );
        assert!(sampled < alone);
    }

    #[test]
    fn before_a_reading_the_doubt_is_wide() {
        let (_, sd) = Acidity::new(AcidityParameters::default()).expected_at(washing(18.0, 3.0));
        assert!(sd > 0.2);
    }
}

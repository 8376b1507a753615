//! What is made of a reading: an electrode's offset and slope, or a straight line.
//!
//! Owns finding it from measured points and applying it. The instrument itself is never touched, so that a correction can
//! be taken back.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::applied::{Applied, ReferenceError};
use super::parameters::Parameters;
use crate::reading::Measures;
use crate::units::{Unit, nernst_slope_mv_per_ph};

/// pH at which an electrode's potential does not depend on temperature.
const ISOPOTENTIAL_PH: f64 = 7.0;

/// Temperature of a buffer that nobody measured, °C: the one for which buffers are named.
const UNTOLD_C: f64 = 25.0;

/// How a reading is corrected.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(tag = "method", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Rule {
    /// The electrode gives `offset_mv` at pH 7 instead of nothing, and `slope_percent` of Nernst's slope at whatever
    /// temperature it has. The transmitter is taken to reckon with an ideal electrode and its own temperature.
    Electrode { offset_mv: f64, slope_percent: f64 },
    /// `slope` × reading + `offset`, in the unit of the reading.
    Line { slope: f64, offset: f64 },
}

/// A rule with the version under which the record knows it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Correction {
    pub version: u32,
    pub rule: Rule,
}

/// An applied value and what the instrument read before any correction.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct MeasuredPoint {
    pub applied: Applied,
    pub reading: f64,
}

/// Points of one correction at most: five approaches of four applied values.
pub const POINTS_BOUND: usize = 20;

/// Which kind of correction an instrument can have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    Electrode,
    Line,
}

impl Method {
    /// None for what is better adjusted at the instrument: there a correction would move counted volumes.
    pub fn of(measures: Measures) -> Option<Self> {
        match measures {
            Measures::RunningsPh => Some(Self::Electrode),
            Measures::RunningsGravity | Measures::KettleGravity => Some(Self::Line),
            _ => None,
        }
    }
}

/// Why there is no correction.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum CorrectionFault {
    #[error(
        "only pH and gravity are corrected here; adjust this instrument by its maker's instructions and record the loop \
         check as-found and as-left"
    )]
    NotForThis,
    #[error("{given} points were given; needed are 1 to {POINTS_BOUND}")]
    Points { given: usize },
    #[error("point {number}: {error}")]
    Reference {
        number: usize,
        error: ReferenceError,
    },
    #[error("a reading is not a finite number")]
    NotFinite,
    #[error(
        "the two applied values are only {distance:.3} {} apart; needed are at least {needed:.3}", .unit.name()
    )]
    TooClose {
        distance: f64,
        needed: f64,
        unit: Unit,
    },
    #[error(
        "the electrode would have a slope of {slope_percent:.1} % and an offset of {offset_mv:.1} mV; believable are \
         {low} to {high} % and up to {limit_mv} mV either way. Are the buffers fresh, told apart and the reading steady? \
         Else clean or replace the electrode"
    )]
    Electrode {
        slope_percent: f64,
        offset_mv: f64,
        low: f64,
        high: f64,
        limit_mv: f64,
    },
    #[error(
        "a reading would be moved by {shift:.3} {}; allowed are {allowed:.3}. Is the reference right? Else have the \
         instrument seen to", .unit.name()
    )]
    TooFar {
        shift: f64,
        allowed: f64,
        unit: Unit,
    },
}

/// The instrument that is corrected.
#[derive(Clone, Copy, Debug)]
pub struct Subject {
    pub measures: Measures,
    /// Of its readings: the span's for a current loop.
    pub unit: Unit,
    /// Its range in that unit.
    pub low: f64,
    pub high: f64,
    pub wort_factor: f64,
}

impl Rule {
    /// The correction that makes the readings of some points right, by least squares where they are more than two. Points
    /// of one applied value, once or repeated, move all readings alike; those of two or more also set the slope.
    ///
    /// # Errors
    /// [`CorrectionFault`]: which point is wrong, or that no sound instrument can be so far off.
    pub fn of_points(
        subject: &Subject,
        points: &[MeasuredPoint],
        parameters: &Parameters,
    ) -> Result<Self, CorrectionFault> {
        let method = Method::of(subject.measures).ok_or(CorrectionFault::NotForThis)?;
        if !(1..=POINTS_BOUND).contains(&points.len()) {
            return Err(CorrectionFault::Points {
                given: points.len(),
            });
        }
        if points.iter().any(|point| !point.reading.is_finite()) {
            return Err(CorrectionFault::NotFinite);
        }
        let mut measured = Vec::new();
        for (index, point) in points.iter().enumerate() {
            let applied = point
                .applied
                .value(subject.unit, subject.wort_factor)
                .map_err(|error| CorrectionFault::Reference {
                    number: index + 1,
                    error,
                })?;
            let temperature_c = point.applied.temperature_c().unwrap_or(UNTOLD_C);
            measured.push((applied, point.reading, temperature_c));
        }
        match method {
            Method::Electrode => electrode(&measured, parameters),
            Method::Line => line(subject, &measured, parameters),
        }
    }

    /// The corrected reading; `temperature_c` is the electrode's.
    pub fn apply(self, reading: f64, temperature_c: f64) -> f64 {
        match self {
            Self::Electrode {
                offset_mv,
                slope_percent,
            } => {
                let offset_ph = offset_mv / nernst_slope_mv_per_ph(temperature_c);
                ISOPOTENTIAL_PH + (reading - ISOPOTENTIAL_PH + offset_ph) / (0.01 * slope_percent)
            }
            Self::Line { slope, offset } => slope * reading + offset,
        }
    }

    /// Whether the temperature matters.
    pub fn needs_temperature(self) -> bool {
        matches!(self, Self::Electrode { .. })
    }

    /// The range of corrected readings from a range of readings, at any temperature wort has.
    pub(crate) fn range(self, low: f64, high: f64) -> (f64, f64) {
        let ends = [0.0, 100.0].map(|celsius| [low, high].map(|end| self.apply(end, celsius)));
        let all = ends.iter().flatten().copied();
        (
            all.clone().fold(f64::INFINITY, f64::min),
            all.fold(f64::NEG_INFINITY, f64::max),
        )
    }

    /// The electrode works, but not for long: offset or slope are near the end.
    pub fn is_worn(self, parameters: &Parameters) -> bool {
        match self {
            Self::Electrode {
                offset_mv,
                slope_percent,
            } => {
                slope_percent < parameters.worn_slope_percent
                    || offset_mv.abs() > parameters.worn_offset_mv
            }
            Self::Line { .. } => false,
        }
    }
}

/// The potential of an electrode is E = E₀ − s·k(T)·(pH − 7); its transmitter shows 7 − E/k(T).
fn electrode(
    measured: &[(f64, f64, f64)],
    parameters: &Parameters,
) -> Result<Rule, CorrectionFault> {
    // Ideal and real potential against the isopotential point, mV.
    let potentials = measured.iter().map(|(applied, reading, temperature_c)| {
        let nernst = nernst_slope_mv_per_ph(*temperature_c);
        (
            -nernst * (applied - ISOPOTENTIAL_PH),
            -nernst * (reading - ISOPOTENTIAL_PH),
        )
    });
    let potentials: Vec<(f64, f64)> = potentials.collect();
    let needed = parameters.buffer_gap_ph;
    let slope = match spread(measured.iter().map(|point| point.0)) {
        distance if distance <= parameters.same_value_share * needed => 1.0,
        distance if distance < needed => {
            return Err(CorrectionFault::TooClose {
                distance,
                needed,
                unit: Unit::Ph,
            });
        }
        _ => slope(&potentials),
    };
    let (ideal, real) = centre(&potentials);
    let offset_mv = real - slope * ideal;
    let slope_percent = 100.0 * slope;
    let believable = (parameters.slope_low_percent..=parameters.slope_high_percent)
        .contains(&slope_percent)
        && offset_mv.abs() <= parameters.offset_limit_mv;
    if !believable {
        return Err(CorrectionFault::Electrode {
            slope_percent,
            offset_mv,
            low: parameters.slope_low_percent,
            high: parameters.slope_high_percent,
            limit_mv: parameters.offset_limit_mv,
        });
    }
    Ok(Rule::Electrode {
        offset_mv,
        slope_percent,
    })
}

/// Greatest less least.
fn spread(values: impl Iterator<Item = f64> + Clone) -> f64 {
    values.clone().fold(f64::NEG_INFINITY, f64::max) - values.fold(f64::INFINITY, f64::min)
}

/// Means of both sides.
fn centre(pairs: &[(f64, f64)]) -> (f64, f64) {
    let count = pairs.len() as f64;
    let sums = pairs
        .iter()
        .fold((0.0, 0.0), |sums, pair| (sums.0 + pair.0, sums.1 + pair.1));
    (sums.0 / count, sums.1 / count)
}

/// Slope of the second on the first by least squares: what was applied is taken to be right, what was read to err.
fn slope(pairs: &[(f64, f64)]) -> f64 {
    let (mean_x, mean_y) = centre(pairs);
    let (mut products, mut squares) = (0.0, 0.0);
    for (x, y) in pairs {
        products += (x - mean_x) * (y - mean_y);
        squares += (x - mean_x).powi(2);
    }
    products / squares
}

fn line(
    subject: &Subject,
    measured: &[(f64, f64, f64)],
    parameters: &Parameters,
) -> Result<Rule, CorrectionFault> {
    let range = subject.high - subject.low;
    let pairs: Vec<(f64, f64)> = measured
        .iter()
        .map(|(applied, reading, _)| (*applied, *reading))
        .collect();
    let needed = parameters.gravity_gap_share * range;
    let applied_spread = spread(pairs.iter().map(|pair| pair.0));
    let slope = if applied_spread <= parameters.same_value_share * needed {
        1.0
    } else {
        // An instrument that stands still has no slope.
        let distance = applied_spread.min(spread(pairs.iter().map(|pair| pair.1)));
        if distance.is_nan() || distance < needed {
            return Err(CorrectionFault::TooClose {
                distance,
                needed,
                unit: subject.unit,
            });
        }
        1.0 / slope(&pairs)
    };
    let (applied, reading) = centre(&pairs);
    let offset = applied - slope * reading;
    let rule = Rule::Line { slope, offset };
    // Where the two points stand and at the ends of the range alike.
    let shift = [subject.low, subject.high]
        .map(|end| rule.apply(end, UNTOLD_C) - end)
        .into_iter()
        .fold(
            0.0,
            |far: f64, shift| if shift.abs() > far.abs() { shift } else { far },
        );
    let allowed = parameters.shift_share * range;
    if shift.is_nan() || shift.abs() > allowed {
        return Err(CorrectionFault::TooFar {
            shift,
            allowed,
            unit: subject.unit,
        });
    }
    Ok(rule)
}

//! A tun's habits: what its brews have in common, and how far each strays.
//!
//! Owns the quantities in which brews of different size and strength are alike, and their robust statistics. What
//! a bed holds back and over how much volume liquor mixes belongs to the grist, so that both are taken per kg of it
//! and not per planned volume. Robust middles and median deviations are shrunk towards what tuns in general do, so that
//! few brews teach little.

use serde::{Deserialize, Serialize};

use super::lesson::BrewLesson;
use crate::conditioning::median;
use crate::units::wort_density_kg_m3;
use crate::washout::Curve;

/// How a quantity lies over all tuns, and how far brews of one tun usually stray.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Population {
    pub mean: f64,
    /// Standard deviation from tun to tun.
    pub between: f64,
    /// Usual standard deviation from brew to brew on one tun.
    pub within: f64,
}

/// Tuns in general. Origin: brews of the simulated tuns in their wide ranges; no source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parameters {
    /// Wort that the bed holds back when liquor breaks through, L/kg, 0.3 to 2.
    pub held: Population,
    /// Logarithm of sharpness over breakthrough volume, kg/L: the corner's width belongs to the bed.
    pub sharpness: Population,
    /// Logarithm of decline over breakthrough volume, kg/L, with `DECLINE_WITH_SHARPNESS` of the one above: a fit
    /// that takes the corner for sharper takes the decline for slower.
    pub decline: Population,
    /// Bend beyond exponential over breakthrough volume, kg/L, with `BEND_WITH_DECLINE` of the decline's: what is
    /// steep at first has the longer tail.
    pub bend: Population,
    /// Logarithm of the extract that has left the bed `WASHED_L_PER_KG` after breakthrough, kg/kg.
    pub extract: Population,
    /// Logarithm of stop volume over planned volume. Common practice, no source: plans are out by some per cent,
    /// and most sites not in one direction.
    pub plan: Population,
    /// How many brews the usual spread from brew to brew counts for, 3 to 20.
    pub usual_spread_brews: f64,
}

impl Default for Parameters {
    fn default() -> Self {
        let population = |mean, between, within| Population {
            mean,
            between,
            within,
        };
        Self {
            held: population(1.0, 0.22, 0.065),
            sharpness: population(1.86, 0.35, 0.11),
            decline: population(0.61, 0.48, 0.09),
            bend: population(-0.29, 0.16, 0.05),
            extract: population(-0.377, 0.035, 0.047),
            plan: population(0.0, 0.012, 0.038),
            usual_spread_brews: 4.0,
        }
    }
}

/// Run-off after breakthrough by which the bed is mostly washed, L/kg; most brews are stopped near it.
pub(super) const WASHED_L_PER_KG: f64 = 2.5;
pub(super) const DECLINE_WITH_SHARPNESS: f64 = 0.4;
pub(super) const BEND_WITH_DECLINE: f64 = 0.9;
/// Temperature of the runnings for concentrations, °C; 5 K are worth 0.3 %.
const RUNNINGS_C: f64 = 75.0;

/// Extract in a litre of wort, kg/L.
pub(super) fn concentration_kg_l(gravity_p: f64) -> f64 {
    gravity_p / 100.0 * wort_density_kg_m3(gravity_p, RUNNINGS_C) / 1000.0
}

/// Extract that runs off with `volume_l`, kg.
fn washed_kg(curve: &Curve, volume_l: f64) -> f64 {
    const STEPS: u32 = 100;
    let step_l = volume_l / f64::from(STEPS);
    let sum: f64 = (0..STEPS)
        .map(|step| concentration_kg_l(curve.gravity_p((f64::from(step) + 0.5) * step_l)))
        .sum();
    sum * step_l
}

/// The quantities of one brew; None where the target was not reached.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Traits {
    pub held: f64,
    pub sharpness: f64,
    pub decline: f64,
    pub bend: f64,
    pub extract: f64,
    pub plan: f64,
}

impl Traits {
    pub fn of(lesson: &BrewLesson) -> Option<Self> {
        let (washout, stop) = (&lesson.washout, lesson.stop?);
        let breakthrough = washout.breakthrough_l_per_kg;
        let curve = Curve {
            first_wort_gravity_p: washout.first_wort_gravity_p,
            breakthrough_l: breakthrough,
            sharpness: washout.sharpness,
            decline: washout.decline,
            bend: washout.bend,
        };
        let extract = washed_kg(&curve, breakthrough + WASHED_L_PER_KG);
        let sharpness = (washout.sharpness / breakthrough).ln();
        let decline = (washout.decline / breakthrough).ln();
        let traits = Self {
            held: extract / concentration_kg_l(washout.first_wort_gravity_p) - breakthrough,
            sharpness,
            decline: decline + DECLINE_WITH_SHARPNESS * sharpness,
            bend: (washout.bend - 1.0) / breakthrough + BEND_WITH_DECLINE * decline,
            extract: extract.ln(),
            plan: (stop.volume_l_per_kg / lesson.planned_l_per_kg).ln(),
        };
        traits
            .all()
            .iter()
            .all(|value| value.is_finite())
            .then_some(traits)
    }

    pub fn all(&self) -> [f64; 6] {
        [
            self.held,
            self.sharpness,
            self.decline,
            self.bend,
            self.extract,
            self.plan,
        ]
    }
}

impl Parameters {
    pub(super) fn all(&self) -> [Population; 6] {
        [
            self.held,
            self.sharpness,
            self.decline,
            self.bend,
            self.extract,
            self.plan,
        ]
    }
}

/// What is expected of the next brew in one quantity.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Habit {
    pub mean: f64,
    pub standard_deviation: f64,
}

/// The middle of a tun's brews and their spread, both shrunk towards the population's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Spread {
    pub middle: f64,
    /// From brew to brew.
    pub spread: f64,
}

/// Standard deviation of normal values over their median deviation.
const SD_OVER_MEDIAN_DEVIATION: f64 = 1.4826;
/// Variance of the middle below over that of a mean, for normal values.
const MIDDLE_VARIANCE: f64 = std::f64::consts::FRAC_PI_3;

/// The median of the means of all pairs (Hodges & Lehmann 1963): nearly as sharp as the mean, and not moved far by
/// fewer than three odd brews in ten.
fn middle_of(values: &[f64]) -> f64 {
    let mut means: Vec<f64> = values
        .iter()
        .enumerate()
        .flat_map(|(index, a)| values[index..].iter().map(move |b| 0.5 * (a + b)))
        .collect();
    median(&mut means)
}

pub(super) fn spread(values: &[f64], population: Population, usual_spread_brews: f64) -> Spread {
    let middle = middle_of(values);
    let mut deviations: Vec<f64> = values.iter().map(|value| (value - middle).abs()).collect();
    let own = SD_OVER_MEDIAN_DEVIATION * median(&mut deviations);
    // One value has no deviation, two have half of one.
    let freedom = (values.len() as f64 - 1.0).max(0.0);
    let variance = (usual_spread_brews * population.within.powi(2) + freedom * own.powi(2))
        / (usual_spread_brews + freedom);
    Spread {
        middle,
        spread: variance.sqrt(),
    }
}

/// The next brew as expected from `values`; the population's where there are none.
pub(super) fn habit(values: &[f64], population: Population, usual_spread_brews: f64) -> Habit {
    let between = population.between.powi(2);
    if values.is_empty() {
        return Habit {
            mean: population.mean,
            standard_deviation: population.between.hypot(population.within),
        };
    }
    let spread = spread(values, population, usual_spread_brews);
    let middle_variance = MIDDLE_VARIANCE * spread.spread.powi(2) / values.len() as f64;
    let weight = between / (between + middle_variance);
    // A spread known from few brews makes the tails those of Student's t.
    let freedom = usual_spread_brews + values.len() as f64 - 1.0;
    let widening = freedom / (freedom - 2.0).max(1.0);
    Habit {
        mean: population.mean + weight * (spread.middle - population.mean),
        standard_deviation: (widening * spread.spread.powi(2) + weight * middle_variance).sqrt(),
    }
}

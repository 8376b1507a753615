//! What a loop check amounts to: error, hysteresis, repeatability and uncertainty at every level, and the verdict.
//!
//! Owns the grouping of points into levels and the budget of each. The arithmetic of uncertainty is `uncertainty`'s.

use serde::{Deserialize, Serialize};

use super::applied::Applied;
use super::loop_check::{Direction, LoopCheck, Point};
use super::parameters::Parameters;
use super::uncertainty::{Component, Source, Uncertainty, combine};

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    Pass,
    Fail,
}

/// One applied value, approached once or often.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Level {
    /// Mean of the applied values of this level.
    pub applied: f64,
    /// Mean of the readings.
    pub reading: f64,
    pub points: u32,
    /// Mean of reading less applied value.
    pub error: f64,
    /// Error on the way up less error on the way down; null where one of them is missing.
    pub hysteresis: Option<f64>,
    pub uncertainty: Uncertainty,
    pub verdict: Verdict,
    /// The tolerance lies within the uncertainty of the error: the verdict might have come out otherwise.
    pub in_doubt: bool,
}

/// All levels before or after an adjustment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Series {
    pub levels: Vec<Level>,
    /// Standard deviation of a single reading, pooled over what was repeated; null where nothing was.
    pub repeatability: Option<f64>,
    pub repeatability_degrees_of_freedom: Option<f64>,
    /// The error furthest from nought, with its sign.
    pub greatest_error: f64,
    /// The hysteresis furthest from nought, with its sign.
    pub greatest_hysteresis: Option<f64>,
    /// Pass where every level passes.
    pub verdict: Verdict,
    pub in_doubt: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Evaluation {
    pub as_found: Option<Series>,
    pub as_left: Option<Series>,
    /// Of the instrument as it was left: as-left where there is one, else as-found.
    pub verdict: Verdict,
    pub in_doubt: bool,
}

/// A point with its applied value.
struct Held<'a> {
    point: &'a Point,
    applied: f64,
    error: f64,
}

/// Evaluates a check that has no faults. Points whose applied value cannot be found are left out.
pub fn evaluate(check: &LoopCheck, parameters: &Parameters) -> Evaluation {
    let as_found = series(check, &check.as_found, parameters);
    let as_left = series(check, &check.as_left, parameters);
    let last = as_left.as_ref().or(as_found.as_ref());
    Evaluation {
        verdict: last.map_or(Verdict::Fail, |series| series.verdict),
        in_doubt: last.is_some_and(|series| series.in_doubt),
        as_found,
        as_left,
    }
}

fn series(check: &LoopCheck, points: &[Point], parameters: &Parameters) -> Option<Series> {
    let groups = levels(check, points, parameters);
    if groups.is_empty() {
        return None;
    }
    let (repeatability, freedom) = pooled(&groups);
    let levels: Vec<Level> = groups
        .iter()
        .map(|held| level(check, held, repeatability.zip(freedom), parameters))
        .collect();
    let furthest = |values: &mut dyn Iterator<Item = f64>| {
        values.reduce(|far, value| if value.abs() > far.abs() { value } else { far })
    };
    let fails = levels.iter().any(|level| level.verdict == Verdict::Fail);
    Some(Series {
        repeatability,
        repeatability_degrees_of_freedom: freedom,
        greatest_error: furthest(&mut levels.iter().map(|level| level.error)).unwrap_or(0.0),
        greatest_hysteresis: furthest(&mut levels.iter().filter_map(|level| level.hysteresis)),
        verdict: if fails { Verdict::Fail } else { Verdict::Pass },
        // A clear failure at one level is not made doubtful by another.
        in_doubt: levels.iter().any(|level| level.in_doubt)
            && !levels
                .iter()
                .any(|level| level.verdict == Verdict::Fail && !level.in_doubt),
        levels,
    })
}

/// Points by level, from the least applied value to the greatest.
fn levels<'a>(
    check: &LoopCheck,
    points: &'a [Point],
    parameters: &Parameters,
) -> Vec<Vec<Held<'a>>> {
    let mut held: Vec<Held<'a>> = points
        .iter()
        .filter_map(|point| {
            let applied = check.applied(point).ok()?;
            let error = point.reading - applied;
            Some(Held {
                point,
                applied,
                error,
            })
        })
        .collect();
    held.sort_by(|a, b| a.applied.total_cmp(&b.applied));
    let span = match (held.first(), held.last()) {
        (Some(first), Some(last)) => last.applied - first.applied,
        _ => 0.0,
    };
    let gap = if span > check.tolerance {
        parameters.level_gap_share * span
    } else {
        f64::INFINITY
    };
    let mut groups: Vec<Vec<Held<'a>>> = Vec::new();
    for each in held {
        match groups.last_mut() {
            Some(group)
                if group
                    .last()
                    .is_some_and(|last| each.applied - last.applied <= gap) =>
            {
                group.push(each);
            }
            _ => groups.push(vec![each]),
        }
    }
    groups
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = values.fold((0.0, 0_u32), |(sum, count), value| (sum + value, count + 1));
    (count > 0).then(|| sum / f64::from(count))
}

fn mean_error(held: &[Held<'_>], direction: Direction) -> Option<f64> {
    let of = held.iter().filter(|each| each.point.direction == direction);
    mean(of.map(|each| each.error))
}

/// Standard deviation of one reading about the mean of its level and direction, pooled over all of them.
fn pooled(groups: &[Vec<Held<'_>>]) -> (Option<f64>, Option<f64>) {
    let (mut squares, mut freedom) = (0.0, 0.0);
    for held in groups {
        for direction in [Direction::Up, Direction::Down] {
            let Some(mean) = mean_error(held, direction) else {
                continue;
            };
            let same = held.iter().filter(|each| each.point.direction == direction);
            let (sum, count) = same.fold((0.0, 0.0), |(sum, count), each| {
                (sum + (each.error - mean).powi(2), count + 1.0)
            });
            squares += sum;
            freedom += count - 1.0;
        }
    }
    if freedom > 0.0 {
        (Some((squares / freedom).sqrt()), Some(freedom))
    } else {
        (None, None)
    }
}

/// What the scatter within each point tells, where no point was repeated.
fn scatter(held: &[Held<'_>]) -> Option<Component> {
    let (mut variance, mut freedom, mut counted) = (0.0, 0.0, 0.0);
    for each in held {
        let readings = f64::from(each.point.readings.unwrap_or(1));
        let scatter = each.point.scatter.filter(|_| readings > 1.0)?;
        variance += scatter * scatter / readings;
        freedom += readings - 1.0;
        counted += 1.0;
    }
    (counted > 0.0).then(|| Component {
        source: Source::Repeatability,
        standard: variance.sqrt() / counted,
        degrees_of_freedom: Some(freedom),
    })
}

fn level(
    check: &LoopCheck,
    held: &[Held<'_>],
    repeatability: Option<(f64, f64)>,
    parameters: &Parameters,
) -> Level {
    let count = held.len() as f64;
    let error = mean(held.iter().map(|each| each.error)).unwrap_or(0.0);
    let hysteresis = mean_error(held, Direction::Up)
        .zip(mean_error(held, Direction::Down))
        .map(|(up, down)| up - down);
    let known = |source, standard: f64| Component {
        source,
        standard,
        degrees_of_freedom: None,
    };
    let repeated = match repeatability {
        Some((deviation, freedom)) => Some(Component {
            source: Source::Repeatability,
            standard: deviation / count.sqrt(),
            degrees_of_freedom: Some(freedom),
        }),
        None => scatter(held),
    };
    let slope_per_k = held
        .iter()
        .map(|each| {
            each.point
                .applied
                .slope_per_k(check.unit, check.wort_factor)
                .abs()
        })
        .fold(0.0, f64::max);
    let by_formula = held
        .iter()
        .any(|each| matches!(each.point.applied, Applied::SamplePh { .. }));
    let root_3 = 3.0_f64.sqrt();
    let mut components = vec![known(
        Source::Reference,
        0.5 * check.reference.expanded_uncertainty,
    )];
    components.extend(repeated);
    components.push(known(Source::Resolution, 0.5 * check.resolution / root_3));
    components
        .extend(hysteresis.map(|between| known(Source::Hysteresis, 0.5 * between.abs() / root_3)));
    let by_temperature = 0.5 * check.reference.temperature_uncertainty_c * slope_per_k;
    components.push(known(Source::Temperature, by_temperature));
    if by_formula {
        components.push(known(Source::Formula, parameters.ph_shift_limit / root_3));
    }
    components.retain(|component| component.standard > 0.0);
    let uncertainty = combine(components, parameters.enough_freedom);
    let verdict = if error.abs() <= check.tolerance {
        Verdict::Pass
    } else {
        Verdict::Fail
    };
    Level {
        applied: mean(held.iter().map(|each| each.applied)).unwrap_or(0.0),
        reading: mean(held.iter().map(|each| each.point.reading)).unwrap_or(0.0),
        points: held.len() as u32,
        error,
        hysteresis,
        in_doubt: (error.abs() - check.tolerance).abs() < uncertainty.expanded,
        uncertainty,
        verdict,
    }
}

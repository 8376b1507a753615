//! Several brews' curves over each other.

use lauter_core::supervisor::RunoffState;

use super::axis::Axis;
use super::ink::Ink;
use super::sheet::{ChartError, Size, draw};
use super::thinned;
use crate::brew_record::{BedSetting, BrewRecord};
use crate::display::Voice;

/// Points of one brew, with gaps.
type Curve = Vec<Option<(f64, f64)>>;

/// What is laid over each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Comparison {
    RunningsGravity,
    KettleGravity,
    Resistance,
    Acidity,
}

/// Up to five brews over run-off volume per kg of grist, so that brews of different size can be compared.
pub fn compared(
    records: &[BrewRecord],
    what: Comparison,
    bed: &BedSetting,
    voice: Voice,
    size: Size,
) -> Result<String, ChartError> {
    let words = voice.words;
    let (title, unit, digits) = match what {
        Comparison::RunningsGravity => (
            words.runnings_gravity,
            voice.gravity_unit(),
            voice.gravity_digits() + 1,
        ),
        Comparison::KettleGravity => (
            words.kettle_gravity,
            voice.gravity_unit(),
            voice.gravity_digits() + 1,
        ),
        Comparison::Resistance => (words.bed_resistance, "10⁹/m", 1),
        Comparison::Acidity => (words.ph_of_runnings, "", 2),
    };
    let value = |record: &BrewRecord, state: &RunoffState| match what {
        Comparison::RunningsGravity => state.runnings_gravity_p.map(|p| voice.gravity_value(p)),
        Comparison::KettleGravity => state
            .kettle_gravity_p
            .filter(|_| state.kettle_volume_l > 0.0)
            .map(|p| voice.gravity_value(p)),
        Comparison::Resistance => record.resistance_per_m(state, bed).map(|r| r * 1e-9),
        Comparison::Acidity => state.runnings_ph,
    };
    let curves: Vec<(String, Curve)> = records
        .iter()
        .take(Ink::BREWS.len())
        .map(|record| {
            let plan = &record.brew.header.plan;
            let states: Vec<&RunoffState> = record.runoff.iter().collect();
            let points = thinned(&states, 200)
                .into_iter()
                .map(|state| Some((state.kettle_volume_l / plan.grist_kg, value(record, state)?)));
            (plan.brew.clone(), points.collect())
        })
        .collect();
    let all = || {
        curves
            .iter()
            .flat_map(|(_, points)| points.iter().flatten())
    };
    let to_x = all().map(|(x, _)| *x).fold(1.0, f64::max);
    let (low, high) = (
        all().map(|(_, y)| *y).fold(f64::INFINITY, f64::min),
        all().map(|(_, y)| *y).fold(f64::NEG_INFINITY, f64::max),
    );
    let (low, high) = if low < high { (low, high) } else { (0.0, 1.0) };
    let from_nought = !matches!(what, Comparison::Acidity) && voice.gravity_unit() == "°P"
        || what == Comparison::Resistance;
    let tenths = |value| voice.number(value, 1);
    let number = |value| voice.number(value, digits.saturating_sub(1));
    let x = Axis {
        from: 0.0,
        to: 1.02 * to_x,
        title: words.litres_per_kg.to_owned(),
        number: &tenths,
    };
    let y = Axis {
        from: if from_nought {
            0.0
        } else {
            low - 0.05 * (high - low)
        },
        to: high + 0.08 * (high - low),
        title: if unit.is_empty() {
            title.to_owned()
        } else {
            format!("{title}, {unit}")
        },
        number: &number,
    };
    let names: Vec<&str> = curves.iter().map(|(name, _)| name.as_str()).collect();
    draw(size, title, &names.join(", "), &[1.0], |_, space| {
        space.with(&x, &y, |panel| {
            for ((name, points), ink) in curves.iter().zip(Ink::BREWS) {
                panel.curve(points, ink, (name, unit, digits))?;
            }
            Ok(())
        })
    })
}

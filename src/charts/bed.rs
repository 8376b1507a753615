//! The bed over time: pressure drop and resistance.

use lauter_core::supervisor::{Occurrence, RunoffState};

use super::axis::Axis;
use super::ink::Ink;
use super::runoff::Scene;
use super::sheet::{ChartError, Side, Size, draw};

/// Pressure drop above, resistance beneath, over time.
pub fn bed(scene: &Scene<'_>, size: Size) -> Result<String, ChartError> {
    let (voice, words) = (scene.voice, scene.voice.words);
    let states = scene.states();
    let minutes = |state: &RunoffState| state.elapsed_s / 60.0;
    let last_min = states
        .last()
        .map_or(0.0, |state| minutes(state))
        .max(scene.record.brew.header.plan.runoff_minutes);
    let pressure: Vec<Option<(f64, f64)>> = states
        .iter()
        .map(|state| Some((minutes(state), state.pressure_drop_kpa?)))
        .collect();
    let resistance: Vec<Option<(f64, f64)>> = states
        .iter()
        .map(|state| {
            let per_m = scene.record.resistance_per_m(state, &scene.bed)?;
            Some((minutes(state), per_m * 1e-9))
        })
        .collect();
    let top = |curve: &[Option<(f64, f64)>], least: f64| {
        1.15 * curve
            .iter()
            .flatten()
            .map(|(_, value)| *value)
            .fold(least, f64::max)
    };
    let (whole, tenths) = (
        |value| voice.number(value, 0),
        |value| voice.number(value, 1),
    );
    let time = |title: &str| Axis {
        from: 0.0,
        to: 1.04 * last_min,
        title: title.to_owned(),
        number: &whole,
    };
    let rakings = rakings(&scene.record.occurrences);
    let limit = scene.bed.pressure_drop_limit_kpa;
    let axes = [
        Axis {
            from: 0.0,
            to: top(&pressure, limit),
            title: format!("{}, kPa", words.pressure_drop),
            number: &tenths,
        },
        Axis {
            from: 0.0,
            to: top(&resistance, 1.0),
            title: format!("{}, 10⁹/m", words.bed_resistance),
            number: &whole,
        },
    ];
    let description = format!(
        "{} {} {} kPa.",
        words.bed_chart_says,
        words.limit,
        voice.number(limit, 2)
    );
    draw(
        size,
        words.bed_chart,
        &description,
        &[1.0, 1.0],
        |index, space| {
            let x = time(if index == 0 {
                ""
            } else {
                words.minutes_of_brew
            });
            space.with(&x, &axes[index], |panel| {
                for at_s in &rakings {
                    let at = at_s / 60.0;
                    panel.broken(&[(at, 0.0), (at, axes[index].to)], Ink::Target)?;
                    if index == 0 {
                        let place = (at, 0.93 * axes[0].to);
                        panel.label(place, words.raking, Ink::Target, Side::Right)?;
                    }
                }
                if index == 0 {
                    panel.line(&[(0.0, limit), (x.to, limit)], Ink::Limit)?;
                    panel.label((0.0, limit), words.limit, Ink::Limit, Side::Below)?;
                    panel.curve(&pressure, Ink::Pressure, (words.pressure_drop, "kPa", 2))
                } else {
                    panel.curve(
                        &resistance,
                        Ink::Resistance,
                        (words.bed_resistance, "10⁹/m", 1),
                    )
                }
            })
        },
    )
}

/// One raking is told of up to three times: as it is reported, by the bed after it, by the runnings ten minutes later.
const TOLD_AGAIN_S: f64 = 720.0;

/// When the bed was raked, s, each raking once.
fn rakings(occurrences: &[Occurrence]) -> Vec<f64> {
    let told = occurrences
        .iter()
        .filter(|it| matches!(it.event.as_str(), "raking" | "rake-effect"))
        .filter_map(|it| Some((it.event == "raking", it.elapsed_s?)));
    let mut times: Vec<f64> = Vec::new();
    for (reported, at_s) in told {
        let again = times.last().is_some_and(|last| at_s - last < TOLD_AGAIN_S);
        if reported || !again {
            times.push(at_s);
        }
    }
    times
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_raking_that_is_told_of_by_bed_and_runnings_is_marked_once() {
        let told = |event: &str, elapsed_s: f64| Occurrence {
            elapsed_s: Some(elapsed_s),
            event: event.to_owned(),
            text: String::new(),
        };
        let seen = [told("rake-effect", 3990.0), told("rake-effect", 4470.0)];
        assert_eq!(rakings(&seen), [3990.0]);
        let reported = [
            told("raking", 3900.0),
            told("rake-effect", 4080.0),
            told("raking", 4300.0),
            told("note", 4310.0),
        ];
        assert_eq!(rakings(&reported), [3900.0, 4300.0]);
    }
}

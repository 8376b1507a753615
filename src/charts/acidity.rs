//! pH over kettle volume, with its forecast and the ceiling.

use lauter_core::supervisor::Place;

use super::axis::Axis;
use super::ink::Ink;
use super::runoff::Scene;
use super::sheet::{ChartError, Side, Size, draw};

/// pH of the runnings over kettle volume.
pub fn acidity(scene: &Scene<'_>, size: Size) -> Result<String, ChartError> {
    let (voice, words) = (scene.voice, scene.voice.words);
    let plan = &scene.record.brew.header.plan;
    let states = scene.states();
    let curve: Vec<Option<(f64, f64)>> = states
        .iter()
        .map(|state| {
            Some((
                voice.volume_value(state.kettle_volume_l),
                state.runnings_ph?,
            ))
        })
        .collect();
    let sampled = scene
        .record
        .samples
        .iter()
        .filter_map(|(elapsed_s, sample)| {
            let volume_l = scene.record.kettle_volume_l(*elapsed_s)?;
            Some((
                voice.volume_value(volume_l),
                sample.ph.filter(|_| sample.place == Place::Runnings)?,
            ))
        });
    let sampled: Vec<(f64, f64)> = sampled.collect();
    let seen = || curve.iter().flatten().chain(&sampled).map(|(_, ph)| *ph);
    let tenths = |value| voice.number(value, 1);
    let volume_number = |value| voice.number(value, 0);
    let x = scene.volume_axis(&volume_number);
    let y = Axis {
        from: seen().fold(5.2, f64::min) - 0.1,
        to: seen().fold(plan.ph_ceiling, f64::max) + 0.25,
        title: words.ph_of_runnings.to_owned(),
        number: &tenths,
    };
    let description = format!(
        "{} {} {}.",
        words.ph_chart_says,
        words.ph_ceiling,
        voice.ph(plan.ph_ceiling)
    );
    draw(size, words.ph_chart, &description, &[1.0], |_, space| {
        space.with(&x, &y, |panel| {
            panel.area((0.0, plan.ph_ceiling), (x.to, y.to), Ink::Limit, 0.12)?;
            panel.line(
                &[(0.0, plan.ph_ceiling), (x.to, plan.ph_ceiling)],
                Ink::Limit,
            )?;
            let text = format!("{} {}", words.ph_ceiling, voice.ph(plan.ph_ceiling));
            panel.label((0.0, plan.ph_ceiling), &text, Ink::Limit, Side::Above)?;
            let fan: Vec<(f64, f64, f64, f64)> = scene
                .fan_within(scene.last_volume_l())
                .filter_map(|point| {
                    let band = point.runnings_ph?;
                    let x = voice.volume_value(point.kettle_volume_l);
                    Some((x, band.p5.max(y.from), band.p50, band.p95.min(y.to)))
                })
                .filter(|(_, low, _, high)| low < high)
                .collect();
            if fan.len() > 1 {
                let band: Vec<_> = fan
                    .iter()
                    .map(|(x, low, _, high)| (*x, *low, *high))
                    .collect();
                panel.fan(&band, Ink::Acidity)?;
                let middle: Vec<_> = fan.iter().map(|(x, _, middle, _)| (*x, *middle)).collect();
                panel.broken(&middle, Ink::Acidity)?;
            }
            panel.curve(&curve, Ink::Acidity, (words.ph, "", 2))?;
            for at in &sampled {
                panel.dot(*at, Ink::Sample, true)?;
            }
            Ok(())
        })
    })
}

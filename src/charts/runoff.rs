//! Gravities over kettle volume with the forecast fan, target, floor and stop-point; and what all charts of a run-off
//! share.

use lauter_core::projection::{Crossing, StopCause};
use lauter_core::supervisor::{FanPoint, Place, RunoffState};

use super::axis::Axis;
use super::ink::Ink;
use super::sheet::{ChartError, Panel, Side, Size, draw};
use super::thinned;
use crate::brew_record::{BedSetting, BrewRecord};
use crate::display::Voice;

/// Points of one curve: more than a screen can show apart.
const CURVE_POINTS: usize = 280;

/// Everything a run-off's charts are drawn from.
#[derive(Clone, Copy, Debug)]
pub struct Scene<'a> {
    pub record: &'a BrewRecord,
    /// Empty once the brew has ended.
    pub fan: &'a [FanPoint],
    pub bed: BedSetting,
    pub capacity_l: f64,
    pub voice: Voice,
}

impl Scene<'_> {
    pub(super) fn states(&self) -> Vec<&RunoffState> {
        let flowing: Vec<&RunoffState> = self.record.runoff.iter().collect();
        thinned(&flowing, CURVE_POINTS)
    }

    fn target(&self) -> Option<Crossing> {
        self.record.projections.last()?.target
    }

    /// Where the volume axis ends: past the plan, the stop-point's band and what is in the kettle.
    pub(super) fn last_volume_l(&self) -> f64 {
        let planned_l = self.record.brew.header.plan.planned_volume_l;
        let so_far_l = self
            .record
            .runoff
            .last()
            .map_or(0.0, |state| state.kettle_volume_l);
        let band_l = self.target().map_or(0.0, |target| target.volume_l.p95);
        (1.06 * planned_l.max(band_l).max(so_far_l)).min(1.02 * self.capacity_l.max(so_far_l))
    }

    /// The fan as far as the axis goes.
    pub(super) fn fan_within(&self, last_volume_l: f64) -> impl Iterator<Item = &FanPoint> {
        self.fan
            .iter()
            .filter(move |point| point.kettle_volume_l <= last_volume_l)
    }

    pub(super) fn volume_axis<'n>(&self, number: &'n dyn Fn(f64) -> String) -> Axis<'n> {
        let voice = self.voice;
        Axis {
            from: 0.0,
            to: voice.volume_value(self.last_volume_l()),
            title: format!("{}, {}", voice.words.kettle_volume, voice.volume_unit()),
            number,
        }
    }

    fn stop_words(&self) -> String {
        let words = self.voice.words;
        self.stop_volume_l().map_or(String::new(), |volume_l| {
            format!(
                "{}: {}.",
                words.stop_point,
                self.voice.volume_with_unit(volume_l)
            )
        })
    }

    /// Where the run-off was stopped, or is to be.
    fn stop_volume_l(&self) -> Option<f64> {
        let finished = self.record.brew.finished.as_ref();
        let called = finished.and_then(|finished| finished.summary.as_ref()?.stop_volume_l);
        called.or_else(|| Some(self.record.projections.last()?.stop?.volume_l))
    }
}

/// Runnings and kettle gravity over kettle volume, with the fan, target, floor and stop-point.
pub fn gravity(scene: &Scene<'_>, size: Size) -> Result<String, ChartError> {
    let (voice, words) = (scene.voice, scene.voice.words);
    let plan = &scene.record.brew.header.plan;
    let states = scene.states();
    let seen_p = states
        .iter()
        .flat_map(|state| [state.runnings_gravity_p, state.kettle_gravity_p])
        .flatten()
        .fold(0.0, f64::max);
    let top_p = 1.1
        * seen_p
            .max(plan.first_wort_gravity_p.unwrap_or(0.0))
            .max(1.2 * plan.target_gravity_p);
    let volume_number = |value| voice.number(value, 0);
    let gravity_number = |value| {
        voice.number(
            value,
            voice.gravity_digits().max(1) - 1 + usize::from(voice.gravity_unit() == "SG"),
        )
    };
    let x = scene.volume_axis(&volume_number);
    let y = Axis {
        from: voice.gravity_value(0.0),
        to: voice.gravity_value(top_p),
        title: format!("{}, {}", words.gravity, voice.gravity_unit()),
        number: &gravity_number,
    };
    let description = format!(
        "{} {} {}. {}",
        words.gravity_chart_says,
        words.target,
        voice.gravity_with_unit(plan.target_gravity_p),
        scene.stop_words()
    );
    draw(
        size,
        words.gravity_chart,
        &description,
        &[1.0],
        |_, space| {
            space.with(&x, &y, |panel| {
                limits(panel, scene)?;
                fans(panel, scene)?;
                let curve = |pick: fn(&RunoffState) -> Option<f64>| -> Vec<Option<(f64, f64)>> {
                    states
                        .iter()
                        .map(|state| {
                            let gravity_p = pick(state)?;
                            Some((
                                voice.volume_value(state.kettle_volume_l),
                                voice.gravity_value(gravity_p),
                            ))
                        })
                        .collect()
                };
                let unit = voice.gravity_unit();
                let digits = voice.gravity_digits() + 1;
                let runnings = curve(|state| state.runnings_gravity_p);
                let kettle = curve(|state| {
                    state
                        .kettle_gravity_p
                        .filter(|_| state.kettle_volume_l > 0.0)
                });
                panel.curve(&runnings, Ink::Runnings, (words.runnings, unit, digits))?;
                panel.curve(&kettle, Ink::Kettle, (words.kettle, unit, digits))?;
                for (curve, ink, name, side) in [
                    (&runnings, Ink::Runnings, words.runnings, Side::Left),
                    (&kettle, Ink::Kettle, words.kettle, Side::Above),
                ] {
                    if let Some(last) = curve.iter().rev().flatten().next() {
                        panel.dot(*last, ink, false)?;
                        panel.label(*last, name, ink, side)?;
                    }
                }
                samples(panel, scene)?;
                stop(panel, scene, y.from, y.to)
            })
        },
    )
}

fn limits(panel: &mut Panel<'_>, scene: &Scene<'_>) -> Result<(), ChartError> {
    let (voice, words) = (scene.voice, scene.voice.words);
    let plan = &scene.record.brew.header.plan;
    let to_x = voice.volume_value(scene.last_volume_l());
    let floor = voice.gravity_value(plan.gravity_floor_p);
    panel.area(
        (0.0, voice.gravity_value(0.0)),
        (to_x, floor),
        Ink::Limit,
        0.12,
    )?;
    panel.line(&[(0.0, floor), (to_x, floor)], Ink::Limit)?;
    let text = format!(
        "{} {}",
        words.gravity_floor,
        voice.gravity(plan.gravity_floor_p)
    );
    panel.label((0.0, floor), &text, Ink::Limit, Side::Below)?;
    let target = voice.gravity_value(plan.target_gravity_p);
    panel.broken(&[(0.0, target), (to_x, target)], Ink::Target)?;
    let text = format!("{} {}", words.target, voice.gravity(plan.target_gravity_p));
    panel.label((0.0, target), &text, Ink::Target, Side::Below)
}

fn fans(panel: &mut Panel<'_>, scene: &Scene<'_>) -> Result<(), ChartError> {
    let voice = scene.voice;
    let Some(now) = scene.record.runoff.last() else {
        return Ok(());
    };
    let last_l = scene.last_volume_l();
    for (ink, here, pick) in [
        (
            Ink::Runnings,
            now.runnings_gravity_p,
            (|point: &FanPoint| point.runnings_gravity_p) as fn(&FanPoint) -> _,
        ),
        (Ink::Kettle, now.kettle_gravity_p, |point: &FanPoint| {
            point.kettle_gravity_p
        }),
    ] {
        // Both fans open from where the curve stands.
        let here = here.map(|p| (now.kettle_volume_l, p, p, p));
        let points: Vec<(f64, f64, f64, f64)> = here
            .into_iter()
            .chain(scene.fan_within(last_l).map(|point| {
                let band = pick(point);
                (point.kettle_volume_l, band.p5, band.p50, band.p95)
            }))
            .map(|(volume_l, low, middle, high)| {
                let gravity = |p| voice.gravity_value(p);
                (
                    voice.volume_value(volume_l),
                    gravity(low),
                    gravity(middle),
                    gravity(high),
                )
            })
            .collect();
        if points.len() > 1 {
            let band: Vec<_> = points
                .iter()
                .map(|(x, low, _, high)| (*x, *low, *high))
                .collect();
            panel.fan(&band, ink)?;
            let middle: Vec<_> = points
                .iter()
                .map(|(x, _, middle, _)| (*x, *middle))
                .collect();
            panel.broken(&middle, ink)?;
        }
    }
    Ok(())
}

fn samples(panel: &mut Panel<'_>, scene: &Scene<'_>) -> Result<(), ChartError> {
    let voice = scene.voice;
    for (elapsed_s, sample) in &scene.record.samples {
        let volume_l = scene.record.kettle_volume_l(*elapsed_s);
        let (Some(gravity_p), Some(volume_l)) = (sample.gravity_p, volume_l) else {
            continue;
        };
        let at = (voice.volume_value(volume_l), voice.gravity_value(gravity_p));
        match sample.place {
            Place::Runnings => panel.dot(at, Ink::Sample, true)?,
            Place::Kettle => panel.square(at, Ink::Sample)?,
        }
    }
    Ok(())
}

/// The stop-point with the band of the target's crossing.
fn stop(panel: &mut Panel<'_>, scene: &Scene<'_>, low: f64, high: f64) -> Result<(), ChartError> {
    let (voice, words) = (scene.voice, scene.voice.words);
    let Some(volume_l) = scene.stop_volume_l() else {
        return Ok(());
    };
    let decides = scene.record.projections.last().and_then(|line| line.stop);
    if let Some(target) = scene.target()
        && decides.is_some_and(|stop| stop.cause == StopCause::TargetGravity)
    {
        let (from, to) = (target.volume_l.p5, target.volume_l.p95);
        panel.area(
            (voice.volume_value(from), low),
            (voice.volume_value(to), high),
            Ink::Stop,
            0.1,
        )?;
    }
    let x = voice.volume_value(volume_l);
    panel.line(&[(x, low), (x, high)], Ink::Stop)?;
    let text = format!("{} {}", words.stop, voice.volume_with_unit(volume_l));
    panel.label(
        (x, high - 0.06 * (high - low)),
        &text,
        Ink::Stop,
        Side::Left,
    )
}

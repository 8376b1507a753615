//! The lines that leave the supervisor.
//!
//! Owns their filling and their rounding: volumes to a hundredth of a litre, gravities to a ten-thousandth of
//! a degree, times to a thousandth of a second.

use crate::projection::{Band, Crossing, Stop, StopCause};
use crate::reading::Moment;

use super::Supervisor;
use super::brew::{Brew, Picture};
use super::event::{Place, Sample};
use super::output::{
    AlarmLine, ConditionedReading, Dated, IfStopped, Occurrence, Output, Phase, ProjectionLine,
    RunoffState, SummaryLine, TableLine,
};

fn to(value: f64, digits: i32) -> f64 {
    let scale = 10.0_f64.powi(digits);
    let rounded = (value * scale).round() / scale;
    // Never −0.
    if rounded == 0.0 { 0.0 } else { rounded }
}

fn litres(value: f64) -> f64 {
    to(value, 2)
}

fn plato(value: f64) -> f64 {
    to(value, 4)
}

fn seconds(value: f64) -> f64 {
    to(value, 3)
}

fn band(band: Band, round: fn(f64) -> f64) -> Band {
    Band {
        p5: round(band.p5),
        p50: round(band.p50),
        p95: round(band.p95),
    }
}

fn crossing(crossing: Crossing) -> Crossing {
    Crossing {
        volume_l: band(crossing.volume_l, litres),
        elapsed_s: band(crossing.elapsed_s, seconds),
    }
}

fn stop(stop: Stop) -> Stop {
    Stop {
        cause: stop.cause,
        volume_l: litres(stop.volume_l),
        elapsed_s: seconds(stop.elapsed_s),
        top_up_l: litres(stop.top_up_l),
        final_volume_l: litres(stop.final_volume_l),
    }
}

pub(super) fn rounded(line: AlarmLine) -> AlarmLine {
    AlarmLine {
        elapsed_s: seconds(line.elapsed_s),
        ..line
    }
}

pub(super) fn projection(brew: &Brew, now: Moment) -> ProjectionLine {
    let contents = brew.kettle.contents();
    ProjectionLine {
        elapsed_s: seconds(brew.elapsed_s(now)),
        kettle_volume_l: litres(contents.volume_l),
        kettle_gravity_p: contents.gravity_p.map(plato),
        kettle_gravity_se_p: contents.gravity_p.map(|_| plato(contents.gravity_se_p)),
        target: brew.crossings.target.map(crossing),
        gravity_floor: brew.crossings.gravity_floor.map(crossing),
        ph_ceiling: brew.crossings.ph_ceiling.map(crossing),
        stop: brew.stop.map(stop),
    }
}

pub(super) fn table(brew: &Brew, picture: &Picture, now: Moment) -> TableLine {
    let contents = brew.kettle.contents();
    TableLine {
        elapsed_s: seconds(brew.elapsed_s(now)),
        runnings_gravity_p: picture.runnings_gravity_p.map(|known| plato(known.value)),
        runnings_ph: picture.runnings_ph.map(|known| to(known.value, 3)),
        kettle_volume_l: litres(contents.volume_l),
        kettle_gravity_p: contents.gravity_p.map(plato),
        flow_l_min: picture.flow_l_min.map(litres),
        pressure_drop_kpa: picture.pressure_drop_kpa.map(|kpa| to(kpa, 3)),
    }
}

pub(super) fn runoff(
    brew: &Brew,
    picture: &Picture,
    now: Moment,
    if_stopped_now: Option<IfStopped>,
) -> RunoffState {
    let contents = brew.kettle.contents();
    RunoffState {
        elapsed_s: seconds(brew.elapsed_s(now)),
        brew: brew.plan.brew.clone(),
        phase: brew.phase(),
        runnings_gravity_p: picture.runnings_gravity_p.map(|known| plato(known.value)),
        runnings_gravity_se_p: picture
            .runnings_gravity_p
            .map(|known| plato(known.standard_error)),
        runnings_ph: picture.runnings_ph.map(|known| to(known.value, 3)),
        runnings_temperature_c: picture.runnings_temperature_c.map(|celsius| to(celsius, 2)),
        flow_l_min: picture.flow_l_min.map(litres),
        pressure_drop_kpa: picture.pressure_drop_kpa.map(|kpa| to(kpa, 3)),
        kettle_volume_l: litres(contents.volume_l),
        kettle_gravity_p: contents.gravity_p.map(plato),
        kettle_gravity_se_p: contents.gravity_p.map(|_| plato(contents.gravity_se_p)),
        extract_kg: contents.gravity_p.map(|_| litres(contents.extract_kg)),
        if_stopped_now: if_stopped_now.map(|stopped| IfStopped {
            top_up_l: litres(stopped.top_up_l),
            final_volume_l: litres(stopped.final_volume_l),
            boil_off_percent: to(stopped.boil_off_percent, 2),
            brew_length_l_per_kg: plato(stopped.brew_length_l_per_kg),
        }),
    }
}

pub(super) fn phase_change(brew: &Brew, phase: Phase, why: &str, now: Moment) -> Output {
    Output::Occurrence(Occurrence {
        elapsed_s: Some(seconds(brew.elapsed_s(now))),
        event: "phase".to_owned(),
        text: format!("Phase {}: {why}.", phase.words()),
    })
}

/// Something said once about a brew.
pub(super) fn occurrence(brew: &Brew, event: &str, text: String, now: Moment) -> Output {
    Output::Occurrence(Occurrence {
        elapsed_s: Some(seconds(brew.elapsed_s(now))),
        event: event.to_owned(),
        text,
    })
}

pub(super) fn sample(brew: &Brew, sample: &Sample, now: Moment) -> Output {
    let text = format!("Hand sample of the {}.", described(sample));
    occurrence(brew, "hand-sample", text, now)
}

/// `taken`: when it had been given.
pub(super) fn sample_withdrawn(brew: &Brew, sample: &Sample, taken: Moment, now: Moment) -> Output {
    let minute = brew.elapsed_s(taken) / 60.0;
    let text = format!(
        "The hand sample of minute {minute:.1} is withdrawn ({}).",
        described(sample)
    );
    occurrence(brew, "sample-withdrawn", text, now)
}

fn described(sample: &Sample) -> String {
    let place = match sample.place {
        Place::Runnings => "runnings",
        Place::Kettle => "kettle",
    };
    let mut parts = Vec::new();
    parts.extend(sample.gravity_p.map(|p| format!("{p:.2} °P")));
    parts.extend(sample.ph.map(|ph| format!("pH {ph:.2}")));
    parts.extend(sample.volume_l.map(|l| format!("{l:.0} L")));
    format!("{place}: {}", parts.join(", "))
}

impl Supervisor {
    pub(super) fn summary(&self, brew: &Brew) -> SummaryLine {
        let contents = brew
            .contents_at_stop
            .unwrap_or_else(|| brew.kettle.contents());
        let taken = brew.stop_taken.filter(|_| brew.flow_started.is_some());
        let gravity_p = match taken {
            Some(stop) if stop.cause == StopCause::TargetGravity => {
                Some(brew.plan.target_gravity_p)
            }
            _ => contents.gravity_p,
        };
        SummaryLine {
            stop_volume_l: taken.map(|stop| litres(stop.volume_l)),
            stop_elapsed_s: taken.map(|stop| seconds(stop.elapsed_s)),
            stop_cause: taken.map_or(StopCause::RunoffEnded, |stop| stop.cause),
            kettle_gravity_p: gravity_p.map(plato),
            extract_kg: contents.gravity_p.map(|_| litres(contents.extract_kg)),
            brew_length_l_per_kg: taken.map(|stop| plato(stop.final_volume_l / brew.plan.grist_kg)),
            readings: self.channels.iter().map(|channel| channel.readings).sum(),
            rejected: self.channels.iter().map(|channel| channel.rejected).sum(),
        }
    }

    /// Puts out every instrument that has been read since the last time, or has lost its value.
    pub(super) fn report_readings(&mut self, now: Moment) {
        let Self {
            channels, outputs, ..
        } = self;
        for channel in channels {
            let digits = |value: f64| to(value, 6);
            let (value, standard_error, rate_per_min, cause) = if channel.is_switch() {
                let position = channel.is_on();
                (
                    position.ok().map(|on| f64::from(u8::from(on))),
                    None,
                    None,
                    position.err(),
                )
            } else {
                match channel.estimate(now) {
                    Ok(estimate) => (
                        Some(digits(estimate.value)),
                        Some(digits(estimate.standard_error)),
                        Some(digits(60.0 * estimate.rate_per_s)),
                        channel.last_cause(),
                    ),
                    Err(cause) => (None, None, None, Some(cause)),
                }
            };
            // An instrument that falls silent says so once: its last value must not stand for good.
            let lost_value = channel.had_value && value.is_none();
            channel.had_value = value.is_some();
            if !std::mem::take(&mut channel.fresh) && !lost_value {
                continue;
            }
            let reading = ConditionedReading {
                instrument: channel.instrument.id.clone(),
                value,
                unit: channel.unit,
                standard_error,
                rate_per_min,
                status: channel.status(),
                cause,
                raw: channel.raw(),
                measured: channel.last_measured(),
                corrected: channel.last_corrected(),
                correction: channel.correction().map(|made| made.version),
            };
            let output = Output::Reading(reading);
            outputs.push_back(Dated { at: now, output });
        }
    }
}

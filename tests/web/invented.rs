//! Invented plans, brews, lines and readings.

use std::collections::BTreeMap;

use jiff::Timestamp;
use lauter_core::alarm::{AlarmId, AlarmState, Priority};
use lauter_core::projection::{Band, Crossing, PhBasis, Plan, Stop, StopCause};
use lauter_core::reading::{Cause, Instrument, Measures, Moment, Reading, Status};
use lauter_core::supervisor::{
    AlarmLine, ConditionedReading, Dated, Event, IfStopped, Line, Output, Phase, Place,
    ProjectionLine, RunoffState, Sample, SummaryLine, TableLine,
};
use lauter_core::units::Unit;
use lauterd::runtime::request::TunStatus;
use lauterd::store::{Batch, BrewHeader, BrewId, Database, DatedEvent, FinishedBrew, TunId};

use crate::brewhouse::{BREW, SITE};

/// Noon UTC on a day in April, µs since 1970.
const START: Moment = Moment(1_776_945_600_000_000);

pub fn plan(brew: &str) -> Plan {
    Plan {
        brew: brew.to_owned(),
        recipe: "Harbour Stout".to_owned(),
        grist_kg: 980.0,
        target_gravity_p: 12.4,
        planned_volume_l: 5200.0,
        runoff_minutes: 90.0,
        first_wort_gravity_p: None,
        gravity_floor_p: 3.0,
        ph_ceiling: 6.0,
        ph_basis: PhBasis::Room,
    }
}

fn at(seconds: f64) -> Moment {
    START.plus_seconds(seconds)
}

fn wall(seconds: f64) -> Timestamp {
    Timestamp::from_microsecond(at(seconds).0).unwrap()
}

fn instrument(id: &str) -> Instrument {
    Instrument {
        id: id.to_owned(),
        measures: Measures::RunningsGravity,
        unit: Unit::DegreePlato,
        span: None,
        temperature: None,
        low: Some(0.0),
        high: Some(30.0),
        stale_after_s: 10.0,
        zero: 0.0,
        link: None,
    }
}

pub fn header(tun: TunId, brew: &str) -> BrewHeader {
    BrewHeader {
        tun,
        plan: plan(brew),
        instruments: vec![instrument("runnings_gravity"), instrument("kettle_gravity")],
        config_digest: "0f1e2d".to_owned(),
        started: wall(0.0),
        started_at: START,
        origin: at(-30.0),
    }
}

pub fn record_brew(database: &mut Database, tun: TunId) -> BrewId {
    let brew = database.begin_brew(&header(tun, BREW)).unwrap();
    let reading = |seconds, instrument, value| DatedEvent {
        at: at(seconds),
        event: Event::Reading {
            instrument,
            reading: Reading {
                value: Ok(value),
                status: Status::Good,
                at: at(seconds),
            },
        },
    };
    let sample = DatedEvent {
        at: at(700.0),
        event: Event::Sample(Sample {
            place: Place::Kettle,
            gravity_p: Some(17.5),
            ph: None,
            volume_l: Some(704.0),
        }),
    };
    let line = |seconds, line| Dated {
        at: at(seconds),
        output: Output::Line(line),
    };
    let batch = Batch {
        events: vec![reading(1.0, 0, 18.05), reading(1.0, 1, 17.9), sample],
        outputs: vec![
            line(600.0, Line::Table(table_line(600.0, Some(18.04)))),
            line(601.0, Line::Alarm(alarm_line())),
            line(1200.0, Line::Table(table_line(1200.0, None))),
            line(5400.0, Line::Summary(summary_line())),
        ],
        ..Batch::new(tun, Some(brew))
    };
    database.append(&batch).unwrap();
    let end = FinishedBrew {
        ended: wall(5400.0),
        ended_at: at(5400.0),
        summary: Some(summary_line()),
    };
    database.finish_brew(brew, &end).unwrap();
    brew
}

fn table_line(elapsed_s: f64, runnings_gravity_p: Option<f64>) -> TableLine {
    TableLine {
        elapsed_s,
        runnings_gravity_p,
        runnings_ph: Some(5.356),
        kettle_volume_l: elapsed_s + 2.1,
        kettle_gravity_p: Some(17.9),
        flow_l_min: Some(60.1),
        pressure_drop_kpa: Some(1.02),
    }
}

fn alarm_line() -> AlarmLine {
    AlarmLine {
        elapsed_s: 601.0,
        alarm: AlarmId::Channelling,
        instrument: None,
        from: AlarmState::Normal,
        to: AlarmState::Unacknowledged,
        priority: Priority::High,
        message: "Resistance fell by 30 % in 3 min".to_owned(),
        advice: "Slow down, then rake gently".to_owned(),
        evidence: BTreeMap::from([("resistance_ratio".to_owned(), 0.7)]),
    }
}

fn summary_line() -> SummaryLine {
    SummaryLine {
        stop_volume_l: Some(5184.0),
        stop_elapsed_s: Some(5175.0),
        stop_cause: StopCause::TargetGravity,
        kettle_gravity_p: Some(12.4),
        extract_kg: Some(657.0),
        brew_length_l_per_kg: Some(5.29),
        readings: 43210,
        rejected: 12,
    }
}

pub fn status(tun: &str, plan: Option<&Plan>) -> TunStatus {
    let around = |p50: f64| Band {
        p5: p50 - 180.0,
        p50,
        p95: p50 + 180.0,
    };
    let reading = |instrument: &str, value: Option<f64>| ConditionedReading {
        instrument: instrument.to_owned(),
        value,
        unit: Unit::DegreePlato,
        standard_error: Some(0.01),
        rate_per_min: None,
        status: if value.is_some() {
            Status::Good
        } else {
            Status::Failure
        },
        cause: value.is_none().then_some(Cause::LinkLost),
        raw: value,
        measured: value,
        corrected: None,
        correction: None,
    };
    TunStatus {
        site: SITE.to_owned(),
        tun: tun.to_owned(),
        time: "2026-04-23T12:00:00.000Z".to_owned(),
        brew: plan.map(|plan| plan.brew.clone()),
        plan: plan.cloned(),
        runoff: plan.map(|plan| RunoffState {
            elapsed_s: 2400.0,
            brew: plan.brew.clone(),
            phase: Phase::FirstWort,
            runnings_gravity_p: Some(12.345),
            runnings_gravity_se_p: Some(0.05),
            runnings_ph: None,
            runnings_temperature_c: Some(75.2),
            flow_l_min: Some(60.1),
            pressure_drop_kpa: Some(1.02),
            kettle_volume_l: 2411.8,
            kettle_gravity_p: Some(17.92),
            kettle_gravity_se_p: Some(0.04),
            extract_kg: Some(512.3),
            if_stopped_now: Some(IfStopped {
                top_up_l: 1142.0,
                final_volume_l: 3553.8,
                boil_off_percent: 0.0,
                brew_length_l_per_kg: 3.63,
            }),
        }),
        outlook: None,
        projection: plan.map(|_| ProjectionLine {
            elapsed_s: 2400.0,
            kettle_volume_l: 2411.8,
            kettle_gravity_p: Some(17.92),
            kettle_gravity_se_p: Some(0.04),
            target: Some(Crossing {
                volume_l: around(5180.0),
                elapsed_s: around(5170.0),
            }),
            gravity_floor: None,
            ph_ceiling: None,
            stop: Some(Stop {
                cause: StopCause::GravityFloor,
                volume_l: 5000.0,
                elapsed_s: 5000.0,
                top_up_l: 120.0,
                final_volume_l: 5120.0,
            }),
        }),
        alarms: plan
            .map(|_| Line::Alarm(alarm_line()))
            .into_iter()
            .collect(),
        readings: vec![
            reading("runnings_gravity", Some(12.345)),
            reading("kettle_gravity", None),
        ],
        calibration: Vec::new(),
        health: serde_json::json!({"links": []}),
    }
}

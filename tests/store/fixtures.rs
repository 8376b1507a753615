//! Invented brews and events.

use std::collections::BTreeMap;

use jiff::Timestamp;
use lauter_core::alarm::{AlarmId, AlarmState, Priority};
use lauter_core::projection::Plan;
use lauter_core::reading::{Cause, Instrument, Measures, Moment, Reading, Status};
use lauter_core::supervisor::{
    AlarmLine, ConditionedReading, Dated, Event, Line, Output, Place, RunoffState, Sample,
    TableLine,
};
use lauter_core::units::Unit;
use lauterd::store::{BrewHeader, DatedEvent, MessageClass, NewMessage, Publisher, TunId};
use proptest::prelude::*;

/// Noon on a day in April, µs since 1970.
pub const START: Moment = Moment(1_776_945_600_000_000);

pub fn at(seconds: f64) -> Moment {
    START.plus_seconds(seconds)
}

pub fn wall(seconds: f64) -> Timestamp {
    Timestamp::from_microsecond(at(seconds).0).unwrap()
}

pub fn instrument(id: &str) -> Instrument {
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

pub fn header(tun: TunId, brew: &str, instruments: usize) -> BrewHeader {
    BrewHeader {
        tun,
        plan: Plan {
            brew: brew.to_owned(),
            recipe: "Harbour Stout".to_owned(),
            grist_kg: 980.0,
            target_gravity_p: 12.4,
            planned_volume_l: 5200.0,
            runoff_minutes: 90.0,
            first_wort_gravity_p: Some(18.1),
            gravity_floor_p: 3.0,
            ph_ceiling: 6.0,
            ph_basis: lauter_core::projection::PhBasis::Room,
        },
        instruments: (0..instruments)
            .map(|index| instrument(&format!("instrument_{index}")))
            .collect(),
        config_digest: "0f1e2d".to_owned(),
        started: wall(0.0),
        started_at: START,
        origin: START,
    }
}

pub fn reading_event(seconds: f64, instrument: usize, value: Result<f64, Cause>) -> DatedEvent {
    DatedEvent {
        at: at(seconds),
        event: Event::Reading {
            instrument,
            reading: Reading {
                value,
                status: Status::Good,
                at: at(seconds),
            },
        },
    }
}

pub fn sample_event(seconds: f64, gravity_p: f64) -> DatedEvent {
    DatedEvent {
        at: at(seconds),
        event: Event::Sample(Sample {
            place: Place::Kettle,
            gravity_p: Some(gravity_p),
            ph: None,
            volume_l: Some(1204.5),
        }),
    }
}

pub fn conditioned(seconds: f64, instrument: usize, value: f64) -> Dated {
    Dated {
        at: at(seconds),
        output: Output::Reading(ConditionedReading {
            instrument: format!("instrument_{instrument}"),
            value: Some(value),
            unit: Unit::DegreePlato,
            standard_error: Some(0.0123456789),
            rate_per_min: Some(-0.0123456789),
            status: Status::Good,
            cause: None,
            raw: Some(value + 0.01),
            measured: None,
            corrected: None,
            correction: None,
        }),
    }
}

pub fn alarm(seconds: f64) -> Dated {
    Dated {
        at: at(seconds),
        output: Output::Line(Line::Alarm(AlarmLine {
            elapsed_s: seconds,
            alarm: AlarmId::Channelling,
            instrument: None,
            from: AlarmState::Normal,
            to: AlarmState::Unacknowledged,
            priority: Priority::High,
            message: "Resistance fell by 30 % in 3 min".to_owned(),
            advice: "Slow down, then rake gently".to_owned(),
            evidence: BTreeMap::from([("resistance_ratio".to_owned(), 0.7)]),
        })),
    }
}

pub fn table_line(seconds: f64) -> Dated {
    Dated {
        at: at(seconds),
        output: Output::Line(Line::Table(TableLine {
            elapsed_s: seconds,
            runnings_gravity_p: Some(18.0),
            runnings_ph: None,
            kettle_volume_l: 602.1,
            kettle_gravity_p: Some(17.9),
            flow_l_min: Some(60.1),
            pressure_drop_kpa: Some(1.02),
        })),
    }
}

pub fn runoff(seconds: f64) -> Dated {
    Dated {
        at: at(seconds),
        output: Output::Runoff(RunoffState {
            elapsed_s: seconds,
            brew: "2026-0412".to_owned(),
            phase: lauter_core::supervisor::Phase::Sparge,
            runnings_gravity_p: Some(12.345),
            runnings_gravity_se_p: Some(0.05),
            runnings_ph: Some(5.4),
            runnings_temperature_c: Some(75.2),
            flow_l_min: Some(60.1),
            pressure_drop_kpa: Some(1.02),
            kettle_volume_l: 2411.8,
            kettle_gravity_p: Some(17.92),
            kettle_gravity_se_p: Some(0.04),
            extract_kg: Some(512.3),
            if_stopped_now: None,
        }),
    }
}

pub fn message(publisher: Publisher, class: MessageClass, payload: &str) -> NewMessage {
    NewMessage {
        publisher,
        class,
        topic: "lauterd/north-yard/tun-1/event".to_owned(),
        payload: payload.to_owned(),
        retain: false,
        created: wall(0.0),
    }
}

/// Any finite number, subnormal and negative zero among them.
pub fn any_value() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => any::<u64>().prop_map(f64::from_bits).prop_filter("finite", |v| v.is_finite()),
        1 => Just(-0.0),
        1 => Just(1.0),
        1 => Just(0.1 + 0.2),
        1 => Just(f64::MIN_POSITIVE / 3.0),
    ]
}

pub fn any_cause() -> impl Strategy<Value = Cause> {
    prop_oneof![
        Just(Cause::LinkLost),
        Just(Cause::DeviceError),
        Just(Cause::OutsideLimits),
        Just(Cause::LoopBelowRange),
        Just(Cause::FunctionCheck),
    ]
}

pub fn any_status() -> impl Strategy<Value = Status> {
    prop_oneof![
        Just(Status::Good),
        Just(Status::MaintenanceRequired),
        Just(Status::OutOfSpecification),
        Just(Status::FunctionCheck),
        Just(Status::Failure),
    ]
}

prop_compose! {
    pub fn any_reading(instruments: usize)(
        instrument in 0..instruments,
        value in prop_oneof![4 => any_value().prop_map(Ok), 1 => any_cause().prop_map(Err)],
        status in any_status(),
        after_us in 0..3_000_000_i64,
        age_us in prop_oneof![Just(0), -5_000_000..5_000_000_i64],
    ) -> (i64, i64, Event) {
        let reading = Reading { value, status, at: Moment(0) };
        (after_us, age_us, Event::Reading { instrument, reading })
    }
}

/// Events in time order, several at one moment now and then.
pub fn any_events(instruments: usize) -> impl Strategy<Value = Vec<DatedEvent>> {
    let other = prop_oneof![
        Just(Event::Tick),
        any_value().prop_map(|gravity| Event::Sample(Sample {
            place: Place::Runnings,
            gravity_p: Some(gravity),
            ph: None,
            volume_l: None,
        })),
        any_value().prop_map(|oldest_age_s| Event::Delivery {
            publisher: "mqtt".to_owned(),
            oldest_age_s,
            depth: 3,
            refused: None,
        }),
    ];
    let other = (prop_oneof![Just(0), 0..2_000_000_i64], other)
        .prop_map(|(after_us, event)| (after_us, 0, event));
    let any_event = prop_oneof![4 => any_reading(instruments), 1 => other];
    proptest::collection::vec(any_event, 0..60).prop_map(|steps| {
        let mut now = START;
        steps
            .into_iter()
            .map(|(after_us, age_us, mut event)| {
                // A third of the steps share the moment of the one before.
                now = Moment(now.0 + if after_us % 3 == 0 { 0 } else { after_us });
                if let Event::Reading { reading, .. } = &mut event {
                    reading.at = Moment(now.0 - age_us);
                }
                DatedEvent { at: now, event }
            })
            .collect()
    })
}

//! From the supervisor's outputs to the metrics of a tun.
//!
//! Owns the names, kinds and units of a device's metrics, which others rely on. Pure: the time is an argument. What a
//! metric's number on the wire is, and when it is sent, is `node`'s concern.

use lauter_core::alarm::AlarmId;
use lauter_core::reading::{Cause, Status};
use lauter_core::supervisor::{
    AlarmLine, Band, ConditionedReading, Line, Output, ProjectionLine, RunoffState,
};
use serde::Serialize;

use super::payload::{Datatype, Value};
use crate::config::model::{Configuration, Source};

/// How far a value can be trusted (specification 3.0.0, chapter 6.4.9.1: quality codes).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quality {
    Good,
    Bad,
    Stale,
}

impl Quality {
    pub fn code(self) -> u32 {
        match self {
            Self::Bad => 0,
            Self::Good => 192,
            Self::Stale => 500,
        }
    }
}

/// A metric as it was at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    pub name: String,
    pub datatype: Datatype,
    /// None where there is none: never an old one in its place.
    pub value: Option<Value>,
    /// Empty where it has none.
    pub unit: &'static str,
    pub quality: Quality,
    /// Milliseconds since 1970.
    pub at_ms: u64,
}

impl Told {
    fn number(name: String, unit: &'static str, value: Option<f64>, at_ms: u64) -> Self {
        let value = value.filter(|value| value.is_finite());
        Self {
            name,
            datatype: Datatype::Double,
            quality: if value.is_some() {
                Quality::Good
            } else {
                Quality::Bad
            },
            value: value.map(Value::Double),
            unit,
            at_ms,
        }
    }

    fn text(name: String, value: Option<String>, at_ms: u64) -> Self {
        Self {
            name,
            datatype: Datatype::Text,
            value: value.map(Value::Text),
            unit: "",
            quality: Quality::Good,
            at_ms,
        }
    }

    /// Whether it says the same, whenever it was so.
    pub fn says_the_same(&self, other: &Self) -> bool {
        self.value == other.value && self.quality == other.quality
    }
}

/// Every metric of a tun that is known before anything was told: a birth names all that may follow.
pub fn declared(configuration: &Configuration, at_ms: u64) -> Vec<Told> {
    let mut all = Vec::new();
    for configured in &configuration.instruments {
        let instrument = &configured.instrument;
        let mut reading = Told::number(
            reading_name(&instrument.id),
            instrument.unit.name(),
            None,
            at_ms,
        );
        reading.quality = Quality::Stale;
        all.push(reading);
        for alarm in [AlarmId::InstrumentFault, AlarmId::InstrumentsDisagree] {
            all.extend(alarm_at_rest(alarm, Some(&instrument.id), at_ms));
        }
    }
    for link in &configuration.modbus_links {
        all.extend(alarm_at_rest(AlarmId::LinkLost, Some(&link.name), at_ms));
    }
    let from_broker = |source: &Source| matches!(source, Source::Mqtt(_));
    if configuration
        .instruments
        .iter()
        .any(|configured| from_broker(&configured.source))
    {
        all.extend(alarm_at_rest(AlarmId::LinkLost, Some("mqtt"), at_ms));
    }
    let receivers = [
        configuration.mqtt.as_ref().map(|_| "mqtt"),
        configuration.influx.as_ref().map(|_| "influx"),
    ];
    for receiver in receivers.into_iter().flatten() {
        all.extend(alarm_at_rest(
            AlarmId::DeliveryDelayed,
            Some(receiver),
            at_ms,
        ));
    }
    let of_instruments = [
        AlarmId::InstrumentFault,
        AlarmId::InstrumentsDisagree,
        AlarmId::LinkLost,
        AlarmId::DeliveryDelayed,
    ];
    for alarm in AlarmId::ALL {
        if !of_instruments.contains(&alarm) {
            all.extend(alarm_at_rest(alarm, None, at_ms));
        }
    }
    all.extend(runoff(None, at_ms));
    all.extend(projection(None, at_ms));
    all
}

/// What an output says in metrics; nothing for what is no state.
pub fn told(output: &Output, at_ms: u64) -> Vec<Told> {
    match output {
        Output::Reading(reading) => vec![of_reading(reading, at_ms)],
        Output::Runoff(state) => runoff(Some(state), at_ms),
        Output::Line(Line::Projection(line)) => projection(Some(line), at_ms),
        Output::Line(Line::Alarm(line)) | Output::Renewed(line) => of_alarm(line, at_ms).into(),
        // The brew is over: what it was says nothing about now.
        Output::Line(Line::Summary(_)) => {
            let mut all = runoff(None, at_ms);
            all.extend(projection(None, at_ms));
            all
        }
        Output::Line(Line::Table(_)) | Output::Occurrence(_) | Output::Lesson(_) => Vec::new(),
    }
}

fn reading_name(instrument: &str) -> String {
    format!("reading/{instrument}")
}

fn of_reading(reading: &ConditionedReading, at_ms: u64) -> Told {
    let name = reading_name(&reading.instrument);
    let told = Told::number(name, reading.unit.name(), reading.value, at_ms);
    let quality = match (reading.cause, reading.status) {
        (Some(Cause::Stale | Cause::NeverRead | Cause::LinkLost), _) => Quality::Stale,
        (_, Status::Failure | Status::FunctionCheck) => Quality::Bad,
        _ => told.quality,
    };
    Told { quality, ..told }
}

/// State, priority and message.
fn of_alarm(line: &AlarmLine, at_ms: u64) -> [Told; 3] {
    let stem = alarm_stem(line.alarm, line.instrument.as_deref());
    let text = |below: &str, text: &str| {
        Told::text(format!("{stem}/{below}"), Some(text.to_owned()), at_ms)
    };
    [
        text("state", line.to.name()),
        text("priority", line.priority.name()),
        text("message", &line.message),
    ]
}

fn alarm_at_rest(alarm: AlarmId, instrument: Option<&str>, at_ms: u64) -> [Told; 3] {
    let stem = alarm_stem(alarm, instrument);
    let text = |below: &str, text: Option<&str>| {
        Told::text(format!("{stem}/{below}"), text.map(str::to_owned), at_ms)
    };
    [
        text("state", Some("normal")),
        text("priority", None),
        text("message", None),
    ]
}

fn alarm_stem(alarm: AlarmId, instrument: Option<&str>) -> String {
    match instrument {
        Some(instrument) => format!("alarm/{}/{instrument}", alarm.name()),
        None => format!("alarm/{}", alarm.name()),
    }
}

/// Name, unit and value of one number.
type Figure = (&'static str, &'static str, Option<f64>);

fn runoff(state: Option<&RunoffState>, at_ms: u64) -> Vec<Told> {
    let of = |field: fn(&RunoffState) -> Option<f64>| state.and_then(field);
    let figures: [Figure; 11] = [
        ("elapsed_s", "s", of(|state| Some(state.elapsed_s))),
        (
            "runnings_gravity_p",
            "degP",
            of(|state| state.runnings_gravity_p),
        ),
        (
            "runnings_gravity_se_p",
            "degP",
            of(|state| state.runnings_gravity_se_p),
        ),
        ("runnings_ph", "pH", of(|state| state.runnings_ph)),
        (
            "runnings_temperature_c",
            "degC",
            of(|state| state.runnings_temperature_c),
        ),
        ("flow_l_min", "L/min", of(|state| state.flow_l_min)),
        (
            "pressure_drop_kpa",
            "kPa",
            of(|state| state.pressure_drop_kpa),
        ),
        (
            "kettle_volume_l",
            "L",
            of(|state| Some(state.kettle_volume_l)),
        ),
        (
            "kettle_gravity_p",
            "degP",
            of(|state| state.kettle_gravity_p),
        ),
        (
            "kettle_gravity_se_p",
            "degP",
            of(|state| state.kettle_gravity_se_p),
        ),
        ("extract_kg", "kg", of(|state| state.extract_kg)),
    ];
    let mut all = numbers("runoff", &figures, at_ms);
    let brew = state.map(|state| state.brew.clone());
    all.push(Told::text("runoff/brew".to_owned(), brew, at_ms));
    let phase = state.map_or_else(|| "idle".to_owned(), |state| name(&state.phase));
    all.push(Told::text("runoff/phase".to_owned(), Some(phase), at_ms));
    all
}

fn projection(line: Option<&ProjectionLine>, at_ms: u64) -> Vec<Told> {
    let target = line.and_then(|line| line.target);
    let volume = |of: fn(Band) -> f64| target.map(|target| of(target.volume_l));
    let elapsed = |of: fn(Band) -> f64| target.map(|target| of(target.elapsed_s));
    let stop = line.and_then(|line| line.stop);
    let figures: [Figure; 10] = [
        ("target_volume_p5_l", "L", volume(|band| band.p5)),
        ("target_volume_p50_l", "L", volume(|band| band.p50)),
        ("target_volume_p95_l", "L", volume(|band| band.p95)),
        ("target_elapsed_p5_s", "s", elapsed(|band| band.p5)),
        ("target_elapsed_p50_s", "s", elapsed(|band| band.p50)),
        ("target_elapsed_p95_s", "s", elapsed(|band| band.p95)),
        ("stop_volume_l", "L", stop.map(|stop| stop.volume_l)),
        ("stop_elapsed_s", "s", stop.map(|stop| stop.elapsed_s)),
        ("stop_top_up_l", "L", stop.map(|stop| stop.top_up_l)),
        (
            "stop_final_volume_l",
            "L",
            stop.map(|stop| stop.final_volume_l),
        ),
    ];
    let mut all = numbers("projection", &figures, at_ms);
    let cause = stop.map(|stop| name(&stop.cause));
    all.push(Told::text("projection/stop_cause".to_owned(), cause, at_ms));
    all
}

fn numbers(group: &str, figures: &[Figure], at_ms: u64) -> Vec<Told> {
    figures
        .iter()
        .map(|(name, unit, value)| Told::number(format!("{group}/{name}"), unit, *value, at_ms))
        .collect()
}

/// The serde name of one of the core's plain enums.
fn name<T: Serialize>(value: &T) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(name)) => name,
        other => unreachable!("only plain enums have names, not {other:?}"),
    }
}

#[cfg(test)]
mod tests {
    use lauter_core::units::Unit;

    use super::*;

    fn reading(value: Option<f64>, cause: Option<Cause>, status: Status) -> Told {
        let output = Output::Reading(ConditionedReading {
            instrument: "runoff_flow".to_owned(),
            value,
            unit: Unit::LitrePerMinute,
            standard_error: None,
            rate_per_min: None,
            status,
            cause,
            raw: value,
            measured: None,
            corrected: None,
            correction: None,
        });
        told(&output, 1000).remove(0)
    }

    #[test]
    fn a_missing_value_is_none_and_its_quality_says_which_kind_of_missing() {
        let good = reading(Some(60.0), None, Status::Good);
        assert_eq!(good.value, Some(Value::Double(60.0)));
        assert_eq!((good.quality.code(), good.unit), (192, "L/min"));
        let stale = reading(None, Some(Cause::Stale), Status::Good);
        assert_eq!((stale.value, stale.quality.code()), (None, 500));
        let absurd = reading(None, Some(Cause::OutsideLimits), Status::Good);
        assert_eq!((absurd.value, absurd.quality.code()), (None, 0));
        let failing = reading(Some(60.0), None, Status::Failure);
        assert_eq!(failing.quality.code(), 0);
        let infinite = reading(Some(f64::INFINITY), None, Status::Good);
        assert_eq!((infinite.value, infinite.quality.code()), (None, 0));
    }

    #[test]
    fn names_differ_by_more_than_their_case() {
        let mut names: Vec<String> = runoff(None, 0)
            .into_iter()
            .chain(projection(None, 0))
            .map(|told| told.name.to_lowercase())
            .collect();
        let all = names.len();
        names.sort();
        names.dedup();
        assert_eq!(names.len(), all);
    }
}

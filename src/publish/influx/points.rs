//! From the supervisor's outputs to points.
//!
//! Owns the names of measurements, tags and fields; a dashboard relies on them. Tags are what one looks up by:
//! site, tun, instrument, status, alarm, state; everything else is a field. Pure: the time is an argument.

use jiff::Timestamp;
use lauter_core::supervisor::{
    AlarmLine, Band, ConditionedReading, Crossing, Line, Output, ProjectionLine, RunoffState,
};
use serde::Serialize;

use super::lines::{Field, Point};

/// Whose outputs they are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    pub site: String,
    pub tun: String,
}

/// The point of an output at wall-clock time `at`. None for outputs that are no time series (table, summary,
/// occurrences) and for a reading that has neither a value nor a cause yet.
pub fn point(source: &Source, output: &Output, at: Timestamp) -> Option<Point> {
    let mut point = match output {
        Output::Reading(reading) => of_reading(reading),
        Output::Runoff(state) => of_runoff(state),
        Output::Line(Line::Projection(projection)) => of_projection(projection),
        Output::Line(Line::Alarm(alarm)) => of_alarm(alarm),
        Output::Line(Line::Table(_) | Line::Summary(_))
        | Output::Occurrence(_)
        | Output::Renewed(_)
        | Output::Lesson(_) => return None,
    };
    point.tags.push(("site", source.site.clone()));
    point.tags.push(("tun", source.tun.clone()));
    // Line protocol ends in the year 2262.
    point.time_ns = i64::try_from(at.as_nanosecond()).ok()?;
    (!point.fields.is_empty()).then_some(point)
}

fn of_reading(reading: &ConditionedReading) -> Point {
    let mut point = Point::of("reading");
    point.tags.push(("instrument", reading.instrument.clone()));
    point.tags.push(("status", name(&reading.status)));
    point.number("value", reading.value);
    point.number("standard_error", reading.standard_error);
    point.number("rate_per_min", reading.rate_per_min);
    // A missing value must show as missing, not as silence.
    if let Some(cause) = &reading.cause {
        point.text("cause", &name(cause));
    }
    point
}

fn of_runoff(state: &RunoffState) -> Point {
    let mut point = Point::of("runoff");
    point.text("brew", &state.brew);
    point.text("phase", &name(&state.phase));
    point.number("elapsed_s", Some(state.elapsed_s));
    point.number("runnings_gravity_p", state.runnings_gravity_p);
    point.number("runnings_gravity_se_p", state.runnings_gravity_se_p);
    point.number("runnings_ph", state.runnings_ph);
    point.number("runnings_temperature_c", state.runnings_temperature_c);
    point.number("flow_l_min", state.flow_l_min);
    point.number("pressure_drop_kpa", state.pressure_drop_kpa);
    point.number("kettle_volume_l", Some(state.kettle_volume_l));
    point.number("kettle_gravity_p", state.kettle_gravity_p);
    point.number("kettle_gravity_se_p", state.kettle_gravity_se_p);
    point.number("extract_kg", state.extract_kg);
    point
}

/// Names of a crossing's fields: volume p5, p50, p95, then time.
type CrossingNames = [&'static str; 6];

const TARGET: CrossingNames = [
    "target_volume_p5_l",
    "target_volume_p50_l",
    "target_volume_p95_l",
    "target_elapsed_p5_s",
    "target_elapsed_p50_s",
    "target_elapsed_p95_s",
];
const GRAVITY_FLOOR: CrossingNames = [
    "gravity_floor_volume_p5_l",
    "gravity_floor_volume_p50_l",
    "gravity_floor_volume_p95_l",
    "gravity_floor_elapsed_p5_s",
    "gravity_floor_elapsed_p50_s",
    "gravity_floor_elapsed_p95_s",
];
const PH_CEILING: CrossingNames = [
    "ph_ceiling_volume_p5_l",
    "ph_ceiling_volume_p50_l",
    "ph_ceiling_volume_p95_l",
    "ph_ceiling_elapsed_p5_s",
    "ph_ceiling_elapsed_p50_s",
    "ph_ceiling_elapsed_p95_s",
];

fn of_projection(projection: &ProjectionLine) -> Point {
    let mut point = Point::of("projection");
    point.number("elapsed_s", Some(projection.elapsed_s));
    point.number("kettle_volume_l", Some(projection.kettle_volume_l));
    point.number("kettle_gravity_p", projection.kettle_gravity_p);
    point.number("kettle_gravity_se_p", projection.kettle_gravity_se_p);
    point.crossing(TARGET, projection.target);
    point.crossing(GRAVITY_FLOOR, projection.gravity_floor);
    point.crossing(PH_CEILING, projection.ph_ceiling);
    if let Some(stop) = &projection.stop {
        point.text("stop_cause", &name(&stop.cause));
        point.number("stop_volume_l", Some(stop.volume_l));
        point.number("stop_elapsed_s", Some(stop.elapsed_s));
        point.number("stop_top_up_l", Some(stop.top_up_l));
        point.number("stop_final_volume_l", Some(stop.final_volume_l));
    }
    point
}

fn of_alarm(alarm: &AlarmLine) -> Point {
    let mut point = Point::of("alarm");
    point.tags.push(("alarm", alarm.alarm.name().to_owned()));
    point.tags.push(("priority", name(&alarm.priority)));
    // A tag, so that two changes at one moment stay two points.
    point.tags.push(("state", name(&alarm.to)));
    if let Some(instrument) = &alarm.instrument {
        point.tags.push(("instrument", instrument.clone()));
    }
    point.text("from", &name(&alarm.from));
    point.number("elapsed_s", Some(alarm.elapsed_s));
    point.text("message", &alarm.message);
    point
}

impl Point {
    fn of(measurement: &'static str) -> Self {
        Self {
            measurement,
            tags: Vec::new(),
            fields: Vec::new(),
            time_ns: 0,
        }
    }

    fn number(&mut self, field: &'static str, value: Option<f64>) {
        if let Some(value) = value {
            self.fields.push((field, Field::Number(value)));
        }
    }

    /// Words for people: a stray control character must not cost the point.
    fn text(&mut self, field: &'static str, text: &str) {
        let plain = text.replace(char::is_control, " ");
        self.fields.push((field, Field::Text(plain)));
    }

    fn crossing(&mut self, names: CrossingNames, crossing: Option<Crossing>) {
        let Some(Crossing {
            volume_l,
            elapsed_s,
        }) = crossing
        else {
            return;
        };
        let values = |band: Band| [band.p5, band.p50, band.p95];
        let values = values(volume_l).into_iter().chain(values(elapsed_s));
        for (field, value) in names.into_iter().zip(values) {
            self.number(field, Some(value));
        }
    }
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
    use std::collections::BTreeMap;

    use lauter_core::alarm::{AlarmId, AlarmState, Priority};
    use lauter_core::reading::{Cause, Status};
    use lauter_core::supervisor::{Occurrence, Stop, StopCause};
    use lauter_core::units::Unit;

    use super::*;

    fn line(output: &Output) -> String {
        let source = Source {
            site: "north-yard".to_owned(),
            tun: "tun 1".to_owned(),
        };
        let at = Timestamp::from_microsecond(1_776_945_600_000_001).unwrap();
        point(&source, output, at).unwrap().line().unwrap()
    }

    fn reading(value: Option<f64>, cause: Option<Cause>) -> Output {
        Output::Reading(ConditionedReading {
            instrument: "runnings_density".to_owned(),
            value,
            unit: Unit::KilogramPerCubicMetre,
            standard_error: value.map(|_| 0.25),
            rate_per_min: None,
            status: Status::MaintenanceRequired,
            cause,
            raw: value,
            measured: None,
            corrected: None,
            correction: None,
        })
    }

    #[test]
    fn a_reading_bears_its_instrument_and_status() {
        assert_eq!(
            line(&reading(Some(1052.125), None)),
            "reading,instrument=runnings_density,site=north-yard,status=maintenance-required,tun=tun\\ 1 \
             standard_error=0.25,value=1052.125 1776945600000001000"
        );
    }

    #[test]
    fn a_missing_value_shows_its_cause() {
        let line = line(&reading(None, Some(Cause::LinkLost)));
        assert!(line.contains(r#" cause="link-lost" "#), "{line}");
        assert!(!line.contains("value="), "{line}");
    }

    #[test]
    fn a_projection_carries_its_bands() {
        let band = Band {
            p5: 1.0,
            p50: 2.0,
            p95: 3.0,
        };
        let line = line(&Output::Line(Line::Projection(ProjectionLine {
            elapsed_s: 2400.0,
            kettle_volume_l: 2411.8,
            kettle_gravity_p: Some(17.92),
            kettle_gravity_se_p: None,
            target: Some(Crossing {
                volume_l: band,
                elapsed_s: Band { p50: 9.0, ..band },
            }),
            gravity_floor: None,
            ph_ceiling: None,
            stop: Some(Stop {
                cause: StopCause::TargetGravity,
                volume_l: 5180.0,
                elapsed_s: 5170.0,
                top_up_l: 0.0,
                final_volume_l: 5180.0,
            }),
        })));
        assert!(line.contains("target_volume_p50_l=2,"), "{line}");
        assert!(line.contains("target_elapsed_p50_s=9,"), "{line}");
        assert!(line.contains(r#"stop_cause="target-gravity""#), "{line}");
        assert!(!line.contains("gravity_floor"), "{line}");
    }

    #[test]
    fn an_alarm_is_found_by_name_state_and_priority() {
        let line = line(&Output::Line(Line::Alarm(AlarmLine {
            elapsed_s: 3120.0,
            alarm: AlarmId::Channelling,
            instrument: None,
            from: AlarmState::Normal,
            to: AlarmState::Unacknowledged,
            priority: Priority::High,
            message: "Resistance fell\nby 30 %".to_owned(),
            advice: String::new(),
            evidence: BTreeMap::new(),
        })));
        assert_eq!(
            line,
            "alarm,alarm=channelling,priority=high,site=north-yard,state=unacknowledged,tun=tun\\ 1 \
             elapsed_s=3120,from=\"normal\",message=\"Resistance fell by 30 %\" 1776945600000001000"
        );
    }

    #[test]
    fn an_occurrence_is_no_time_series() {
        let output = Output::Occurrence(Occurrence {
            elapsed_s: None,
            event: "brew-started".to_owned(),
            text: String::new(),
        });
        let source = Source {
            site: "s".to_owned(),
            tun: "t".to_owned(),
        };
        assert_eq!(point(&source, &output, Timestamp::UNIX_EPOCH), None);
    }
}

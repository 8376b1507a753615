use super::*;
use lauter_core::alarm::{AlarmId, AlarmState, Priority};
use lauter_core::supervisor::{
    Band, Crossing, IfStopped, Occurrence, Phase, ProjectionLine, RunoffState, Stop, StopCause,
    SummaryLine, TableLine,
};
use proptest::prelude::*;
use serde_json::{Value, json};

fn topics() -> Topics {
    Topics::new("north-yard", "tun-1")
}

fn stamp() -> Stamp {
    Stamp {
        time: "2026-04-12T08:30:00.250Z".parse().expect("a time"),
        seq: 4711,
    }
}

/// Topic, quality, retain and payload as parsed by a receiver.
fn published(output: &Output) -> (String, Quality, bool, Value) {
    let message = topics().message(output, stamp()).expect("a message");
    let value = serde_json::from_slice(&message.payload).expect("JSON");
    (message.topic, message.quality, message.retain, value)
}

fn reading() -> ConditionedReading {
    ConditionedReading {
        instrument: "runnings_density".to_owned(),
        value: Some(1043.21),
        unit: Unit::KilogramPerCubicMetre,
        standard_error: Some(0.05),
        rate_per_min: Some(-0.31),
        status: Status::Good,
        cause: None,
        raw: Some(1043.5),
        measured: None,
        corrected: None,
        correction: None,
    }
}

fn alarm(instrument: Option<&str>, to: AlarmState) -> Output {
    Output::Line(Line::Alarm(AlarmLine {
        elapsed_s: 3120.0,
        alarm: AlarmId::InstrumentFault,
        instrument: instrument.map(str::to_owned),
        from: AlarmState::Unacknowledged,
        to,
        priority: Priority::High,
        message: "Runnings density gives no value".to_owned(),
        advice: "Take a hand sample".to_owned(),
        evidence: [("age_s".to_owned(), 12.5)].into(),
    }))
}

#[test]
fn a_reading_has_the_fields_of_the_contract_and_no_others() {
    let expected = json!({
        "time": "2026-04-12T08:30:00.250Z", "seq": 4711, "value": 1043.21, "unit": "kg/m3",
        "standard_error": 0.05, "rate_per_min": -0.31, "status": "good", "cause": null
    });
    let topic = "lauterd/north-yard/tun-1/reading/runnings_density".to_owned();
    let found = published(&Output::Reading(reading()));
    assert_eq!(found, (topic, Quality::AtMostOnce, false, expected));
}

#[test]
fn a_missing_value_is_null_with_its_cause() {
    let output = Output::Reading(ConditionedReading {
        value: None,
        standard_error: None,
        rate_per_min: None,
        status: Status::Failure,
        cause: Some(Cause::LoopBelowRange),
        ..reading()
    });
    let (_, _, _, value) = published(&output);
    assert_eq!(value["value"], Value::Null);
    assert!(value.as_object().expect("an object").contains_key("value"));
    assert_eq!(value["cause"], "loop-below-range");
    assert_eq!(value["status"], "failure");
}

#[test]
fn a_projection_carries_the_fields_of_the_replay_line() {
    let band = Band {
        p5: 5010.0,
        p50: 5180.0,
        p95: 5370.0,
    };
    let line = ProjectionLine {
        elapsed_s: 2400.0,
        kettle_volume_l: 2411.8,
        kettle_gravity_p: Some(17.92),
        kettle_gravity_se_p: Some(0.04),
        target: Some(Crossing {
            volume_l: band,
            elapsed_s: band,
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
    };
    let band = json!({"p5": 5010.0, "p50": 5180.0, "p95": 5370.0});
    let expected = json!({
        "time": "2026-04-12T08:30:00.250Z", "seq": 4711, "elapsed_s": 2400.0,
        "kettle_volume_l": 2411.8, "kettle_gravity_p": 17.92, "kettle_gravity_se_p": 0.04,
        "target": {"volume_l": band, "elapsed_s": band}, "gravity_floor": null, "ph_ceiling": null,
        "stop": {"cause": "target-gravity", "volume_l": 5180.0, "elapsed_s": 5170.0, "top_up_l": 0.0,
                 "final_volume_l": 5180.0}
    });
    let topic = "lauterd/north-yard/tun-1/projection".to_owned();
    let found = published(&Output::Line(Line::Projection(line)));
    assert_eq!(found, (topic, Quality::AtMostOnce, false, expected));
}

#[test]
fn the_run_off_state_goes_to_its_own_topic() {
    let output = Output::Runoff(RunoffState {
        elapsed_s: 60.0,
        brew: "2026-0412".to_owned(),
        phase: Phase::FirstWort,
        runnings_gravity_p: Some(18.0),
        runnings_gravity_se_p: Some(0.05),
        runnings_ph: None,
        runnings_temperature_c: Some(75.5),
        flow_l_min: Some(60.1),
        pressure_drop_kpa: Some(1.02),
        kettle_volume_l: 60.0,
        kettle_gravity_p: Some(18.0),
        kettle_gravity_se_p: Some(0.1),
        extract_kg: Some(11.5),
        if_stopped_now: Some(IfStopped {
            top_up_l: 28.1,
            final_volume_l: 88.1,
            boil_off_percent: 0.0,
            brew_length_l_per_kg: 0.09,
        }),
    });
    let (topic, quality, retain, value) = published(&output);
    assert_eq!(topic, "lauterd/north-yard/tun-1/runoff");
    assert_eq!((quality, retain), (Quality::AtMostOnce, false));
    for (field, expected) in [
        ("seq", json!(4711)),
        ("elapsed_s", json!(60.0)),
        ("brew", json!("2026-0412")),
        ("phase", json!("first-wort")),
        ("runnings_ph", Value::Null),
        ("flow_l_min", json!(60.1)),
        ("extract_kg", json!(11.5)),
        (
            "if_stopped_now",
            json!({"top_up_l": 28.1, "final_volume_l": 88.1, "boil_off_percent": 0.0, "brew_length_l_per_kg": 0.09}),
        ),
    ] {
        assert_eq!(value[field], expected, "{field}");
    }
}

#[test]
fn an_alarm_is_retained_below_its_name_and_its_instrument() {
    let (topic, quality, retain, value) =
        published(&alarm(Some("runnings_density"), AlarmState::Acknowledged));
    assert_eq!(
        topic,
        "lauterd/north-yard/tun-1/alarm/instrument-fault/runnings_density"
    );
    assert_eq!((quality, retain), (Quality::AtLeastOnce, true));
    let expected = json!({
        "time": "2026-04-12T08:30:00.250Z", "seq": 4711, "elapsed_s": 3120.0,
        "alarm": "instrument-fault", "instrument": "runnings_density", "from": "unacknowledged",
        "to": "acknowledged", "priority": "high", "message": "Runnings density gives no value",
        "advice": "Take a hand sample", "evidence": {"age_s": 12.5}
    });
    assert_eq!(value, expected);
}

#[test]
fn an_alarm_that_is_normal_again_stays_retained_and_says_so() {
    let (topic, _, retain, value) = published(&alarm(None, AlarmState::Normal));
    assert_eq!(topic, "lauterd/north-yard/tun-1/alarm/instrument-fault");
    assert!(retain);
    assert_eq!(value["to"], "normal");
    assert_eq!(value["instrument"], Value::Null);
}

#[test]
fn events_name_what_they_are() {
    let table = Output::Line(Line::Table(TableLine {
        elapsed_s: 600.0,
        runnings_gravity_p: Some(18.0),
        runnings_ph: Some(5.35),
        kettle_volume_l: 602.0,
        kettle_gravity_p: Some(18.0),
        flow_l_min: Some(60.1),
        pressure_drop_kpa: Some(1.02),
    }));
    let summary = Output::Line(Line::Summary(SummaryLine {
        stop_volume_l: Some(5184.0),
        stop_elapsed_s: Some(5175.0),
        stop_cause: StopCause::TargetGravity,
        kettle_gravity_p: Some(12.4),
        extract_kg: Some(657.0),
        brew_length_l_per_kg: Some(5.29),
        readings: 43210,
        rejected: 12,
    }));
    let occurrence = Output::Occurrence(Occurrence {
        elapsed_s: None,
        event: "brew-started".to_owned(),
        text: "Brew 2026-0412".to_owned(),
    });
    for (output, event, field, expected) in [
        (table, "table", "kettle_volume_l", json!(602.0)),
        (summary, "summary", "brew_length_l_per_kg", json!(5.29)),
        (occurrence, "brew-started", "text", json!("Brew 2026-0412")),
    ] {
        let (topic, quality, retain, value) = published(&output);
        assert_eq!(topic, "lauterd/north-yard/tun-1/event");
        assert_eq!((quality, retain), (Quality::AtLeastOnce, false));
        assert_eq!(value["event"], event);
        assert_eq!(value[field], expected);
        assert_eq!(value["seq"], 4711);
        assert!(value.get("kind").is_none());
    }
}

#[test]
fn online_is_retained() {
    let message = topics().online_message(true, stamp());
    assert_eq!(message.topic, "lauterd/north-yard/tun-1/online");
    assert!(message.retain);
    let value: Value = serde_json::from_slice(&message.payload).expect("JSON");
    let expected = json!({"time": "2026-04-12T08:30:00.250Z", "seq": 4711, "online": true});
    assert_eq!(value, expected);
}

#[test]
fn a_time_always_has_three_decimals() {
    let whole = "2026-04-12T08:30:00Z".parse().expect("a time");
    assert_eq!(time_text(whole), "2026-04-12T08:30:00.000Z");
    let fine = "2026-04-12T08:30:00.123456Z".parse().expect("a time");
    assert_eq!(time_text(fine), "2026-04-12T08:30:00.123Z");
}

proptest! {
    #[test]
    fn whatever_the_names_the_topic_has_the_right_levels_and_no_wildcard(
        site in ".{0,12}", tun in ".{0,12}", instrument in ".{0,12}",
    ) {
        let output = Output::Reading(ConditionedReading { instrument, ..reading() });
        let topic = Topics::new(&site, &tun).message(&output, stamp()).expect("a message").topic;
        prop_assert_eq!(topic.split('/').count(), 5);
        prop_assert!(!topic.contains(['+', '#', '\0']));
    }

    #[test]
    fn no_number_makes_a_payload_that_is_not_json(value in any::<f64>()) {
        let output = Output::Reading(ConditionedReading { value: Some(value), ..reading() });
        let (_, _, _, json) = published(&output);
        if value.is_finite() {
            prop_assert_eq!(json["value"].as_f64(), Some(value));
        } else {
            prop_assert_eq!(&json["value"], &Value::Null);
        }
    }
}

use lauter_core::supervisor::Place;

use super::*;

fn keys<T: fmt::Debug>(result: Result<T, Vec<Fault>>) -> Vec<String> {
    result.unwrap_err().into_iter().map(|f| f.key).collect()
}

#[test]
fn a_sample_names_every_value_out_of_range_at_once() {
    let sample = SampleBody {
        place: Place::Kettle,
        gravity_p: Some(99.0),
        ph: Some(14.0),
        volume_l: Some(-1.0),
        gravity_sg: None,
        gravity_bx: None,
    };
    assert_eq!(keys(sample.sample()), ["gravity_p", "ph", "volume_l"]);
    let nothing = SampleBody {
        gravity_p: None,
        ph: None,
        volume_l: None,
        ..sample
    };
    assert_eq!(keys(nothing.sample()), ["gravity_p"]);
}

#[test]
fn a_misspelt_key_of_a_sample_is_refused_and_not_lost() {
    let body = r#"{"place":"kettle","gravity":12.0}"#;
    let error = serde_json::from_str::<SampleBody>(body).unwrap_err();
    assert!(error.to_string().contains("gravity"), "{error}");
}

fn operation(action: AlarmAction) -> AlarmOperation {
    AlarmOperation {
        who: "shift brewer".to_owned(),
        action,
        minutes: None,
        reason: None,
    }
}

#[test]
fn shelving_needs_minutes_and_a_reason_and_acknowledging_takes_neither() {
    assert_eq!(
        keys(operation(AlarmAction::Shelve).action()),
        ["minutes", "reason"]
    );
    let full = AlarmOperation {
        minutes: Some(15.0),
        reason: Some("meter is being cleaned".to_owned()),
        ..operation(AlarmAction::Shelve)
    };
    let expected = OperatorAction::Shelve {
        minutes: 15.0,
        reason: "meter is being cleaned".to_owned(),
    };
    assert_eq!(full.clone().action().unwrap().1, expected);
    let acknowledged = AlarmOperation {
        action: AlarmAction::Acknowledge,
        ..full
    };
    assert_eq!(keys(acknowledged.action()), ["minutes", "reason"]);
    assert!(operation(AlarmAction::Acknowledge).action().is_ok());
    assert_eq!(
        keys(operation(AlarmAction::OutOfService).action()),
        ["reason"]
    );
}

#[test]
fn nobody_operates_an_alarm_without_a_name_or_shelves_it_for_good() {
    for who in ["", "  ", "a\nb", &"x".repeat(201)] {
        let operation = AlarmOperation {
            who: who.to_owned(),
            ..operation(AlarmAction::Acknowledge)
        };
        assert_eq!(keys(operation.action()), ["who"], "{who:?}");
    }
    for minutes in [0.0, -5.0, 481.0, f64::NAN, f64::INFINITY] {
        let operation = AlarmOperation {
            minutes: Some(minutes),
            reason: Some("r".to_owned()),
            ..operation(AlarmAction::Shelve)
        };
        assert_eq!(keys(operation.action()), ["minutes"], "{minutes}");
    }
}

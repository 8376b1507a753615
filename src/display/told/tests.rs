use std::collections::BTreeMap;

use lauter_core::alarm::definition;

use super::*;
use crate::config::model::{DecimalMark, Display};

fn german() -> Voice {
    Voice::new(Display {
        language: Language::German,
        decimal: DecimalMark::Comma,
        ..Display::default()
    })
}

fn line(alarm: AlarmId, to: AlarmState, message: &str, evidence: &[(&str, f64)]) -> AlarmLine {
    let evidence = evidence.iter().map(|(name, it)| ((*name).to_owned(), *it));
    AlarmLine {
        elapsed_s: 3000.0,
        alarm,
        instrument: Some("runnings_ph".to_owned()),
        from: AlarmState::Normal,
        to,
        priority: definition(alarm).priority,
        message: message.to_owned(),
        advice: String::new(),
        evidence: evidence.collect::<BTreeMap<_, _>>(),
    }
}

#[test]
fn the_evidence_of_a_channel_is_a_german_sentence() {
    let evidence = [
        ("resistance_fall_share", 0.23),
        ("resistance_fall_s", 48.0),
        ("runnings_gravity_p", 16.4),
        ("forecast_gravity_p", 17.5),
    ];
    let message = "… within 48 s, the runnings turned cloudy.";
    let line = line(
        AlarmId::Channelling,
        AlarmState::Unacknowledged,
        message,
        &evidence,
    );
    assert_eq!(
        alarm_said(&line, german()).text,
        "Wasser hat sich einen Kanal durch die Treber gesucht: der Treberwiderstand ist in 48 s um 23 % gefallen, \
         der Ablauf hat 16,4 °P statt der vorhergesagten 17,5 °P, der Ablauf ist trüb geworden."
    );
    let english = alarm_said(&line, Voice::new(Display::default()));
    assert_eq!(english.text, message);
}

#[test]
fn every_cause_of_a_fault_has_its_german() {
    for cause in Cause::ALL {
        let message = format!(
            "runnings_ph gives no usable value: {}.",
            cause_in_words(cause)
        );
        let line = line(
            AlarmId::InstrumentFault,
            AlarmState::Unacknowledged,
            &message,
            &[],
        );
        let said = alarm_said(&line, german());
        assert!(
            said.text.contains(cause_words(cause, Language::German)),
            "{cause:?}: {}",
            said.text
        );
    }
}

#[test]
fn every_alarm_has_german_words_and_what_became_of_it_keeps_its_name() {
    for alarm in AlarmId::ALL {
        let bare = line(alarm, AlarmState::Unacknowledged, "", &[]);
        let said = alarm_said(&bare, german());
        assert!(said.lang.is_none() && !said.text.is_empty(), "{alarm:?}");
        let message = format!(
            "No longer so: {} Acknowledged by anna.",
            definition(alarm).cause
        );
        let gone = line(alarm, AlarmState::Normal, &message, &[]);
        let said = alarm_said(&gone, german()).text;
        assert!(said.starts_with("Vorbei: "), "{said}");
        assert!(said.ends_with("Quittiert von anna."), "{said}");
    }
    let shelved = line(
        AlarmId::LinkLost,
        AlarmState::Shelved,
        "Shelved for 30 min (pump seal) by anna. It returns by itself.",
        &[],
    );
    let said = alarm_said(&shelved, german()).text;
    assert_eq!(
        said,
        "Zurückgestellt für 30 min (pump seal) von anna; kommt von selbst wieder."
    );
}

use std::collections::BTreeMap;

use lauter_core::alarm::definition;

use super::*;
use crate::config::model::{DecimalMark, Display};
use crate::store::StoreError;

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

/// An alarm about the record, in German.
fn of_the_record(message: &str, depth: f64) -> String {
    let evidence = [("oldest_age_s", 3.0), ("depth", depth)];
    let mut line = line(
        AlarmId::DeliveryDelayed,
        AlarmState::Unacknowledged,
        message,
        &evidence,
    );
    line.instrument = Some(lauter_core::supervisor::RECORD.to_owned());
    alarm_said(&line, german()).text
}

#[test]
fn a_record_that_takes_nothing_is_told_apart_from_rows_that_wait_for_a_broker() {
    let full =
        "Nothing is being recorded: the disk is full; free disk space. 12 rows wait in memory.";
    assert_eq!(
        of_the_record(full, 12.0),
        "Es wird nichts aufgezeichnet: die Platte ist voll; Platz schaffen. 12 Zeilen warten im Arbeitsspeicher."
    );
    let unknown = "Nothing is being recorded: e.g. this. 0 rows wait in memory.";
    assert_eq!(
        of_the_record(unknown, 0.0),
        "Es wird nichts aufgezeichnet: e.g. this. 0 Zeilen warten im Arbeitsspeicher."
    );
    let unsafe_file = "The record is not safe: something.";
    assert_eq!(
        of_the_record(unsafe_file, 0.0),
        "Das Protokoll ist nicht sicher: something."
    );
}

#[test]
fn every_cause_why_nothing_is_recorded_has_its_german() {
    let path = std::path::PathBuf::from("/var/lib/lauterd");
    let doing = "opening it";
    for cause in [
        StoreError::ReadOnlyDisk {
            path: path.clone(),
            doing,
        },
        StoreError::Permission {
            path: path.clone(),
            doing,
        },
        StoreError::Gone { path: path.clone() },
        StoreError::Stalled,
        StoreError::InUse {
            path: path.clone(),
            process: Some(7),
        },
        StoreError::Corrupt {
            path: path.clone(),
            doing,
            detail: "a page".to_owned(),
        },
    ] {
        let message = format!("Nothing is being recorded: {cause}. 12 rows wait in memory.");
        let said = of_the_record(&message, 12.0);
        assert!(!said.contains(&cause.to_string()), "{said}");
        assert!(
            said.ends_with(". 12 Zeilen warten im Arbeitsspeicher."),
            "{said}"
        );
    }
}

//! Corrected instruments: what a correction does to the run-off, and that a record of it gives the same again.

use super::*;
use crate::calibration::{Correction, Rule};

fn less(offset_p: f64, version: u32) -> Correction {
    Correction {
        version,
        rule: Rule::Line {
            slope: 1.0,
            offset: -offset_p,
        },
    }
}

fn run_with(corrections: Vec<(usize, Correction)>) -> Run {
    let mut run = Run {
        supervisor: Supervisor::new(plant(), instruments(), Parameters::default()),
        outputs: Vec::new(),
        volume_l: 0.0,
        second: 0.0,
    };
    run.give(Event::BrewStarted {
        plan: Box::new(plan()),
        zero: Moment::ZERO,
        profile: None,
        corrections,
    });
    run
}

/// As `Run::flow` at 60 L/min, with a gravity meter that reads `off_p` too much.
fn flow(run: &mut Run, seconds: u32, off_p: f64) {
    for _ in 0..seconds {
        run.second += 1.0;
        run.volume_l += 1.0;
        let noise = wobble(run.second, 0.0);
        run.read(GRAVITY, gravity_p(run.volume_l) + off_p + 0.02 * noise);
        run.read(FLOW, 60.0 + 0.3 * noise);
        run.read(RECIRCULATING, 0.0);
        run.read(LEVEL, (run.volume_l + 3.0 * wobble(run.second, 1.0)) / 70.0);
    }
}

fn last_reading(run: &Run) -> ConditionedReading {
    let told = run
        .outputs
        .iter()
        .rev()
        .find_map(|dated| match &dated.output {
            Output::Reading(reading) if reading.instrument == "runnings_gravity" => {
                Some(reading.clone())
            }
            _ => None,
        });
    told.expect("the gravity was told")
}

#[test]
fn a_meter_that_reads_too_much_and_is_corrected_calls_the_same_stop_point() {
    let stop_l = |off_p: f64, corrections| {
        let mut run = run_with(corrections);
        flow(&mut run, 6600, off_p);
        run.summary().stop_volume_l.unwrap()
    };
    let true_l = stop_l(0.0, Vec::new());
    let corrected_l = stop_l(0.6, vec![(GRAVITY, less(0.6, 1))]);
    let left_l = stop_l(0.6, Vec::new());
    assert!(
        (corrected_l - true_l).abs() < 1.0,
        "{corrected_l} for {true_l}"
    );
    assert!((left_l - true_l).abs() > 100.0, "{left_l} for {true_l}");
}

#[test]
fn a_reading_is_told_as_it_came_as_measured_and_as_corrected() {
    let mut run = run_with(vec![(GRAVITY, less(0.6, 4))]);
    flow(&mut run, 60, 0.6);
    let reading = last_reading(&run);
    assert_eq!(reading.raw, reading.measured);
    assert_eq!(reading.correction, Some(4));
    let shift = reading.measured.unwrap() - reading.corrected.unwrap();
    assert!((shift - 0.6).abs() < 1e-9, "{reading:?}");
    let mut plain = run_with(Vec::new());
    flow(&mut plain, 60, 0.0);
    let reading = last_reading(&plain);
    assert_eq!((reading.corrected, reading.correction), (None, None));
}

#[test]
fn the_limits_stay_the_instruments_own() {
    let mut run = run_with(vec![(GRAVITY, less(-1.0, 1))]);
    flow(&mut run, 60, 0.0);
    // 36 °P is beyond its 35; corrected by one it would be no less so, and −2.5 is not brought within −2 either.
    for wrong in [36.0, -2.5] {
        run.second += 1.0;
        run.read(GRAVITY, wrong);
    }
    run.second += 2.0;
    run.give(Event::Tick);
    assert_eq!(last_reading(&run).cause, Some(Cause::OutsideLimits));
}

/// Events with a correction changed on the way, and the state stored and taken up again after it.
#[test]
fn a_correction_changed_on_the_way_is_the_same_from_the_record_and_from_a_stored_state() {
    let change = |correction| Event::Corrected {
        instrument: GRAVITY,
        correction,
        who: "engineer".to_owned(),
    };
    let whole = |stored: bool| {
        let mut run = run_with(vec![(GRAVITY, less(0.2, 1))]);
        flow(&mut run, 1200, 0.5);
        run.give(change(Some(less(0.5, 2))));
        flow(&mut run, 30, 0.5);
        if stored {
            let text = serde_json::to_string(&run.supervisor).unwrap();
            run.supervisor = serde_json::from_str(&text).unwrap();
        }
        flow(&mut run, 1200, 0.5);
        run.give(change(None));
        flow(&mut run, 600, 0.0);
        run.give(Event::BrewEnded);
        run.outputs
    };
    let outputs = whole(false);
    assert_eq!(outputs, whole(true));
    let told: Vec<&str> = outputs
        .iter()
        .filter_map(|dated| match &dated.output {
            Output::Occurrence(told) if told.event == "correction" => Some(told.text.as_str()),
            _ => None,
        })
        .collect();
    assert_eq!(
        told,
        [
            "runnings_gravity: correction 2 is in force from now on, set by engineer.",
            "runnings_gravity: its correction was taken back by engineer."
        ]
    );
    assert!(
        !outputs.iter().any(|dated| matches!(&dated.output,
            Output::Line(Line::Alarm(line)) if line.alarm == AlarmId::InstrumentFault)),
        "a change of correction is no fault"
    );
}

#[test]
fn the_same_correction_again_changes_nothing() {
    let correction = Some(less(0.2, 1));
    let mut run = run_with(vec![(GRAVITY, less(0.2, 1))]);
    flow(&mut run, 100, 0.2);
    let before = run.supervisor.clone();
    let at = Moment::from_seconds(run.second);
    run.supervisor.handle(
        Event::Corrected {
            instrument: GRAVITY,
            correction,
            who: "engineer".to_owned(),
        },
        at,
    );
    assert_eq!(run.supervisor, before);
    // An instrument that is not there is nobody's.
    let nowhere = Event::Corrected {
        instrument: 99,
        correction: None,
        who: "engineer".to_owned(),
    };
    run.supervisor.handle(nowhere, at);
    assert_eq!(run.supervisor, before);
}

#[test]
fn a_beginning_recorded_before_there_were_corrections_is_read() {
    let mut recorded = serde_json::to_value(Event::BrewStarted {
        plan: Box::new(plan()),
        zero: Moment::ZERO,
        profile: None,
        corrections: vec![(GRAVITY, less(0.1, 1))],
    })
    .unwrap();
    let body = recorded["brew-started"].as_object_mut().unwrap();
    assert!(body.remove("corrections").is_some());
    let event: Event = serde_json::from_value(recorded).unwrap();
    assert!(matches!(event, Event::BrewStarted { corrections, .. } if corrections.is_empty()));
}

/// An electrode of 90 % in a line at 75 °C: its correction needs the temperature that an instrument tells.
#[test]
fn an_electrode_is_corrected_at_the_temperature_of_the_line() {
    let mut instruments = instruments();
    instruments.push(instrument(
        "runnings_ph",
        Measures::RunningsPh,
        Unit::Ph,
        0.0,
        14.0,
    ));
    instruments.push(instrument(
        "runnings_temperature",
        Measures::RunningsTemperature,
        Unit::Celsius,
        0.0,
        110.0,
    ));
    let rule = Rule::Electrode {
        offset_mv: 20.0,
        slope_percent: 90.0,
    };
    let mut supervisor = Supervisor::new(plant(), instruments, Parameters::default());
    supervisor.set_corrections(&[(4, Correction { version: 1, rule })]);
    let mut told = None;
    for second in 0..40 {
        let at = Moment::from_seconds(f64::from(second));
        for (instrument, value) in [(5, 30.0), (4, 5.2)] {
            let reading = Reading {
                value: Ok(value),
                status: Status::Good,
                at,
            };
            supervisor.handle(
                Event::Reading {
                    instrument,
                    reading,
                },
                at,
            );
        }
        while let Some(dated) = supervisor.poll_output() {
            if let Output::Reading(reading) = dated.output
                && reading.instrument == "runnings_ph"
            {
                told = Some(reading);
            }
        }
    }
    let corrected = told.expect("readings are told").corrected.unwrap();
    assert!(
        (corrected - rule.apply(5.2, 30.0)).abs() < 1e-6,
        "{corrected}"
    );
    assert!((corrected - rule.apply(5.2, 75.0)).abs() > 0.03);
}

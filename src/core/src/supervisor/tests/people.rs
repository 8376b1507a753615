//! What people do about alarms, and that it changes no estimate.

use super::super::alarms::relates;
use super::*;
use crate::alarm::Reach;

fn operator(alarm: AlarmId, instrument: Option<&str>, action: OperatorAction) -> Event {
    Event::Operator {
        alarm,
        instrument: instrument.map(str::to_owned),
        who: "night shift".to_owned(),
        action,
    }
}

fn because(reason: &str) -> OperatorAction {
    OperatorAction::OutOfService {
        reason: reason.to_owned(),
    }
}

#[test]
fn what_people_do_about_alarms_changes_no_estimate() {
    let estimates = |run: &Run| -> Vec<Line> {
        let lines = run.lines().into_iter().cloned();
        lines
            .filter(|line| !matches!(line, Line::Alarm(_)))
            .collect()
    };
    let (mut plain, mut busy) = (Run::new(), Run::new());
    for alarm in [
        AlarmId::Channelling,
        AlarmId::GravityFloor,
        AlarmId::StopPointReached,
        AlarmId::InstrumentsDisagree,
    ] {
        let level = (alarm == AlarmId::InstrumentsDisagree).then_some("kettle_level");
        busy.give(operator(alarm, level, because("trial")));
    }
    for run in [&mut plain, &mut busy] {
        run.flow(6600, 60.0, false);
    }
    assert!(
        plain
            .alarms()
            .contains(&(AlarmId::StopPointReached, AlarmState::Unacknowledged))
    );
    assert!(
        !busy
            .alarms()
            .contains(&(AlarmId::StopPointReached, AlarmState::Unacknowledged))
    );
    assert_eq!(estimates(&plain), estimates(&busy));
    assert_eq!(plain.summary(), busy.summary());
}

#[test]
fn what_cannot_be_done_is_refused_with_its_reason_and_changes_nothing() {
    let mut run = Run::new();
    run.flow(60, 60.0, false);
    let before = run.supervisor.clone();
    let now = Moment::from_seconds(run.second);
    let shelve = OperatorAction::Shelve {
        minutes: 500.0,
        reason: "forgotten".to_owned(),
    };
    for (alarm, about, action, part) in [
        (
            AlarmId::StuckBed,
            None,
            OperatorAction::Acknowledge,
            "nothing to acknowledge",
        ),
        (
            AlarmId::StuckBed,
            None,
            OperatorAction::Unshelve,
            "not on the shelf",
        ),
        (
            AlarmId::StuckBed,
            None,
            OperatorAction::ReturnToService,
            "it is in service",
        ),
        (AlarmId::StuckBed, None, shelve, "15 min at most"),
        (
            AlarmId::StuckBed,
            Some("runoff_flow"),
            because("x"),
            "whole tun",
        ),
        (AlarmId::InstrumentFault, None, because("x"), "kettle_level"),
        (
            AlarmId::InstrumentFault,
            Some("kettle_leval"),
            because("x"),
            "kettle_level",
        ),
        (AlarmId::LinkLost, Some("panel"), because("x"), "skid"),
    ] {
        let fault = run
            .supervisor
            .may_operate(alarm, about, &action, now)
            .unwrap_err();
        assert!(fault.to_string().contains(part), "{part} in {fault}");
        run.give(operator(alarm, about, action));
    }
    assert_eq!(run.supervisor, before);
}

#[test]
fn a_brews_alarms_wait_for_their_acknowledgement_when_it_is_over() {
    let mut run = Run::new();
    run.flow(6400, 60.0, false);
    run.give(Event::BrewEnded);
    run.second += 400.0;
    run.give(Event::Tick);
    let reached: Vec<AlarmState> = run
        .alarms()
        .into_iter()
        .filter(|(alarm, _)| *alarm == AlarmId::StopPointReached)
        .map(|(_, to)| to)
        .collect();
    assert_eq!(
        reached,
        [
            AlarmState::Unacknowledged,
            AlarmState::ReturnedUnacknowledged
        ]
    );
}

#[test]
fn an_alarm_is_related_to_its_own_link_and_to_what_its_instrument_is_compared_with() {
    let channels: Vec<Channel> = instruments().into_iter().map(Channel::new).collect();
    let related = |reach, about, cause| relates(&channels, reach, Some(about), Some(cause));
    for (reach, about, cause, expected) in [
        (Reach::OwnLink, "kettle_level", "skid", true),
        (Reach::OwnLink, "kettle_level", "panel", false),
        (Reach::OwnLink, "sold_meter", "skid", false),
        (Reach::Compared, "kettle_level", "kettle_level", true),
        (Reach::Compared, "kettle_level", "runoff_flow", true),
        (Reach::Compared, "kettle_level", "runnings_gravity", false),
        (Reach::Compared, "runoff_flow", "kettle_level", false),
        (Reach::SameName, "mqtt", "mqtt", true),
        (Reach::SameName, "influx", "mqtt", false),
    ] {
        assert_eq!(related(reach, about, cause), expected, "{about} by {cause}");
    }
    assert!(!relates(
        &channels,
        Reach::OwnLink,
        Some("kettle_level"),
        None
    ));
}

#[test]
fn alarms_are_taken_up_as_their_latest_lines_left_them() {
    let mut run = Run::new();
    run.flow(60, 60.0, false);
    run.give(operator(
        AlarmId::TurbidRunnings,
        None,
        because("meter sent away"),
    ));
    let shelve = OperatorAction::Shelve {
        minutes: 10.0,
        reason: "probe in buffer".to_owned(),
    };
    run.give(operator(
        AlarmId::InstrumentFault,
        Some("kettle_level"),
        shelve,
    ));
    let lines: Vec<(Moment, AlarmLine)> = run
        .outputs
        .iter()
        .filter_map(|dated| match &dated.output {
            Output::Line(Line::Alarm(line)) => Some((dated.at, line.clone())),
            _ => None,
        })
        .collect();
    assert_eq!(lines.len(), 2);

    let mut supervisor = Supervisor::new(plant(), instruments(), Parameters::default());
    for (at, line) in &lines {
        assert!(supervisor.take_up_alarm(line.clone(), *at));
        let gone = AlarmLine {
            instrument: Some("sold_meter".to_owned()),
            ..line.clone()
        };
        assert!(!supervisor.take_up_alarm(gone, *at));
    }
    let mut next = Run {
        supervisor,
        outputs: Vec::new(),
        volume_l: 0.0,
        second: 120.0,
    };
    let now = Moment::from_seconds(next.second);
    let again = next.supervisor.may_operate(
        AlarmId::TurbidRunnings,
        None,
        &OperatorAction::ReturnToService,
        now,
    );
    assert_eq!(again, Ok(()));
    let level = |run: &Run| -> Vec<AlarmState> {
        let lines = run.lines().into_iter();
        lines
            .filter_map(|line| match line {
                Line::Alarm(line) if line.instrument.as_deref() == Some("kettle_level") => {
                    Some(line.to)
                }
                _ => None,
            })
            .collect()
    };
    next.give(Event::Tick);
    next.second = 60.0 + 599.0;
    next.give(Event::Tick);
    assert_eq!(level(&next), []);
    // Without a brew a silent instrument is suppressed; what counts is that the shelf let it go.
    next.second += 3.0;
    next.give(Event::Tick);
    assert_eq!(level(&next), [AlarmState::Suppressed]);
}

#[test]
fn an_acknowledgement_is_recorded_with_its_name() {
    let mut run = Run::new();
    run.flow(6400, 60.0, false);
    run.give(Event::Operator {
        alarm: AlarmId::StopPointReached,
        instrument: None,
        who: "night shift".to_owned(),
        action: OperatorAction::Acknowledge,
    });
    assert!(
        run.alarms()
            .contains(&(AlarmId::StopPointReached, AlarmState::Acknowledged))
    );
    let said = run.outputs.iter().any(|dated| {
        matches!(&dated.output, Output::Occurrence(occurrence) if occurrence.text.contains("night shift"))
    });
    assert!(said);
}

#[test]
fn a_note_is_kept_and_neither_it_nor_a_deed_changes_anything_else() {
    let (mut plain, mut noted) = (Run::new(), Run::new());
    for run in [&mut plain, &mut noted] {
        run.flow(1200, 60.0, false);
    }
    noted.give(Event::Note {
        who: "night shift".to_owned(),
        text: "sparge arm cleaned".to_owned(),
    });
    noted.give(Event::Deed {
        who: "night shift".to_owned(),
        deed: "sample".to_owned(),
    });
    for run in [&mut plain, &mut noted] {
        run.flow(1200, 60.0, false);
    }
    let told = noted.outputs.iter().any(|dated| match &dated.output {
        Output::Occurrence(occurrence) => {
            occurrence.event == "note" && occurrence.text == "night shift: sparge arm cleaned"
        }
        _ => false,
    });
    assert!(told, "the note is in the record");
    assert_eq!(plain.lines(), noted.lines());
}

#[test]
fn a_raking_that_no_instrument_sees_is_taken_from_the_report_and_ends_by_itself() {
    let mut run = Run::new();
    run.flow(1200, 60.0, false);
    let rakes = |run: &Run| {
        let now = Moment::from_seconds(run.second);
        run.supervisor.picture(now).raking
    };
    assert!(!rakes(&run));
    run.give(Event::Raking {
        who: "night shift".to_owned(),
        minutes: 2.0,
    });
    run.flow(60, 60.0, false);
    assert!(rakes(&run), "the report stands in for the instrument");
    let brew = run.supervisor.brew.as_ref().unwrap();
    assert!(brew.raked.is_some(), "the bed is another one after it");
    run.flow(120, 60.0, false);
    assert!(!rakes(&run));
}

#[test]
fn the_forecast_begins_where_the_kettle_stands() {
    let mut run = Run::new();
    assert!(run.supervisor.forecast(Moment::ZERO).is_empty());
    run.flow(2400, 60.0, false);
    let fan = run.supervisor.forecast(Moment::from_seconds(run.second));
    let first = fan.first().expect("a fan");
    assert!((first.kettle_volume_l - run.volume_l).abs() < 200.0);
    assert!(
        fan.windows(2)
            .all(|two| two[0].kettle_volume_l < two[1].kettle_volume_l)
    );
}

#[test]
fn an_alarm_without_its_instrument_leaves_the_shelf_when_its_time_is_over() {
    let mut run = Run::new();
    run.flow(60, 60.0, false);
    let shelve = OperatorAction::Shelve {
        minutes: 2.0,
        reason: "no probe fitted".to_owned(),
    };
    run.give(operator(AlarmId::TurbidRunnings, None, shelve));
    let of_it = |run: &Run| -> Vec<AlarmState> {
        let alarms = run.alarms().into_iter();
        alarms
            .filter(|(alarm, _)| *alarm == AlarmId::TurbidRunnings)
            .map(|(_, state)| state)
            .collect()
    };
    run.flow(100, 60.0, false);
    assert_eq!(of_it(&run), [AlarmState::Shelved]);
    run.flow(60, 60.0, false);
    assert_eq!(of_it(&run), [AlarmState::Shelved, AlarmState::Normal]);
}

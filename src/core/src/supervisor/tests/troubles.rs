//! Lost instruments and links, suppressed alarms, operators and restarts.

use super::*;

#[test]
fn a_silent_instrument_is_named_and_the_balance_goes_on() {
    let mut run = Run::new();
    run.flow(1200, 60.0, false);
    for _ in 0..600 {
        run.second += 1.0;
        run.volume_l += 1.0;
        run.read(FLOW, 60.0 + 0.3 * wobble(run.second, 0.0));
        run.read(RECIRCULATING, 0.0);
    }
    let named: Vec<_> = run
        .lines()
        .into_iter()
        .filter_map(|line| match line {
            Line::Alarm(line) if line.alarm == AlarmId::InstrumentFault => line.instrument.clone(),
            _ => None,
        })
        .collect();
    assert_eq!(named, ["runnings_gravity", "kettle_level"]);
    let line = run.projections().last().copied().unwrap().clone();
    // What it believes it says with its doubt: the gravity believed would be true at a volume near.
    let (believed_p, error_p) = (
        line.kettle_gravity_p.unwrap(),
        line.kettle_gravity_se_p.unwrap(),
    );
    let earliest_l = volume_at_kettle_gravity(believed_p + 2.5 * error_p);
    let latest_l = volume_at_kettle_gravity(believed_p - 2.5 * error_p);
    assert!(
        (earliest_l..latest_l).contains(&line.elapsed_s),
        "{earliest_l} to {latest_l}: {line:?}"
    );
    assert!((0.1..0.6).contains(&error_p), "{error_p}");
    assert!(
        (line.kettle_volume_l - line.elapsed_s).abs() < 20.0,
        "{line:?}"
    );
}

/// The alarms that were shown by the end of two minutes in which nothing comes.
fn shown_after_two_minutes(run: &mut Run) -> Vec<AlarmId> {
    run.second += 120.0;
    run.give(Event::Tick);
    let shown = run.alarms().into_iter();
    shown
        .filter(|(_, to)| *to == AlarmState::Unacknowledged)
        .map(|(alarm, _)| alarm)
        .collect()
}

#[test]
fn a_lost_link_gives_one_alarm_and_keeps_its_instruments_quiet() {
    let mut run = Run::new();
    run.flow(1200, 60.0, false);
    run.give(Event::Link {
        name: "skid".to_owned(),
        state: LinkState::Down,
        detail: "connection refused".to_owned(),
    });
    for instrument in [GRAVITY, FLOW, RECIRCULATING, LEVEL] {
        let at = Moment::from_seconds(run.second);
        let reading = Reading {
            value: Err(Cause::LinkLost),
            status: Status::Failure,
            at,
        };
        run.give(Event::Reading {
            instrument,
            reading,
        });
    }
    assert_eq!(shown_after_two_minutes(&mut run), [AlarmId::LinkLost]);
}

#[test]
fn a_link_that_falls_silent_gives_one_alarm_before_its_instruments_do() {
    let mut run = Run::new();
    run.give(Event::Link {
        name: "skid".to_owned(),
        state: LinkState::Up,
        detail: "connected".to_owned(),
    });
    run.flow(1200, 60.0, false);
    assert_eq!(shown_after_two_minutes(&mut run), [AlarmId::LinkLost]);
}

#[test]
fn what_follows_the_stop_point_is_suppressed() {
    let mut run = Run::new();
    run.flow(9000, 60.0, false);
    let alarms = run.alarms();
    assert!(
        alarms.contains(&(AlarmId::GravityFloor, AlarmState::Suppressed)),
        "{alarms:?}"
    );
    assert!(!alarms.contains(&(AlarmId::GravityFloor, AlarmState::Unacknowledged)));
    // The kettle's brim is no mere consequence.
    assert!(alarms.contains(&(AlarmId::KettleHighLevel, AlarmState::Unacknowledged)));
}

#[test]
fn a_gravity_floor_above_the_targets_course_ends_the_run_off_first_and_asks_for_liquor() {
    let mut run = Run::new();
    let high_floor = Plan {
        gravity_floor_p: 6.0,
        ..plan()
    };
    run.give(Event::BrewStarted {
        plan: Box::new(high_floor),
        zero: Moment::ZERO,
        profile: None,
        corrections: Vec::new(),
    });
    run.flow(6600, 60.0, false);
    let summary = run.summary();
    assert_eq!(summary.stop_cause, StopCause::GravityFloor);
    let floor_l = 3300.0 * (18.0_f64 / 6.0 - 1.0).cbrt();
    assert!(
        (summary.stop_volume_l.unwrap() / floor_l - 1.0).abs() < 0.02,
        "{summary:?} for {floor_l}"
    );
    let stop = run.projections().last().unwrap().stop.unwrap();
    assert!(
        stop.top_up_l > 100.0 && stop.final_volume_l > stop.volume_l,
        "{stop:?}"
    );
    assert!(
        run.alarms()
            .contains(&(AlarmId::GravityFloor, AlarmState::Unacknowledged))
    );
    assert!(
        run.alarms()
            .contains(&(AlarmId::TanninLimitAhead, AlarmState::Unacknowledged))
    );
}

#[test]
fn how_often_and_how_late_the_engine_is_called_changes_nothing() {
    let (mut plain, mut ticked) = (Run::new(), Run::new());
    for _ in 0..900 {
        plain.flow(1, 60.0, false);
        ticked.flow(1, 60.0, false);
        for tenth in 1..4 {
            let now = Moment::from_seconds(ticked.second + 0.1 * f64::from(tenth));
            ticked.supervisor.handle(Event::Tick, now);
        }
    }
    plain.second += 0.9;
    ticked.second += 0.9;
    plain.give(Event::Tick);
    ticked.give(Event::Tick);
    assert_eq!(plain.outputs, ticked.outputs);
}

#[test]
fn a_stored_supervisor_goes_on_as_if_nothing_had_happened() {
    let mut unbroken = Run::new();
    unbroken.flow(1800, 60.0, false);
    let json = serde_json::to_string(&unbroken.supervisor).unwrap();
    let mut taken_up = Run {
        supervisor: serde_json::from_str(&json).unwrap(),
        outputs: unbroken.outputs.clone(),
        volume_l: unbroken.volume_l,
        second: unbroken.second,
    };
    unbroken.flow(600, 60.0, false);
    taken_up.flow(600, 60.0, false);
    assert_eq!(unbroken.outputs, taken_up.outputs);
}

#[test]
fn a_kettle_sample_moves_the_kettle_gravity_towards_it() {
    let mut run = Run::new();
    run.flow(1800, 60.0, false);
    let before = run.projections().last().unwrap().kettle_gravity_p.unwrap();
    run.give(Event::Sample(Sample {
        place: Place::Kettle,
        gravity_p: Some(before - 0.3),
        ph: None,
        volume_l: None,
    }));
    run.flow(30, 60.0, false);
    let after = run.projections().last().unwrap().kettle_gravity_p.unwrap();
    assert!(
        after < before - 0.02 && after > before - 0.3,
        "{before} then {after}"
    );
}

#[test]
fn a_site_may_switch_an_alarm_off() {
    let off = crate::alarm::Settings {
        enabled: Some(false),
        ..crate::alarm::Settings::default()
    };
    let alarms = BTreeMap::from([(AlarmId::StopPointAhead, off)]);
    let mut run = Run::with(Parameters {
        alarms,
        ..Parameters::default()
    });
    run.flow(6400, 60.0, false);
    assert!(
        run.alarms()
            .iter()
            .all(|(alarm, _)| *alarm != AlarmId::StopPointAhead)
    );
}

#[test]
fn a_gravity_meter_that_jumps_by_itself_is_named_and_the_balance_goes_on_without_it() {
    let mut run = Run::new();
    run.flow(1800, 60.0, false);
    for _ in 0..600 {
        run.second += 1.0;
        run.volume_l += 1.0;
        run.read(FLOW, 60.0 + 0.3 * wobble(run.second, 0.0));
        run.read(LEVEL, (run.volume_l + 3.0 * wobble(run.second, 1.0)) / 70.0);
        let lying_p = gravity_p(run.volume_l) - 2.0;
        run.read(GRAVITY, lying_p + 0.02 * wobble(run.second, 0.0));
        run.read(RECIRCULATING, 0.0);
    }
    let named: Vec<_> = run
        .lines()
        .into_iter()
        .filter_map(|line| match line {
            Line::Alarm(line) if line.to == AlarmState::Unacknowledged => {
                Some((line.alarm, line.instrument.clone()))
            }
            _ => None,
        })
        .collect();
    let gravity = (
        AlarmId::InstrumentFault,
        Some("runnings_gravity".to_owned()),
    );
    assert!(named.contains(&gravity), "{named:?}");
    assert!(
        named
            .iter()
            .all(|(alarm, _)| *alarm != AlarmId::Channelling),
        "{named:?}"
    );
    let kettle_p = run.projections().last().unwrap().kettle_gravity_p.unwrap();
    let true_p = (0..2400).map(|l| gravity_p(f64::from(l))).sum::<f64>() / 2400.0;
    assert!(
        (kettle_p - true_p).abs() < 0.3,
        "{kettle_p} instead of {true_p}"
    );
}

#[test]
fn while_a_channel_is_in_doubt_the_forecast_from_before_it_is_kept() {
    let mut run = Run::new();
    run.flow(1800, 60.0, false);
    let now = Moment::from_seconds(run.second);
    let outlook = run.supervisor.outlook(now).unwrap();
    assert!(outlook.channel_doubt.is_none());
    assert!(outlook.since_start_s.is_some_and(|s| s > 1000.0));
    let brew = run.supervisor.brew.as_mut().unwrap();
    let before = brew.crossings.target;
    assert!(before.is_some());
    brew.heed_suspicion(true);
    brew.crossings.target = None;
    brew.heed_suspicion(true);
    assert_eq!(brew.before_channel, before);
    brew.heed_suspicion(false);
    assert!(brew.before_channel.is_none());
}

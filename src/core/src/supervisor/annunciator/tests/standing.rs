//! What becomes of an alarm that stands for long.

use crate::alarm::Priority;

use super::*;

const LATE: (AlarmId, Option<&str>) = (AlarmId::DeliveryDelayed, Some("mqtt"));

fn told(desk: &Desk) -> Vec<(AlarmState, AlarmState, Priority)> {
    let lines = desk.lines.iter();
    lines
        .map(|line| (line.from, line.to, line.priority))
        .collect()
}

#[test]
fn a_standing_alarm_is_told_anew_at_its_pace_without_a_change_of_state() {
    let mut desk = Desk::new();
    desk.run(60 + 1700, &[LATE]);
    assert_eq!(desk.lines.len(), 1);
    let renewed: Vec<_> = desk
        .renewed
        .iter()
        .map(|line| (line.elapsed_s, line.from, line.to))
        .collect();
    let state = AlarmState::Unacknowledged;
    let came_s = desk.lines[0].elapsed_s;
    assert_eq!(
        renewed,
        [
            (came_s + 600.0, state, state),
            (came_s + 1200.0, state, state)
        ]
    );
    desk.run(2000, &[]);
    assert_eq!(desk.renewed.len(), 2, "what is over is not told anew");
}

#[test]
fn an_alarm_that_says_the_same_as_long_as_it_stands_is_told_once() {
    let mut desk = Desk::new();
    desk.run(7200, &[(AlarmId::LinkLost, Some("skid"))]);
    assert_eq!((desk.lines.len(), desk.renewed.len()), (1, 0));
    assert_eq!(desk.lines[0].priority, Priority::Medium);
}

#[test]
fn past_its_time_to_respond_it_is_more_pressing_and_asks_once_more_and_then_only_once() {
    use AlarmState::{Acknowledged, Normal, ReturnedUnacknowledged, Unacknowledged};
    let mut desk = Desk::new();
    desk.run(120, &[LATE]);
    desk.operate(LATE.0, LATE.1, &OperatorAction::Acknowledge)
        .unwrap();
    desk.run(1800, &[LATE]);
    desk.operate(LATE.0, LATE.1, &OperatorAction::Acknowledge)
        .unwrap();
    desk.run(7200, &[LATE]);
    let last = &desk.renewed.last().expect("it stands").message;
    assert!(last.ends_with("Acknowledged by shift brewer."), "{last}");
    desk.run(60, &[]);
    let low = Priority::Low;
    let medium = Priority::Medium;
    assert_eq!(
        told(&desk),
        [
            (Normal, Unacknowledged, low),
            (Unacknowledged, Acknowledged, low),
            (Acknowledged, Unacknowledged, medium),
            (Unacknowledged, Acknowledged, medium),
            (Acknowledged, Normal, low),
        ]
    );
    assert!(
        desk.lines[2].message.ends_with("It has stood for 30 min."),
        "{}",
        desk.lines[2].message
    );
    desk.lines.clear();
    desk.run(70, &[LATE]);
    desk.run(60, &[]);
    let again = [
        (Normal, Unacknowledged, low),
        (Unacknowledged, ReturnedUnacknowledged, low),
    ];
    assert_eq!(told(&desk), again, "it begins anew");
}

#[test]
fn one_that_is_shelved_rises_in_silence_and_returns_more_pressing() {
    let mut desk = Desk::new();
    desk.run(120, &[LATE]);
    let shelve = OperatorAction::Shelve {
        minutes: 60.0,
        reason: "database is moved".to_owned(),
    };
    desk.operate(LATE.0, LATE.1, &shelve).unwrap();
    desk.lines.clear();
    desk.run(3500, &[LATE]);
    assert_eq!((desk.lines.len(), desk.renewed.len()), (0, 0));
    desk.run(200, &[LATE]);
    assert_eq!(
        told(&desk),
        [(
            AlarmState::Shelved,
            AlarmState::Unacknowledged,
            Priority::Medium
        )]
    );
}

#[test]
fn a_site_that_holds_it_for_pressing_already_is_not_overruled() {
    let mut desk = Desk::new();
    let settings = desk
        .parameters
        .alarms
        .entry(AlarmId::DeliveryDelayed)
        .or_default();
    settings.priority = Some(Priority::High);
    desk.run(2000, &[LATE]);
    assert!(
        desk.lines
            .iter()
            .all(|line| line.priority == Priority::High)
    );
}

use proptest::prelude::*;

use super::*;

const CONDUCT: Conduct = Conduct {
    on_s: 10.0,
    off_s: 20.0,
    latching: false,
};
const LATCHING: Conduct = Conduct {
    latching: true,
    ..CONDUCT
};

fn at(second: u32) -> Moment {
    Moment::from_seconds(f64::from(second))
}

/// A machine whose alarm was shown at second 10.
fn shown(conduct: Conduct) -> Machine {
    let mut machine = Machine::default();
    machine.update(true, Hold::Free, conduct, at(0));
    machine.update(true, Hold::Free, conduct, at(10));
    assert_eq!(machine.state(), AlarmState::Unacknowledged);
    machine
}

#[test]
fn a_condition_is_annunciated_after_its_on_delay() {
    let mut machine = Machine::default();
    assert_eq!(machine.update(true, Hold::Free, CONDUCT, at(0)), None);
    assert_eq!(machine.update(true, Hold::Free, CONDUCT, at(9)), None);
    assert_eq!(
        machine.update(true, Hold::Free, CONDUCT, at(10)),
        Some(Transition {
            from: AlarmState::Normal,
            to: AlarmState::Unacknowledged
        })
    );
}

#[test]
fn what_went_away_unseen_stays_until_acknowledged() {
    let mut machine = shown(CONDUCT);
    machine.update(false, Hold::Free, CONDUCT, at(15));
    machine.update(false, Hold::Free, CONDUCT, at(35));
    assert_eq!(machine.state(), AlarmState::ReturnedUnacknowledged);
    machine.acknowledge().unwrap();
    assert_eq!(machine.state(), AlarmState::Normal);
}

#[test]
fn a_latching_alarm_stays_until_somebody_acknowledges_it() {
    let mut machine = shown(LATCHING);
    machine.update(false, Hold::Free, LATCHING, at(15));
    machine.update(false, Hold::Free, LATCHING, at(500));
    assert_eq!(machine.state(), AlarmState::Unacknowledged);
    assert!(!machine.is_met());
    assert_eq!(machine.acknowledge().unwrap().to, AlarmState::Normal);
    let mut seen = shown(LATCHING);
    seen.acknowledge().unwrap();
    seen.update(false, Hold::Free, LATCHING, at(15));
    seen.update(false, Hold::Free, LATCHING, at(35));
    assert_eq!(seen.state(), AlarmState::Normal);
}

#[test]
fn a_shelf_runs_out() {
    let mut machine = shown(CONDUCT);
    machine.shelve(at(100)).unwrap();
    assert_eq!(machine.shelve(at(200)), Err(OperationFault::AlreadyShelved));
    assert_eq!(machine.update(true, Hold::Free, CONDUCT, at(99)), None);
    let back = machine.update(true, Hold::Free, CONDUCT, at(100)).unwrap();
    assert_eq!(back.to, AlarmState::Unacknowledged);
}

#[test]
fn a_suppressed_alarm_that_is_not_due_stays_normal() {
    let mut machine = Machine::default();
    assert_eq!(
        machine.update(false, Hold::Suppressed, CONDUCT, at(0)),
        None
    );
    machine.update(true, Hold::Suppressed, CONDUCT, at(5));
    let due = machine.update(true, Hold::Suppressed, CONDUCT, at(20));
    assert_eq!(due.unwrap().to, AlarmState::Suppressed);
}

#[test]
fn what_outlives_its_suppression_speaks_after_its_own_on_delay() {
    let mut machine = Machine::default();
    machine.update(true, Hold::Suppressed, CONDUCT, at(0));
    machine.update(true, Hold::Suppressed, CONDUCT, at(10));
    assert_eq!(machine.update(true, Hold::Free, CONDUCT, at(30)), None);
    assert_eq!(machine.update(true, Hold::Free, CONDUCT, at(39)), None);
    let alone = machine.update(true, Hold::Free, CONDUCT, at(40)).unwrap();
    assert_eq!(alone.to, AlarmState::Unacknowledged);
}

#[test]
fn what_goes_with_its_cause_is_never_shown() {
    let mut machine = Machine::default();
    machine.update(true, Hold::Suppressed, CONDUCT, at(0));
    machine.update(true, Hold::Suppressed, CONDUCT, at(10));
    machine.update(false, Hold::Free, CONDUCT, at(30));
    let gone = machine.update(false, Hold::Free, CONDUCT, at(50)).unwrap();
    assert_eq!(
        (gone.from, gone.to),
        (AlarmState::Suppressed, AlarmState::Normal)
    );
}

#[test]
fn what_a_pending_cause_may_explain_waits_and_is_shown_when_the_cause_comes_to_nothing() {
    let mut machine = Machine::default();
    machine.update(true, Hold::Waiting, CONDUCT, at(0));
    assert_eq!(machine.update(true, Hold::Waiting, CONDUCT, at(15)), None);
    let alone = machine.update(true, Hold::Free, CONDUCT, at(16)).unwrap();
    assert_eq!(alone.to, AlarmState::Unacknowledged);
    // What stands on the list already stays there while a cause is pending.
    assert_eq!(machine.update(true, Hold::Waiting, CONDUCT, at(17)), None);
}

#[test]
fn what_was_never_shown_cannot_be_acknowledged() {
    for state in [
        AlarmState::Normal,
        AlarmState::Shelved,
        AlarmState::OutOfService,
        AlarmState::Suppressed,
        AlarmState::Acknowledged,
    ] {
        let mut machine = Machine {
            state,
            ..Machine::default()
        };
        assert_eq!(
            machine.acknowledge(),
            Err(OperationFault::NothingToAcknowledge { state })
        );
        assert_eq!(machine.state(), state);
    }
}

#[derive(Clone, Copy, Debug)]
enum Act {
    Update(bool, Hold),
    Acknowledge,
    Shelve(u32),
    Unshelve,
    OutOfService,
    ReturnToService,
    End,
}

fn any_act() -> impl Strategy<Value = Act> {
    let hold = prop_oneof![
        Just(Hold::Free),
        Just(Hold::Waiting),
        Just(Hold::Suppressed)
    ];
    prop_oneof![
        8 => (any::<bool>(), hold).prop_map(|(condition, hold)| Act::Update(condition, hold)),
        2 => Just(Act::Acknowledge),
        1 => (1_u32..90).prop_map(Act::Shelve),
        1 => Just(Act::Unshelve),
        1 => Just(Act::OutOfService),
        1 => Just(Act::ReturnToService),
        1 => Just(Act::End),
    ]
}

/// What happened in one step: the reported change, if any. Refusals count as none.
fn step(machine: &mut Machine, act: Act, conduct: Conduct, now: Moment) -> Option<Transition> {
    match act {
        Act::Update(condition, hold) => machine.update(condition, hold, conduct, now),
        Act::Acknowledge => machine.acknowledge().ok(),
        Act::Shelve(seconds) => machine.shelve(now.plus_seconds(f64::from(seconds))).ok(),
        Act::Unshelve => machine.unshelve(conduct, now).ok(),
        Act::OutOfService => machine.take_out_of_service().ok(),
        Act::ReturnToService => machine.return_to_service(conduct, now).ok(),
        Act::End => machine.end_condition(conduct, now),
    }
}

/// The changes that IEC 62682 knows, as this program has them.
fn is_known(Transition { from, to }: Transition, act: Act, latching: bool) -> bool {
    use AlarmState::{
        Acknowledged, Normal, OutOfService, ReturnedUnacknowledged, Shelved, Suppressed,
        Unacknowledged,
    };
    match (from, to) {
        (_, Acknowledged) => from == Unacknowledged && matches!(act, Act::Acknowledge),
        (_, Shelved) => from != OutOfService && matches!(act, Act::Shelve(_)),
        (_, OutOfService) => matches!(act, Act::OutOfService),
        (_, ReturnedUnacknowledged) => from == Unacknowledged && !latching,
        (Unacknowledged, Normal) => latching && matches!(act, Act::Acknowledge),
        (ReturnedUnacknowledged, Normal) => matches!(act, Act::Acknowledge),
        (OutOfService, _) => matches!(act, Act::ReturnToService),
        (Normal | Suppressed | ReturnedUnacknowledged | Shelved, Unacknowledged)
        | (Acknowledged | Suppressed | Shelved, Normal)
        | (_, Suppressed) => true,
        (Acknowledged | Unacknowledged, Unacknowledged) | (Normal, Normal) => false,
    }
}

/// A lasting condition, judged from the acts alone: the on- and off-delays and nothing else.
#[derive(Default)]
struct Expected {
    condition: bool,
    since: u32,
    met: bool,
}

impl Expected {
    fn take(&mut self, act: Act, clock: u32) {
        match act {
            Act::Update(condition, _) => {
                if condition != self.condition {
                    (self.condition, self.since) = (condition, clock);
                }
                let lasted = clock - self.since;
                if condition && lasted >= 10 {
                    self.met = true;
                } else if !condition && lasted >= 20 {
                    self.met = false;
                }
            }
            Act::End => (self.condition, self.since, self.met) = (false, clock, false),
            _ => {}
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    #[test]
    fn no_order_of_events_leaves_the_known_states_or_loses_a_lasting_condition(
        acts in prop::collection::vec((any_act(), 1_u32..30), 1..120),
        latching in any::<bool>(),
    ) {
        let conduct = Conduct { latching, ..CONDUCT };
        let mut machine = Machine::default();
        let mut expected = Expected::default();
        let mut clock = 0;
        // A condition first seen counts from then, whichever it is.
        let mut started = false;
        for (act, gap) in acts {
            clock += gap;
            if !started && matches!(act, Act::Update(..)) {
                expected.since = clock;
                started = true;
            }
            let before = machine.state();
            let met_before = machine.is_met();
            // A checkpoint at any moment goes on as if it had not been taken.
            let stored = serde_json::to_string(&machine).unwrap();
            let mut taken_up: Machine = serde_json::from_str(&stored).unwrap();
            let change = step(&mut machine, act, conduct, at(clock));
            prop_assert_eq!(step(&mut taken_up, act, conduct, at(clock)), change);
            prop_assert_eq!(&taken_up, &machine);
            if let Some(change) = change {
                    prop_assert_eq!(change.from, before);
                    prop_assert_eq!(change.to, machine.state());
                    prop_assert!(is_known(change, act, latching), "{:?} by {:?}", change, act);
            } else {
                prop_assert_eq!(machine.state(), before);
            }
            expected.take(act, clock);
            prop_assert_eq!(machine.is_met(), expected.met, "after {:?}", act);
            if !matches!(act, Act::Update(..) | Act::End) {
                prop_assert_eq!(machine.is_met(), met_before);
            }
            if let Some(until) = machine.shelved_until()
                && matches!(act, Act::Update(..))
            {
                prop_assert!(at(clock) < until);
            }
        }
        let _ = machine.return_to_service(conduct, at(clock));
        let _ = machine.unshelve(conduct, at(clock));
        machine.update(true, Hold::Free, conduct, at(clock + 1));
        machine.update(true, Hold::Free, conduct, at(clock + 40));
        prop_assert!(matches!(
            machine.state(),
            AlarmState::Unacknowledged | AlarmState::Acknowledged
        ));
    }

    #[test]
    fn a_shelf_ends_by_itself_whatever_else_happens(
        seconds in 1_u32..200,
        conditions in prop::collection::vec(any::<bool>(), 1..40),
    ) {
        let mut machine = Machine::default();
        machine.shelve(at(seconds)).unwrap();
        for (clock, condition) in (0_u32..).step_by(10).zip(conditions) {
            machine.update(condition, Hold::Free, CONDUCT, at(clock));
            prop_assert_eq!(machine.state() == AlarmState::Shelved, clock < seconds);
        }
    }
}

//! Any order of conditions, phases, waits and operators' actions.

use std::collections::BTreeMap;

use proptest::prelude::*;

use super::*;

/// What may happen at one step of the property test.
#[derive(Clone, Debug)]
enum Happening {
    Condition(usize, bool),
    Phase(Phase),
    AfterStop(bool),
    Operate(usize, OperatorAction),
    Wait(u32),
}

/// Alarms that the property test plays with: every alarm, the ones with instruments with two of them.
fn cast() -> Vec<(AlarmId, Option<&'static str>)> {
    let names = |alarm| match definition(alarm).subject {
        crate::alarm::Subject::Tun => vec![None],
        crate::alarm::Subject::Instrument => vec![Some("level@skid"), Some("ph@panel")],
        crate::alarm::Subject::Link => vec![Some("skid"), Some("mqtt")],
        crate::alarm::Subject::Publisher => vec![Some("mqtt")],
    };
    AlarmId::ALL
        .into_iter()
        .flat_map(|alarm| names(alarm).into_iter().map(move |name| (alarm, name)))
        .collect()
}

fn any_happening() -> impl Strategy<Value = Happening> {
    let many = cast().len();
    let reason = || "because".to_owned();
    let action = prop_oneof![
        4 => Just(OperatorAction::Acknowledge),
        1 => (0.0..600.0).prop_map(move |minutes| OperatorAction::Shelve { minutes, reason: reason() }),
        1 => Just(OperatorAction::Unshelve),
        1 => Just(OperatorAction::OutOfService { reason: "because".to_owned() }),
        1 => Just(OperatorAction::ReturnToService),
    ];
    prop_oneof![
        6 => (0..many, any::<bool>()).prop_map(|(which, holds)| Happening::Condition(which, holds)),
        1 => (0..Phase::ALL.len()).prop_map(|index| Happening::Phase(Phase::ALL[index])),
        1 => prop::bool::weighted(0.2).prop_map(Happening::AfterStop),
        3 => (0..many, action).prop_map(|(which, action)| Happening::Operate(which, action)),
        4 => (1_u32..200).prop_map(Happening::Wait),
    ]
}

/// Plays happenings; with `people` false nobody does anything.
fn play(happenings: &[Happening], people: bool) -> (Desk, Vec<Vec<bool>>) {
    let cast = cast();
    let mut holding = vec![false; cast.len()];
    let mut desk = Desk::new();
    let mut met = Vec::new();
    for happening in happenings {
        match happening {
            Happening::Condition(which, holds) => holding[*which] = *holds,
            Happening::Phase(phase) => desk.circumstances.phase = *phase,
            Happening::AfterStop(after_stop) => desk.circumstances.after_stop = *after_stop,
            Happening::Operate(which, action) => {
                if people {
                    let (alarm, about) = cast[*which];
                    let possible = desk.operate(alarm, about, action);
                    drop(possible);
                }
            }
            Happening::Wait(seconds) => {
                let now: Vec<_> = cast
                    .iter()
                    .zip(&holding)
                    .filter(|(_, h)| **h)
                    .map(|(c, _)| *c)
                    .collect();
                // Checkpointed and taken up again before every wait.
                let stored = serde_json::to_string(&desk.annunciator).unwrap();
                desk.annunciator = serde_json::from_str(&stored).unwrap();
                desk.run(*seconds, &now);
            }
        }
        met.push(
            cast.iter()
                .map(|(a, about)| desk.annunciator.is_met(*a, *about))
                .collect(),
        );
    }
    (desk, met)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn no_order_of_events_breaks_the_chain_of_states_or_shows_what_is_explained(
        happenings in prop::collection::vec(any_happening(), 1..60),
    ) {
        let (mut desk, met) = play(&happenings, true);
        let mut states: BTreeMap<(AlarmId, Option<String>), (AlarmState, _)> = BTreeMap::new();
        for line in &desk.lines {
            let key = (line.alarm, line.instrument.clone());
            let before = states.get(&key).copied();
            let state_before = before.map_or_else(AlarmState::default, |(state, _)| state);
            prop_assert_eq!(line.from, state_before, "{:?}", line);
            // One that has stood for long is told again, for its priority rises.
            let rises = before.is_some_and(|(_, priority)| line.priority > priority);
            prop_assert!(line.from != line.to || rises, "{:?}", line);
            if line.to == AlarmState::Acknowledged {
                prop_assert_eq!(line.from, AlarmState::Unacknowledged);
            }
            prop_assert!(!line.message.trim().is_empty());
            states.insert(key, (line.to, line.priority));
        }
        // Whatever went before: what lasts, undisturbed, is shown, or its cause is.
        let (_, unmanned) = play(&happenings, false);
        prop_assert_eq!(met, unmanned, "what people do changes what is met");
        desk.circumstances = SPARGE;
        let cast = cast();
        for (alarm, about) in &cast {
            let _ = desk.operate(*alarm, *about, &OperatorAction::ReturnToService);
            let _ = desk.operate(*alarm, *about, &OperatorAction::Unshelve);
        }
        desk.run(400, &cast);
        for (alarm, about) in &cast {
            let state = desk.state(*alarm, *about);
            let explained = definition(*alarm).follows.iter().any(|follows| {
                cast.iter().any(|(cause, of)| *cause == follows.cause && related(*follows, *about, *of))
            });
            let expected = if explained {
                state == AlarmState::Suppressed
            } else {
                matches!(state, AlarmState::Unacknowledged | AlarmState::Acknowledged)
            };
            prop_assert!(expected, "{:?} of {:?} is {:?}", alarm, about, state);
        }
    }
}

use proptest::prelude::*;

use super::super::plan::plan;
use super::super::testing::register;
use super::*;

const STEP_US: i64 = 20_000;

fn schedule(addresses: &[(u8, u16)]) -> Schedule {
    let points: Vec<_> = addresses
        .iter()
        .map(|(unit_id, address)| register(*unit_id, *address))
        .collect();
    let indexed: Vec<_> = points.iter().enumerate().collect();
    let parameters = Parameters::default();
    Schedule::new(plan(&indexed, &parameters), Moment::ZERO, parameters)
}

/// Asks whatever is due until `end`; `fails` says which unit and address stay silent. Gives back who
/// was asked when.
fn run(
    schedule: &mut Schedule,
    end: Moment,
    fails: impl Fn(u8, u16) -> bool,
) -> Vec<(u8, u16, Moment)> {
    let mut asked = Vec::new();
    let mut now = Moment::ZERO;
    while let Some((index, due)) = schedule.next() {
        now = now.max(due);
        if now > end {
            break;
        }
        schedule.take(index, now);
        let read = &schedule.slot(index).read;
        let (unit_id, address) = (read.unit_id, read.range.address);
        asked.push((unit_id, address, now));
        if fails(unit_id, address) {
            now = now.plus_seconds(0.8);
            if schedule.failed(index, now).nothing_answers {
                schedule.silence_all();
            }
        } else {
            now = now.plus_seconds(0.001);
            schedule.answered(index);
        }
    }
    asked
}

#[test]
fn a_late_poll_does_not_move_the_phase_and_missed_slots_are_counted() {
    let mut one = schedule(&[(1, 0)]);
    assert_eq!(one.take(0, Moment(0)), (Moment(0), 0));
    assert_eq!(one.next(), Some((0, Moment(STEP_US))));
    assert_eq!(one.take(0, Moment(STEP_US + 5)), (Moment(STEP_US), 0));
    assert_eq!(one.next(), Some((0, Moment(2 * STEP_US))));
    let late = Moment(7 * STEP_US + 3);
    assert_eq!(one.take(0, late), (Moment(7 * STEP_US), 5));
    assert_eq!(one.next(), Some((0, Moment(8 * STEP_US))));
}

proptest! {
    #[test]
    fn every_step_is_either_taken_or_counted_as_missed(
        every_ms in 1_u64..5000, delays_us in prop::collection::vec(0_i64..20_000_000, 1..50)
    ) {
        let begin = Moment(1_700_000_000_000_000);
        let mut rhythm = Rhythm::new(begin, std::time::Duration::from_millis(every_ms));
        let mut taken_or_missed = 0;
        let mut now = begin;
        for delay_us in delays_us {
            now = Moment(now.max(rhythm.due).0 + delay_us);
            let (step, missed) = rhythm.take(now);
            taken_or_missed += 1 + missed.cast_signed();
            prop_assert!(step <= now && now.0 - step.0 < rhythm.every_us);
            prop_assert_eq!((step.0 - begin.0) % rhythm.every_us, 0);
            prop_assert_eq!(rhythm.due.0 - begin.0, taken_or_missed * rhythm.every_us);
        }
    }
}

#[test]
fn a_dead_unit_costs_its_neighbours_little() {
    let mut both = schedule(&[(1, 0), (2, 0)]);
    let asked = run(&mut both, Moment::from_seconds(300.0), |unit_id, _| {
        unit_id == 2
    });
    let dead = asked.iter().filter(|(unit_id, ..)| *unit_id == 2).count();
    let good = asked.len() - dead;
    // 5, 10, 20, 40, 60, 60, ... s apart: some eight tries in 300 s, each worth 0.8 s of silence.
    assert!((5..=10).contains(&dead), "{dead} tries");
    assert!(good > 14_000, "{good} reads of the living unit");
}

#[test]
fn one_address_a_device_never_answers_does_not_silence_its_unit() {
    let mut one = schedule(&[(1, 0), (1, 10), (1, 20)]);
    let asked = run(&mut one, Moment::from_seconds(300.0), |_, address| {
        address == 10
    });
    let of = |wanted| {
        asked
            .iter()
            .filter(|(_, address, _)| *address == wanted)
            .count()
    };
    assert!((5..=12).contains(&of(10)), "{} tries", of(10));
    assert!(of(0) > 13_000 && of(20) > 13_000);
}

#[test]
fn a_unit_that_returns_is_read_at_its_own_pace_again() {
    let mut both = schedule(&[(1, 0), (2, 0)]);
    run(&mut both, Moment::from_seconds(60.0), |unit_id, _| {
        unit_id == 2
    });
    let index = (0..2)
        .find(|index| both.slot(*index).read.unit_id == 2)
        .unwrap();
    let (step, _) = both.take(index, Moment::from_seconds(200.0));
    assert!(both.answered(index), "it had been silent");
    assert_eq!(both.due(index), Moment(step.0 + STEP_US));
}

#[test]
fn a_lone_unit_never_rests_since_there_is_nobody_to_protect() {
    let mut one = schedule(&[(1, 0)]);
    let mut now = Moment::ZERO;
    for failure in 1..6_u32 {
        let (index, due) = one.next().unwrap();
        now = now.max(due);
        one.take(index, now);
        let consequence = one.failed(index, now);
        assert_eq!(consequence.nothing_answers, failure >= 2);
        assert_eq!(consequence.unit_fell_silent, failure == 2);
        assert!(one.due(index).since(now) <= 0.02);
    }
}

#[test]
fn a_split_keeps_the_step_and_the_phase() {
    let mut one = schedule(&[(1, 0), (1, 1), (1, 2)]);
    let (step, _) = one.take(0, Moment(STEP_US));
    assert!(one.split(0, step, step));
    for index in 0..3 {
        assert_eq!(one.due(index), Moment(STEP_US));
        assert_eq!(one.take(index, Moment(STEP_US)), (Moment(STEP_US), 0));
    }
}

#[test]
fn a_refused_read_is_tried_whole_again_after_a_while_that_grows_and_no_step_is_lost() {
    let mut one = schedule(&[(1, 0), (1, 1), (1, 2)]);
    let second = |s: f64| Moment::from_seconds(s);
    let (step, _) = one.take(0, second(0.0));
    assert!(one.split(0, step, second(0.0)));
    one.join_again(second(59.0));
    assert_eq!(one.slots.len(), 3, "not yet");
    for index in 0..3 {
        one.take(index, second(59.99));
    }
    one.join_again(second(60.0));
    assert_eq!(one.slots.len(), 1);
    let (index, due) = one.next().unwrap();
    assert_eq!(due, second(60.0));
    let (step, missed) = one.take(index, due);
    assert_eq!((step, missed), (due, 0));
    assert!(!one.split(index, step, due), "told before");
    assert!(
        (0..3).all(|index| one.due(index) == step),
        "asked apart in the same step"
    );
    one.join_again(second(60.0 + 119.0));
    assert_eq!(one.slots.len(), 3);
    one.join_again(second(60.0 + 121.0));
    assert_eq!(one.slots.len(), 1);
    assert!(one.given(0), "it had been refused");
    assert!(!one.given(0));
}

#[test]
fn a_link_that_comes_back_is_asked_whole_at_once() {
    let mut one = schedule(&[(1, 0), (1, 1), (1, 5)]);
    let (step, _) = one.take(0, Moment(0));
    one.split(0, step, Moment(0));
    one.join_all_soon();
    one.join_again(Moment(1));
    let mut quantities: Vec<u16> = one
        .slots
        .iter()
        .map(|slot| slot.read.range.quantity)
        .collect();
    quantities.sort_unstable();
    assert_eq!(quantities, [1, 2]);
}

#[test]
fn a_step_given_back_is_due_at_once_and_not_missed() {
    let mut one = schedule(&[(1, 0)]);
    let (step, _) = one.take(0, Moment(3 * STEP_US + 7));
    one.put_back(0, step);
    assert_eq!(one.next(), Some((0, step)));
    assert_eq!(one.take(0, Moment(3 * STEP_US + 9)), (step, 0));
}

#[test]
fn when_the_link_is_lost_all_rests_end() {
    let mut both = schedule(&[(1, 0), (2, 0)]);
    let asked = run(&mut both, Moment::from_seconds(30.0), |unit_id, _| {
        unit_id == 2
    });
    let now = asked.last().unwrap().2;
    both.silence_all();
    assert!((0..2).all(|index| both.due(index) <= now.plus_seconds(0.02)));
}

//! How the faults look: each row of the design's table, as a twin experiment. The same brew runs twice with the
//! same seed, once undisturbed; only the fault can make the difference.

use simulators::{Brewhouse, Fault, Scenario, Truth};

const SCENARIO: &str = include_str!("../scenarios/harbour-stout.toml");

/// Late in sparging, while the runnings still have much to lose.
const FAULT_AT_S: f64 = 3600.0;

fn scenario() -> Scenario {
    let mut scenario = Scenario::from_toml(SCENARIO).expect("our own scenario");
    scenario.run.longest_s = 9000.0;
    scenario.run.past_target_s = 9000.0;
    scenario
}

/// One state a second, with the fault at its time.
fn run(scenario: &Scenario, fault: Option<&Fault>) -> Vec<Truth> {
    let mut brewhouse = Brewhouse::new(scenario, 42);
    let mut states = vec![*brewhouse.truth()];
    while !brewhouse.is_finished() {
        if (brewhouse.elapsed_s() - FAULT_AT_S).abs() < 0.5
            && let Some(fault) = fault
        {
            brewhouse.inject(fault).expect("a fault within its range");
        }
        brewhouse.advance(1.0);
        states.push(*brewhouse.truth());
    }
    states
}

fn twins(fault: &Fault) -> (Vec<Truth>, Vec<Truth>) {
    let scenario = scenario();
    (run(&scenario, None), run(&scenario, Some(fault)))
}

fn at(states: &[Truth], elapsed_s: f64) -> &Truth {
    &states[elapsed_s as usize]
}

fn at_metered(states: &[Truth], volume_l: f64) -> &Truth {
    states
        .iter()
        .find(|truth| truth.metered_volume_l >= volume_l)
        .expect("the run is long enough")
}

fn channel() -> Fault {
    Fault::Channel {
        share: 0.45,
        over_s: 180.0,
    }
}

#[test]
fn channelling_drops_the_runnings_early_and_leaves_a_longer_tail() {
    let (calm, channelled) = twins(&channel());
    let soon_l = at(&calm, FAULT_AT_S).metered_volume_l + 600.0;
    let late_l = soon_l + 3500.0;
    let gravity = |states: &[Truth], volume_l| at_metered(states, volume_l).runnings_gravity_p;
    assert!(gravity(&channelled, soon_l) < gravity(&calm, soon_l) - 2.0);
    assert!(gravity(&channelled, late_l) > gravity(&calm, late_l) + 0.3);
}

#[test]
fn channelling_barely_moves_the_kettle_at_first() {
    let (calm, channelled) = twins(&channel());
    let volume_l = at(&calm, FAULT_AT_S).metered_volume_l + 400.0;
    let (before, after) = (
        at_metered(&calm, volume_l),
        at_metered(&channelled, volume_l),
    );
    let runnings_p = before.runnings_gravity_p - after.runnings_gravity_p;
    let kettle_p = before.kettle_gravity_p - after.kettle_gravity_p;
    assert!(
        kettle_p < 0.15 * runnings_p,
        "kettle {kettle_p}, runnings {runnings_p}"
    );
}

#[test]
fn channelling_loses_yield() {
    let (calm, channelled) = twins(&channel());
    let volume_l = scenario().plan.planned_volume_l;
    let lost_kg =
        at_metered(&calm, volume_l).extract_kg - at_metered(&channelled, volume_l).extract_kg;
    assert!(lost_kg > 10.0, "lost {lost_kg} kg");
}

#[test]
fn channelling_lowers_the_pressure_drop_over_minutes_while_the_flow_stays() {
    let (calm, channelled) = twins(&channel());
    let ratio = |after_s: f64| {
        at(&channelled, FAULT_AT_S + after_s).pressure_drop_kpa
            / at(&calm, FAULT_AT_S + after_s).pressure_drop_kpa
    };
    assert!(ratio(20.0) > 0.95, "not at once: {}", ratio(20.0));
    assert!(
        (0.6..0.95).contains(&ratio(90.0)),
        "on its way: {}",
        ratio(90.0)
    );
    assert!(ratio(200.0) < 0.65, "open: {}", ratio(200.0));
    let flow = |states: &[Truth]| at(states, FAULT_AT_S + 200.0).flow_l_min;
    assert!((flow(&channelled) / flow(&calm) - 1.0).abs() < 0.01);
}

#[test]
fn channelling_may_raise_turbidity_for_a_while() {
    let (calm, channelled) = twins(&channel());
    let highest = (0..900)
        .map(|s| at(&channelled, FAULT_AT_S + f64::from(s)).turbidity_ebc)
        .fold(0.0, f64::max);
    assert!(highest > 2.0 * at(&calm, FAULT_AT_S).turbidity_ebc);
    assert!(at(&channelled, FAULT_AT_S + 2400.0).turbidity_ebc < 0.5 * highest);
}

fn compaction() -> Fault {
    Fault::Compaction {
        factor: 9.0,
        over_s: 1800.0,
    }
}

#[test]
fn compaction_leaves_the_runnings_unchanged_over_volume() {
    let (calm, packed) = twins(&compaction());
    let start_l = at(&calm, FAULT_AT_S).metered_volume_l;
    for further in [200.0, 500.0, 1000.0, 1500.0] {
        let a = at_metered(&calm, start_l + further).runnings_gravity_p;
        let b = at_metered(&packed, start_l + further).runnings_gravity_p;
        // Time alone tells: a slower flow gives the grain longer to release its extract.
        assert!((a - b).abs() < 0.25, "{a} and {b} after {further} L");
    }
}

#[test]
fn compaction_raises_the_pressure_drop_ever_faster() {
    let (_, packed) = twins(&compaction());
    let resistance = |after_s: f64| {
        let truth = at(&packed, FAULT_AT_S + after_s);
        truth.pressure_drop_kpa / truth.flow_l_min
    };
    let rises: Vec<f64> = (0..4)
        .map(|n| resistance(400.0 * f64::from(n + 1)) - resistance(400.0 * f64::from(n)))
        .collect();
    assert!(rises.windows(2).all(|pair| pair[1] > pair[0]), "{rises:?}");
}

#[test]
fn compaction_loses_flow_at_the_end_and_not_before_the_pressure_is_used_up() {
    let (calm, packed) = twins(&compaction());
    let flow = |states: &[Truth], after_s| at(states, FAULT_AT_S + after_s).flow_l_min;
    assert!((flow(&packed, 300.0) / flow(&calm, 300.0) - 1.0).abs() < 0.01);
    assert!(flow(&packed, 4000.0) < 0.8 * flow(&calm, 4000.0));
    let highest = scenario().bed.available_pressure_kpa * 1.001;
    assert!(
        packed
            .iter()
            .all(|truth| truth.pressure_drop_kpa <= highest)
    );
}

#[test]
fn compaction_clears_the_runnings() {
    let (calm, packed) = twins(&compaction());
    let turbidity = |states: &[Truth]| at(states, FAULT_AT_S + 1500.0).turbidity_ebc;
    assert!(turbidity(&packed) < 0.7 * turbidity(&calm));
}

#[test]
fn raking_a_packed_bed_drops_the_pressure_at_once() {
    let mut scenario = scenario();
    scenario.events.push(simulators::scenario::Event {
        at_s: 1800.0,
        what: Fault::Compaction {
            factor: 3.0,
            over_s: 1200.0,
        },
    });
    let packed = run(&scenario, None);
    let rake = Fault::Rake {
        for_s: 120.0,
        strength: 0.9,
    };
    let raked = run(&scenario, Some(&rake));
    let ratio = |after_s: f64| {
        at(&raked, FAULT_AT_S + after_s).pressure_drop_kpa
            / at(&packed, FAULT_AT_S + after_s).pressure_drop_kpa
    };
    assert!((ratio(0.0) - 1.0).abs() < 1e-9);
    assert!(ratio(60.0) < 0.5, "after a minute {}", ratio(60.0));
}

#[test]
fn raking_makes_a_small_step_in_the_runnings_and_a_turbidity_spike_that_decays_in_minutes() {
    let rake = Fault::Rake {
        for_s: 120.0,
        strength: 0.9,
    };
    let (calm, raked) = twins(&rake);
    let step = (0..600)
        .map(|s| {
            let (a, b) = (
                at(&calm, FAULT_AT_S + f64::from(s)),
                at(&raked, FAULT_AT_S + f64::from(s)),
            );
            (a.runnings_gravity_p - b.runnings_gravity_p).abs()
        })
        .fold(0.0, f64::max);
    assert!((0.05..1.5).contains(&step), "step {step}");
    let turbidity = |after_s: f64| at(&raked, FAULT_AT_S + after_s).turbidity_ebc;
    let base = at(&calm, FAULT_AT_S).turbidity_ebc;
    let spike = (0..600)
        .map(|s| turbidity(f64::from(s)))
        .fold(0.0, f64::max);
    assert!(spike > 5.0 * base, "spike {spike}");
    assert!(turbidity(1500.0) < base + 0.1 * (spike - base));
}

#[test]
fn raking_closes_a_channel() {
    let mut scenario = scenario();
    scenario.events.push(simulators::scenario::Event {
        at_s: 2700.0,
        what: channel(),
    });
    let rake = Fault::Rake {
        for_s: 120.0,
        strength: 0.9,
    };
    let states = run(&scenario, Some(&rake));
    assert!(at(&states, FAULT_AT_S).channel_share > 0.44);
    assert!(at(&states, FAULT_AT_S + 180.0).channel_share < 0.01);
    let gravity = |after_s: f64| at(&states, FAULT_AT_S + after_s).runnings_gravity_p;
    assert!(gravity(300.0) > gravity(0.0) + 1.0, "good wort comes again");
}

#[test]
fn a_pause_stops_the_flow_and_the_runnings_rise_a_little_when_it_resumes() {
    let (calm, paused) = twins(&Fault::Pause { for_s: 900.0 });
    let within = at(&paused, FAULT_AT_S + 600.0);
    assert!(within.flow_l_min.abs() < f64::EPSILON);
    assert!(within.pressure_drop_kpa.abs() < f64::EPSILON);
    assert!(!within.pump_running);
    let volume_l = at(&paused, FAULT_AT_S + 890.0).metered_volume_l;
    let pipe_l = scenario().tun.pipe_volume_l;
    let rise = |further: f64| {
        at_metered(&paused, volume_l + further).runnings_gravity_p
            - at_metered(&calm, volume_l + further).runnings_gravity_p
    };
    assert!(
        rise(0.5 * pipe_l).abs() < 0.15,
        "the pipe still holds wort from before"
    );
    let after = rise(pipe_l + 60.0);
    assert!((0.1..2.0).contains(&after), "rise {after}");
}

#[test]
fn recirculation_holds_the_runnings_fills_no_kettle_and_clears_the_wort() {
    let states = run(&scenario(), None);
    // The scenario begins with 480 s of it.
    let (early, late) = (at(&states, 150.0), at(&states, 470.0));
    assert!(early.recirculating && late.recirculating);
    assert!(late.flow_l_min > 20.0);
    assert!(late.kettle_volume_l.abs() < f64::EPSILON);
    assert!((late.runnings_gravity_p / early.runnings_gravity_p - 1.0).abs() < 0.02);
    let base = scenario().wort.turbidity_ebc;
    let above = |elapsed_s| (at(&states, elapsed_s).turbidity_ebc - base).ln();
    let (first, second) = (above(270.0) - above(190.0), above(350.0) - above(270.0));
    assert!(first < -0.2, "falling by {first}");
    assert!(
        (first / second - 1.0).abs() < 0.15,
        "exponentially: {first}, {second}"
    );
    assert!(at(&states, 600.0).kettle_volume_l > 50.0);
}

#[test]
fn a_flow_step_moves_flow_and_pressure_together_and_leaves_the_runnings_over_volume() {
    let (calm, stepped) = twins(&Fault::FlowStep { to_l_min: 50.0 });
    let after_s = FAULT_AT_S + 60.0;
    let flow = at(&stepped, after_s).flow_l_min / at(&calm, after_s).flow_l_min;
    let pressure = at(&stepped, after_s).pressure_drop_kpa / at(&calm, after_s).pressure_drop_kpa;
    assert!((0.65..0.78).contains(&flow), "flow {flow}");
    assert!(
        (pressure / flow - 1.0).abs() < 0.02,
        "pressure {pressure}, flow {flow}"
    );
    let start_l = at(&calm, FAULT_AT_S).metered_volume_l;
    for further in [100.0, 500.0, 1000.0] {
        let without = at_metered(&calm, start_l + further);
        let with = at_metered(&stepped, start_l + further);
        let over_volume = (without.runnings_gravity_p - with.runnings_gravity_p).abs();
        let later = at(&calm, with.elapsed_s);
        let over_time = (later.runnings_gravity_p - with.runnings_gravity_p).abs();
        // The slower flow leaves the grain a little more time to release its extract.
        assert!(over_volume < 0.7, "{over_volume} °P after {further} L");
        assert!(
            further < 500.0 || over_volume < 0.25 * over_time,
            "{over_volume}, {over_time}"
        );
    }
}

#[test]
fn an_instrument_fault_moves_one_reading_alone() {
    let scenario = scenario();
    let fault = Fault::Step {
        instrument: "runnings_density".to_owned(),
        by: 5.0,
    };
    let mut calm = Brewhouse::new(&scenario, 9);
    let mut faulty = Brewhouse::new(&scenario, 9);
    calm.advance(1200.0);
    faulty.advance(1200.0);
    faulty.inject(&fault).expect("a known instrument");
    calm.advance(60.0);
    faulty.advance(60.0);
    assert_eq!(calm.truth(), faulty.truth());
    for (a, b) in calm.readings().iter().zip(faulty.readings()) {
        let (a_value, b_value) = (a.value.expect("a value"), b.value.expect("a value"));
        if a.id == "runnings_density" {
            assert!((b_value - a_value - 5.0).abs() < 1e-9);
        } else {
            assert!((b_value - a_value).abs() < f64::EPSILON, "{}", a.id);
        }
    }
}

#[test]
fn a_channel_in_a_bed_of_one_lane_is_refused() {
    let mut scenario = scenario();
    scenario.bed.lanes = 1;
    assert_eq!(scenario.faults(), []);
    let mut brewhouse = Brewhouse::new(&scenario, 1);
    brewhouse.advance(100.0);
    let message = brewhouse
        .inject(&channel())
        .expect_err("refused")
        .to_string();
    assert!(message.contains("bed.lanes"), "{message}");
    scenario.events.push(simulators::scenario::Event {
        at_s: 100.0,
        what: channel(),
    });
    assert_eq!(scenario.faults().len(), 1);
}

//! A brew that is started before the wort flows.

use super::*;

/// What the meter shows while nothing runs: more than `no_flow_l_min`, less than any wort.
const ZERO_ERROR_L_MIN: f64 = 1.4;

/// The brew is started, and for half an hour the meter shows its zero error and nothing runs.
fn half_an_hour_too_early() -> Run {
    let mut run = Run::new();
    for _ in 0..1800 {
        run.second += 1.0;
        let noise = wobble(run.second, 0.0);
        run.read(GRAVITY, 18.0 + 0.02 * noise);
        run.read(FLOW, ZERO_ERROR_L_MIN + 0.3 * noise);
        run.read(RECIRCULATING, 0.0);
        run.read(LEVEL, 0.03 * wobble(run.second, 1.0));
    }
    run
}

fn state(run: &Run) -> RunoffState {
    let mut states = run.outputs.iter().rev();
    let found = states.find_map(|dated| match &dated.output {
        Output::Runoff(state) => Some(state.clone()),
        _ => None,
    });
    found.expect("a state")
}

#[test]
fn the_zero_error_of_the_flow_meter_begins_no_run_off() {
    let run = half_an_hour_too_early();
    assert_eq!(state(&run).phase, Phase::Idle);
    assert!(state(&run).kettle_volume_l.abs() < 1e-9);
    assert!(run.projections().is_empty(), "there is no stop-point yet");
    let now = Moment::from_seconds(run.second);
    let outlook = run.supervisor.outlook(now).expect("a brew");
    assert_eq!(outlook.since_start_s, None);
    assert_eq!(outlook.timely_flow_l_min, None);
    assert_eq!(run.alarms(), []);
}

#[test]
fn what_stands_in_the_pipe_before_the_first_wort_is_no_stuck_instrument() {
    let mut run = Run::new();
    for _ in 0..3600 {
        run.second += 1.0;
        run.read(GRAVITY, 18.0);
        let noise = wobble(run.second, 0.0);
        run.read(FLOW, ZERO_ERROR_L_MIN + 0.3 * noise);
        run.read(RECIRCULATING, 0.0);
        run.read(LEVEL, 0.03 * wobble(run.second, 1.0));
    }
    assert_eq!(run.alarms(), []);
}

#[test]
fn what_the_meter_showed_before_the_first_wort_is_forgotten_when_it_comes() {
    let mut early = half_an_hour_too_early();
    early.flow(600, 60.0, false);
    let mut prompt = Run::new();
    prompt.flow(600, 60.0, false);
    let stop = |run: &Run| {
        let line = run
            .projections()
            .last()
            .copied()
            .expect("a projection")
            .clone();
        let stop = line.stop.expect("a stop-point");
        (stop.elapsed_s - line.elapsed_s, line.kettle_volume_l)
    };
    let ((to_go_s, volume_l), (prompt_s, prompt_l)) = (stop(&early), stop(&prompt));
    assert!(
        (to_go_s / prompt_s - 1.0).abs() < 0.02,
        "{to_go_s} s to go, {prompt_s} s in a brew started with the wort"
    );
    assert!(
        (volume_l - prompt_l).abs() < 3.0,
        "{volume_l} L and {prompt_l} L"
    );
    let outlook = early.supervisor.outlook(Moment::from_seconds(early.second));
    let since_s = outlook.and_then(|it| it.since_start_s).expect("wort runs");
    assert!((590.0..=600.0).contains(&since_s), "{since_s}");
    assert_eq!(state(&early).phase, Phase::FirstWort);
}

#[test]
fn a_bed_that_is_nearly_stuck_is_no_pause() {
    let mut run = Run::new();
    run.flow(1200, 60.0, false);
    run.flow(600, ZERO_ERROR_L_MIN, false);
    let volume_l = state(&run).kettle_volume_l;
    assert!((volume_l - 1214.0).abs() < 6.0, "{volume_l}");
}

//! Hand samples that are slips: what they may do, and what is left when one is withdrawn.

use super::*;

fn kettle(gravity_p: f64) -> Event {
    Event::Sample(Sample {
        place: Place::Kettle,
        gravity_p: Some(gravity_p),
        ph: None,
        volume_l: None,
    })
}

fn runnings(gravity_p: f64, ph: f64) -> Event {
    Event::Sample(Sample {
        place: Place::Runnings,
        gravity_p: Some(gravity_p),
        ph: Some(ph),
        volume_l: None,
    })
}

fn reached(run: &Run) -> bool {
    run.alarms()
        .contains(&(AlarmId::StopPointReached, AlarmState::Unacknowledged))
}

fn since(run: &Run, elapsed_s: f64) -> Vec<ProjectionLine> {
    let lines = run.projections().into_iter().cloned();
    lines.filter(|line| line.elapsed_s > elapsed_s).collect()
}

#[test]
fn the_same_slip_twice_within_minutes_is_no_reason_to_stop() {
    let (volume_l, _) = truth();
    for apart_s in [1, 60, 240] {
        for slip_p in [12.4, 1.076] {
            let mut run = Run::new();
            run.flow(3600, 60.0, false);
            run.give(kettle(slip_p));
            run.flow(apart_s, 60.0, false);
            run.give(kettle(slip_p));
            run.flow(300, 60.0, false);
            assert!(!reached(&run), "{slip_p} twice, {apart_s} s apart");
            let stop = run.projections().last().unwrap().stop.unwrap();
            let off = stop.volume_l / volume_l - 1.0;
            assert!(off.abs() < 0.02, "{slip_p}, {apart_s} s: {stop:?}");
        }
    }
}

#[test]
fn a_run_off_goes_on_as_if_a_withdrawn_sample_had_never_been_taken() {
    let (mut plain, mut slipped) = (Run::new(), Run::new());
    for run in [&mut plain, &mut slipped] {
        run.flow(2000, 60.0, false);
    }
    slipped.give(kettle(16.9));
    slipped.give(runnings(16.0, 5.1));
    for run in [&mut plain, &mut slipped] {
        run.flow(301, 60.0, false);
    }
    assert_ne!(since(&plain, 2000.0), since(&slipped, 2000.0));
    slipped.give(Event::SampleWithdrawn { number: 0 });
    slipped.give(Event::SampleWithdrawn { number: 1 });
    let left = slipped.second;
    for run in [&mut plain, &mut slipped] {
        run.flow(3000, 60.0, false);
    }
    let (plain, slipped) = (since(&plain, left), since(&slipped, left));
    assert!(plain.len() > 90);
    assert_eq!(plain.first(), slipped.first());
    assert_eq!(plain.last(), slipped.last());
}

#[test]
fn a_stop_point_that_only_samples_told_of_is_taken_back_with_them() {
    let mut run = Run::new();
    run.flow(2400, 60.0, false);
    for _ in 0..3 {
        run.give(kettle(12.0));
        run.flow(400, 60.0, false);
    }
    assert!(reached(&run), "three samples that agree are believed");
    for number in 0..3 {
        run.give(Event::SampleWithdrawn { number });
    }
    run.flow(300, 60.0, false);
    let returned = (
        AlarmId::StopPointReached,
        AlarmState::ReturnedUnacknowledged,
    );
    assert!(run.alarms().contains(&returned), "{:?}", run.alarms());
    run.flow(3200, 60.0, false);
    let (volume_l, _) = truth();
    let summary = run.summary();
    let off = summary.stop_volume_l.unwrap() / volume_l - 1.0;
    assert!(off.abs() < 0.01, "{summary:?}");
}

#[test]
fn only_a_sample_that_stands_can_be_withdrawn() {
    let mut run = Run::new();
    run.flow(1200, 60.0, false);
    run.give(kettle(17.9));
    for number in [1, 0, 0] {
        run.give(Event::SampleWithdrawn { number });
    }
    let told = run.outputs.iter().filter(
        |dated| matches!(&dated.output, Output::Occurrence(it) if it.event == "sample-withdrawn"),
    );
    assert_eq!(told.count(), 1);
}

#[test]
fn a_sample_far_from_the_balance_or_the_line_is_doubted_with_both_figures() {
    let mut run = Run::new();
    run.flow(2400, 60.0, false);
    let now = Moment::from_seconds(run.second);
    let sample = |place, gravity_p, volume_l| Sample {
        place,
        gravity_p,
        ph: None,
        volume_l,
    };
    let doubts = |sample: Sample| run.supervisor.doubts_of_sample(&sample, now);
    let line_p = gravity_p(run.volume_l);
    for (near, far) in [
        (
            sample(Place::Kettle, Some(17.0), None),
            sample(Place::Kettle, Some(1.076), None),
        ),
        (
            sample(Place::Runnings, Some(line_p + 0.3), None),
            sample(Place::Runnings, Some(line_p - 4.0), None),
        ),
        (
            sample(Place::Kettle, None, Some(2420.0)),
            sample(Place::Kettle, None, Some(4.5)),
        ),
    ] {
        assert_eq!(doubts(near), [], "{near:?}");
        assert_eq!(doubts(far).len(), 1, "{far:?}");
    }
    let Some(SampleDoubt::KettleVolume { expected_l, .. }) =
        doubts(sample(Place::Kettle, None, Some(20_000.0))).pop()
    else {
        panic!("a volume beyond the kettle is doubted");
    };
    assert!((expected_l - 2400.0).abs() < 60.0);
}

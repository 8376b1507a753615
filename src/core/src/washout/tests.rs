use super::*;

fn expectation() -> Expectation {
    Expectation {
        grist_kg: 980.0,
        first_wort_gravity_p: Some(18.0),
        target_gravity_p: 12.4,
        planned_volume_l: 5200.0,
        heel_l: 0.0,
    }
}

fn truth() -> Curve {
    Curve {
        first_wort_gravity_p: 18.3,
        breakthrough_l: 2300.0,
        sharpness: 12.0,
        decline: 1.9,
        bend: 0.4,
    }
}

fn fed_until(volume_l: f64) -> Washout {
    let mut washout = Washout::new(Parameters::default(), expectation());
    let mut litres = 0.0;
    while litres < volume_l {
        washout.observe(litres, truth().gravity_p(litres), 0.02);
        litres += 5.0;
    }
    washout.refit();
    washout
}

#[test]
fn before_any_reading_the_plan_is_expected_to_come_true() {
    let washout = Washout::new(Parameters::default(), expectation());
    let (kettle_p, _) = washout
        .hint
        .with_slopes(&Course::of(&washout.posterior().mean));
    assert!(
        (kettle_p - 12.4).abs() < 0.3,
        "kettle gravity at the planned volume {kettle_p}"
    );
}

#[test]
fn the_fit_follows_the_readings_it_has() {
    let washout = fed_until(4000.0);
    for volume_l in [500.0, 2000.0, 3000.0, 3900.0] {
        let curve = Curve::from_vector(&washout.posterior().mean);
        let miss = curve.gravity_p(volume_l) - truth().gravity_p(volume_l);
        assert!(miss.abs() < 0.3, "at {volume_l} L the fit is {miss} °P off");
    }
}

#[test]
fn the_forecast_covers_the_truth_and_is_wider_further_out() {
    let washout = fed_until(3000.0);
    let mut last_sd = 0.0;
    for volume_l in [3200.0, 3600.0, 4000.0, 4600.0] {
        let (mean, sd) = washout.expected(volume_l);
        let miss = (mean - truth().gravity_p(volume_l)).abs();
        assert!(
            miss < 2.5 * sd,
            "at {volume_l} L the forecast {mean} ± {sd} misses by {miss}"
        );
        assert!(sd > last_sd);
        last_sd = sd;
    }
}

#[test]
fn doubt_does_not_collapse_however_much_has_been_seen() {
    let washout = fed_until(4800.0);
    let (_, sd) = washout.expected(5600.0);
    assert!(sd > 0.1, "{sd}");
}

#[test]
fn a_pause_changes_nothing_because_no_volume_runs() {
    let mut paused = fed_until(3000.0);
    let before = paused.expected(3500.0).0;
    for _ in 0..300 {
        paused.observe(2995.0, truth().gravity_p(2995.0), 0.02);
    }
    paused.refit();
    let moved_p = paused.expected(3500.0).0 - before;
    assert!(moved_p.abs() < 0.05, "the forecast moved by {moved_p} °P");
}

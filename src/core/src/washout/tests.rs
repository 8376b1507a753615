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

#[test]
fn stronger_runnings_after_a_rest_are_not_laid_to_the_curve() {
    let plain = fed_until(3600.0);
    let expected_p = plain.expected(5200.0).0;
    let resumed = |rests: bool| {
        let mut washout = plain.clone();
        if rests {
            washout.note_rest(900.0);
        }
        let mut litres: f64 = 3600.0;
        while litres < 3800.0 {
            let rise_p = 0.6 * (-(litres - 3600.0) / 300.0).exp();
            washout.observe(litres, truth().gravity_p(litres) + rise_p, 0.02);
            litres += 5.0;
        }
        washout.refit();
        (washout.expected(5200.0).0 - expected_p).abs()
    };
    assert!(
        resumed(true) < 0.7 * resumed(false),
        "{} °P with the rest noted, {} °P without",
        resumed(true),
        resumed(false)
    );
}

/// "Analysis of Carakale's Lautering Practices on Differential Pressure and Mash Efficiency" (2020), 23 run-offs: litres
/// run off, mean of runnings over first wort as excess of specific gravity, and its standard deviation from brew to
/// brew. The mean specific gravity of their first wort is 1.0843, which is 20.3 °P. Excess of specific gravity over
/// that of the first wort is the share of gravity left within 0.01.
const PUBLISHED: [(f64, f64, f64); 3] = [
    (1000.0, 0.975, 0.037),
    (1500.0, 0.895, 0.080),
    (2000.0, 0.750, 0.123),
];

/// Shares of the first wort left at each published volume, in many curves drawn from what is believed before a brew.
fn prior_shares(planned_volume_l: f64) -> [Vec<f64>; 3] {
    use statrs::distribution::{ContinuousCDF, Normal};
    const DRAWS: u32 = 400;
    // Powers of the root of x⁶ = x + 1: an even spread in five dimensions (Roberts 2018, from memory).
    const ROOT: f64 = 1.134_724_138_401_519_5;
    let expectation = Expectation {
        grist_kg: planned_volume_l / 5.3,
        first_wort_gravity_p: Some(20.3),
        target_gravity_p: 0.76 * 20.3,
        planned_volume_l,
        heel_l: 0.0,
    };
    let washout = Washout::new(Parameters::default(), expectation);
    let root = washout.covariance_root();
    let normal = Normal::standard();
    let mut shares: [Vec<f64>; 3] = Default::default();
    for draw in 0..DRAWS {
        let z = ShapeVector::from_fn(|row, _| {
            let step = ROOT.powf(-(row as f64 + 1.0));
            normal.inverse_cdf(
                (0.5 + f64::from(draw + 1) * step)
                    .fract()
                    .clamp(1e-6, 1.0 - 1e-6),
            )
        });
        let curve = Curve::from_vector(&(washout.posterior().mean + root * z));
        for ((volume_l, ..), shares) in PUBLISHED.iter().zip(&mut shares) {
            shares.push(curve.remaining_share(*volume_l));
        }
    }
    shares
}

fn mean_and_sd(values: &[f64]) -> (f64, f64) {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let square: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    (mean, (square / values.len() as f64).sqrt())
}

/// The volume of those brews is not published, so that the last point sets the scale; the others must then follow.
#[test]
fn the_prior_reproduces_twenty_three_published_run_offs_within_their_spread() {
    let last = PUBLISHED.len() - 1;
    let miss =
        |planned_l: f64| (mean_and_sd(&prior_shares(planned_l)[last]).0 - PUBLISHED[last].1).abs();
    let planned_l = (20..60)
        .map(|step| 100.0 * f64::from(step))
        .min_by(|a, b| miss(*a).total_cmp(&miss(*b)))
        .expect("volumes");
    for ((volume_l, published, published_sd), shares) in
        PUBLISHED.iter().zip(&prior_shares(planned_l))
    {
        let (mean, sd) = mean_and_sd(shares);
        println!(
            "{planned_l} L planned, at {volume_l} L: {mean:.3} ± {sd:.3}, published {published} ± {published_sd}"
        );
        assert!(
            (mean - published).abs() < *published_sd,
            "at {volume_l} L of {planned_l} L the prior expects {mean:.3}, published is {published}"
        );
        assert!(
            (0.3..3.0).contains(&(sd / published_sd)),
            "at {volume_l} L the prior strays by {sd:.3}, published brews by {published_sd}"
        );
    }
}

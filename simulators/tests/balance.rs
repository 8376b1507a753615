//! How true the kettle's balance is over many invented brewhouses.

use lauter_core::supervisor::{Line, Output, Parameters};
use simulators::Scenario;
use simulators::study::trial::{self, HandSamples};
use simulators::study::{in_parallel, quantile};

/// Kettle gravity by the supervisor minus the truth, at the true stop-point, with the seed.
fn error_at_stop_point(seed: u64) -> Option<(u64, f64)> {
    let scenario = Scenario::draw(seed);
    let trial = trial::run(&scenario, seed, HandSamples::Taken, Parameters::default());
    let stop_s = trial.crossings.target?.elapsed_s;
    let lines: Vec<_> = trial
        .outputs
        .iter()
        .filter_map(|dated| match &dated.output {
            Output::Line(Line::Projection(line)) => {
                line.kettle_gravity_p.map(|p| (line.elapsed_s, p))
            }
            _ => None,
        })
        .collect();
    let after = lines
        .iter()
        .position(|(elapsed_s, _)| *elapsed_s >= stop_s)?;
    let ((before_s, before_p), (after_s, after_p)) = (lines[after.checked_sub(1)?], lines[after]);
    let share = (stop_s - before_s) / (after_s - before_s);
    let gravity_p = before_p + share * (after_p - before_p);
    Some((seed, gravity_p - scenario.plan.target_gravity_p))
}

#[test]
fn kettle_gravity_at_the_stop_point_is_true_to_0_05_in_the_median_and_0_10_in_nine_of_ten() {
    let seeds: Vec<u64> = (1..=50).collect();
    let errors: Vec<(u64, f64)> = in_parallel(&seeds, |seed| error_at_stop_point(*seed))
        .into_iter()
        .flatten()
        .collect();
    assert!(
        errors.len() >= 45,
        "only {} of 50 run-offs came to their target",
        errors.len()
    );
    let sizes: Vec<f64> = errors.iter().map(|(_, error)| error.abs()).collect();
    let (median, ninth) = (
        quantile(&sizes, 0.5).unwrap(),
        quantile(&sizes, 0.9).unwrap(),
    );
    let mean = errors.iter().map(|(_, error)| error).sum::<f64>() / errors.len() as f64;
    println!("mean error {mean:+.4} °P");
    let worst = errors
        .iter()
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
        .unwrap();
    println!(
        "{} run-offs: median {median:.4} °P, 90th percentile {ninth:.4} °P, worst seed {worst:?}",
        sizes.len()
    );
    assert!(median <= 0.05, "median {median} °P; worst seed {worst:?}");
    assert!(
        ninth <= 0.10,
        "90th percentile {ninth} °P; worst seed {worst:?}"
    );
}

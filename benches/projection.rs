//! What one projection update costs, beside a peer of known size in the same run.
//!
//! The update is what happens every 30 s of a run-off: the washout is fitted to the newest bin and the remaining
//! run-off is played forward. The peer is nalgebra's singular value decomposition of a 24 × 24 matrix, so that
//! figures of different machines can be compared as ratios.

mod paired;

use std::hint::black_box;
use std::path::Path;

use criterion::{Criterion, criterion_group};
use lauter_core::kettle::Contents;
use lauter_core::projection::{Draws, Limits, Situation, crossings};
use lauter_core::washout::{Acidity, AcidityParameters, Curve, Expectation, Parameters, Washout};
use nalgebra::DMatrix;

use paired::{figure_beside, is_tiny};

const GROUP: &str = "projection";
const UPDATE: &str = "one update";
const PEER: &str = "peer: singular values of 24 x 24 by nalgebra";

fn truth() -> Curve {
    Curve {
        first_wort_gravity_p: 18.3,
        breakthrough_l: 2300.0,
        sharpness: 12.0,
        decline: 1.9,
        bend: 0.4,
    }
}

fn washout(until_l: f64) -> Washout {
    let expectation = Expectation {
        grist_kg: 980.0,
        first_wort_gravity_p: Some(18.0),
        target_gravity_p: 12.4,
        planned_volume_l: 5200.0,
        heel_l: 0.0,
    };
    let mut washout = Washout::new(Parameters::default(), expectation);
    let mut volume_l = 0.0;
    while volume_l < until_l {
        washout.observe(volume_l, truth().gravity_p(volume_l), 0.02);
        volume_l += 1.0;
    }
    washout.refit();
    washout
}

fn situation(runoff_l: f64) -> Situation {
    Situation {
        elapsed_s: runoff_l,
        contents: Contents {
            unseen_se_l: 0.0,
            unseen_p: 0.0,
            volume_l: runoff_l,
            volume_se_l: 15.0,
            extract_kg: 0.17 * runoff_l,
            wort_kg: 1.04 * runoff_l,
            gravity_p: Some(16.3),
            gravity_se_p: 0.05,
        },
        runoff_l,
        flow_scale: 1.0,
        calibration_p: (0.0, 0.05),
        flow_l_min: 60.0,
        temperature_c: 75.0,
        target_was_ahead: true,
    }
}

fn projection(criterion: &mut Criterion) {
    let limits = Limits {
        target_gravity_p: 12.4,
        gravity_floor_p: 3.0,
        ph_ceiling: 6.0,
        horizon_l: 4000.0,
    };
    let acidity = Acidity::new(AcidityParameters::default());
    let draws = Draws::new(Draws::seed_of("2026-0412"));
    let start = washout(4000.0);
    let mut group = criterion.benchmark_group(GROUP);
    group.bench_function(UPDATE, |bencher| {
        let mut volume_l = 4000.0;
        let mut washout = start.clone();
        bencher.iter(|| {
            // Thirty seconds of flow, one reading each; back to the start now and then, so that the run-off
            // stays a run-off.
            if volume_l > 5200.0 {
                volume_l = 4000.0;
                washout = start.clone();
            }
            for _ in 0..30 {
                volume_l += 1.0;
                washout.observe(volume_l, truth().gravity_p(volume_l), 0.02);
            }
            washout.refit();
            black_box(crossings(
                &situation(volume_l),
                &limits,
                &washout,
                Some(&acidity),
                &draws,
            ))
        });
    });
    group.bench_function(PEER, |bencher| {
        let matrix = DMatrix::from_fn(24, 24, |row, column| 1.0 / (1.0 + (row + column) as f64));
        bencher.iter(|| black_box(matrix.clone().svd(true, true)));
    });
    group.finish();
}

/// The median that criterion has just written, µs.
fn median_us(function: &str) -> f64 {
    let target = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let target = target.parent().expect("it lies in the target directory");
    // Criterion's name for the directory.
    let function = function.replace(':', "_");
    let path = target.join(format!("criterion/{GROUP}/{function}/new/estimates.json"));
    let text = std::fs::read_to_string(path).expect("criterion has written its estimates");
    let estimates: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let median_ns = estimates["median"]["point_estimate"].as_f64();
    median_ns.expect("a median") / 1000.0
}

criterion_group!(benches, projection);

fn main() {
    benches();
    Criterion::default().configure_from_args().final_summary();
    // A tiny run only looks whether it runs: criterion estimates nothing.
    if !is_tiny() {
        let (update, peer) = (median_us(UPDATE), median_us(PEER));
        figure_beside(UPDATE, update, 1, "µs", (update / peer, PEER));
    }
}

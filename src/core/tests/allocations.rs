//! A reading costs the conditioning no allocation: counted, not supposed.

//!
//! Only this thread's allocations count: the test runner allocates on its own one whenever it likes.

use allocation_counter::measure;
use lauter_core::conditioning::{Conditioner, Parameters};
use lauter_core::reading::{Measures, Moment};

/// A slow fall with noise and a gas bubble now and then.
fn value(second: i64) -> f64 {
    let noise = ((second * 7919) % 1000) as f64 / 1000.0 - 0.5;
    let bubble = if second % 500 == 499 { -2.0 } else { 0.0 };
    18.0 - 0.001 * second as f64 + 0.02 * noise + bubble
}

#[test]
fn a_reading_is_conditioned_without_an_allocation() {
    for measures in Measures::ALL {
        let mut conditioner =
            Conditioner::new(Parameters::for_measurement(measures), -50.0, 40.0, 10.0);
        let mut spikes = 0;
        let mut observe = |second: i64| {
            let outcome = conditioner.observe(Ok(value(second)), Moment(second * 1_000_000), true);
            spikes += outcome.spikes;
        };
        // The waiting room gets its first place with the first bubble.
        (0..1000).for_each(&mut observe);
        let allocated = measure(|| (1000..20_000).for_each(&mut observe));
        assert_eq!(allocated.count_total, 0, "{measures:?}: {allocated:?}");
        assert!(
            spikes >= 30,
            "{measures:?}: only {spikes} bubbles were told"
        );
    }
}

#[test]
fn the_counter_counts() {
    let allocated = measure(|| drop(std::hint::black_box(vec![0_u8; 64])));
    assert_eq!(allocated.count_total, 1, "{allocated:?}");
}

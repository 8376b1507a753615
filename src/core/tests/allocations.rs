//! A reading costs the conditioning no allocation: counted, not supposed.

use std::alloc::System;

use lauter_core::conditioning::{Conditioner, Parameters};
use lauter_core::reading::{Measures, Moment};
use stats_alloc::{INSTRUMENTED_SYSTEM, Region, StatsAlloc};

#[global_allocator]
static ALLOCATOR: &StatsAlloc<System> = &INSTRUMENTED_SYSTEM;

/// A slow fall with noise and a gas bubble now and then.
fn value(second: i64) -> f64 {
    let noise = ((second * 7919) % 1000) as f64 / 1000.0 - 0.5;
    let bubble = if second % 500 == 499 { -2.0 } else { 0.0 };
    18.0 - 0.001 * second as f64 + 0.02 * noise + bubble
}

/// One test alone in its program: another thread's allocations would be counted as well.
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
        let region = Region::new(ALLOCATOR);
        (1000..20_000).for_each(&mut observe);
        let change = region.change();
        assert_eq!(
            change.allocations + change.reallocations,
            0,
            "{measures:?}: {change:?}"
        );
        assert!(
            spikes >= 30,
            "{measures:?}: only {spikes} bubbles were told"
        );
    }
}

use proptest::prelude::*;

use super::*;

fn gravity() -> Conditioner {
    Conditioner::new(
        Parameters::for_measurement(Measures::RunningsGravity),
        -2.0,
        35.0,
        10.0,
    )
}

fn second(second: f64) -> Moment {
    Moment::from_seconds(second)
}

/// Cheap repeatable noise of about unit variance (sum of twelve uniform numbers, a linear congruential
/// generator from Numerical Recipes).
fn noise(seed: &mut u64) -> f64 {
    let mut sum = -6.0;
    for _ in 0..12 {
        *seed = seed
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        sum += (*seed >> 33) as f64 / f64::from(1u32 << 31);
    }
    sum
}

#[test]
fn before_any_reading_the_cause_is_never_read() {
    assert_eq!(gravity().estimate(Moment::ZERO), Err(Cause::NeverRead));
}

#[test]
fn the_standard_error_covers_the_error_on_a_falling_gravity() {
    let mut seed = 7;
    let mut conditioner = gravity();
    let (mut inside, mut total, mut worst) = (0, 0, 0.0_f64);
    for t in 0..4000 {
        let truth = 18.0 / (1.0 + ((f64::from(t) - 2000.0) / 400.0).exp());
        conditioner.observe(
            Ok(truth + 0.05 * noise(&mut seed)),
            second(f64::from(t)),
            true,
        );
        if t > 200 {
            let estimate = conditioner.estimate(second(f64::from(t))).unwrap();
            total += 1;
            worst = worst.max((estimate.value - truth).abs());
            inside += u32::from((estimate.value - truth).abs() < 3.0 * estimate.standard_error);
        }
    }
    assert!(
        f64::from(inside) / f64::from(total) > 0.97,
        "{inside} of {total} within three standard errors"
    );
    assert!(worst < 0.12, "worst error {worst} °P");
}

#[test]
fn bubbles_in_the_density_meter_do_not_move_the_value() {
    let mut seed = 11;
    let mut conditioner = gravity();
    let mut spikes = 0;
    for t in 0..1200 {
        let bubble = if t > 100 && t % 37 < 3 {
            -4.0 - f64::from(t % 5)
        } else {
            0.0
        };
        let outcome = conditioner.observe(
            Ok(18.0 + bubble + 0.03 * noise(&mut seed)),
            second(f64::from(t)),
            true,
        );
        spikes += outcome.spikes;
        if t > 150 {
            let value = conditioner.estimate(second(f64::from(t))).unwrap().value;
            assert!((value - 18.0).abs() < 0.1, "at {t} s the value is {value}");
        }
    }
    assert!(spikes > 80, "{spikes} spikes counted");
}

#[test]
fn a_frozen_instrument_is_called_stuck_and_recovers() {
    let mut seed = 3;
    let mut conditioner = gravity();
    for t in 0..300 {
        conditioner.observe(
            Ok(18.0 + 0.03 * noise(&mut seed)),
            second(f64::from(t)),
            true,
        );
    }
    for t in 300..450 {
        conditioner.observe(Ok(17.9), second(f64::from(t)), true);
    }
    assert_eq!(conditioner.estimate(second(450.0)), Err(Cause::Stuck));
    for t in 451..471 {
        conditioner.observe(
            Ok(17.5 + 0.03 * noise(&mut seed)),
            second(f64::from(t)),
            true,
        );
    }
    let value = conditioner.estimate(second(471.0)).unwrap().value;
    assert!((value - 17.5).abs() < 0.1, "after thawing {value}");
}

#[test]
fn a_coarse_instrument_that_always_repeats_itself_is_not_stuck() {
    let mut conditioner = gravity();
    for t in 0..3000 {
        conditioner.observe(
            Ok((18.0 - f64::from(t) * 0.001).round()),
            second(f64::from(t)),
            true,
        );
        assert_ne!(conditioner.last_cause(), Some(Cause::Stuck), "at {t} s");
    }
}

#[test]
fn a_resting_process_excuses_a_constant_value() {
    let mut seed = 5;
    let mut conditioner = gravity();
    for t in 0..300 {
        conditioner.observe(
            Ok(18.0 + 0.03 * noise(&mut seed)),
            second(f64::from(t)),
            true,
        );
    }
    for t in 300..2000 {
        conditioner.observe(Ok(0.0), second(f64::from(t)), false);
    }
    assert_ne!(conditioner.last_cause(), Some(Cause::Stuck));
}

#[test]
fn a_silent_instrument_goes_stale_and_a_slow_record_does_not() {
    let mut conditioner = gravity();
    for t in 0..100 {
        conditioner.observe(Ok(18.0), second(f64::from(t)), false);
    }
    assert!(conditioner.estimate(second(108.0)).is_ok());
    assert_eq!(conditioner.estimate(second(112.0)), Err(Cause::Stale));
    let mut slow = gravity();
    for row in 0..20 {
        slow.observe(Ok(18.0), second(30.0 * f64::from(row)), false);
    }
    assert!(slow.estimate(second(30.0 * 19.0 + 29.0)).is_ok());
}

#[test]
fn an_impossible_reading_is_a_fault_with_its_cause() {
    let mut conditioner = gravity();
    assert_eq!(
        conditioner.observe(Ok(99.0), second(1.0), true).cause,
        Some(Cause::OutsideLimits)
    );
    assert_eq!(
        conditioner.observe(Ok(f64::NAN), second(2.0), true).cause,
        Some(Cause::NotFinite)
    );
    assert_eq!(conditioner.estimate(second(2.0)), Err(Cause::NotFinite));
}

proptest! {
    #[test]
    fn no_sequence_of_readings_gives_a_value_that_is_not_finite(
        readings in prop::collection::vec((0.001_f64..200.0, prop::num::f64::ANY), 1..200)
    ) {
        let mut conditioner = gravity();
        let mut at = Moment::ZERO;
        for (gap_s, value) in readings {
            at = at.plus_seconds(gap_s);
            conditioner.observe(Ok(value), at, true);
            if let Ok(estimate) = conditioner.estimate(at) {
                prop_assert!(estimate.value.is_finite() && estimate.standard_error.is_finite());
            }
        }
    }
}

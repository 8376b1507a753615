//! Wrong signs and units are found out, right ones are not suspected.

use super::*;

const VESSEL: Vessel<'static> = Vessel {
    bed_area_m2: 7.0,
    pressure_drop_limit_kpa: 2.5,
    capacity_l: 7000.0,
    strapping: &[],
    no_flow_l_min: 2.0,
};

fn instrument(measures: Measures, unit: Unit) -> Instrument {
    Instrument {
        id: "meter".to_owned(),
        measures,
        unit,
        span: None,
        temperature: None,
        low: Some(-1e6),
        high: Some(1e6),
        stale_after_s: 10.0,
        zero: 0.0,
        link: None,
    }
}

/// A minute of readings: value at the second.
fn watched(instrument: &Instrument, value: impl Fn(f64) -> f64) -> Watched<'_> {
    let readings = (0..60).map(f64::from);
    Watched {
        instrument,
        readings: readings
            .map(|at_s| (at_s, Ok(value(at_s)), Status::Good))
            .collect(),
        step: None,
    }
}

fn pair(level_unit: Unit, level: impl Fn(f64) -> f64, flow: f64) -> Found {
    let meter = instrument(Measures::RunoffFlow, Unit::LitrePerMinute);
    let gauge = instrument(Measures::KettleVolume, level_unit);
    let all = [watched(&meter, |_| flow), watched(&gauge, level)];
    together(&all, &VESSEL)[0].1.clone()
}

#[test]
fn a_level_that_rises_with_the_flow_passes_and_a_wrong_sign_or_unit_does_not() {
    assert_eq!(pair(Unit::Litre, |s| 1000.0 + s, 60.0).0, Verdict::Pass);
    let (verdict, words) = pair(Unit::Litre, |s| 1000.0 - s, 60.0);
    assert_eq!(verdict, Verdict::Fail);
    assert!(words.contains("wrong sign"), "{words}");
    // Litres that were called hectolitres.
    assert_eq!(
        pair(Unit::Hectolitre, |s| 1000.0 + s, 60.0).0,
        Verdict::Fail
    );
    assert_eq!(pair(Unit::Litre, |_| 1000.0, 60.0).0, Verdict::Fail);
}

#[test]
fn without_flow_or_with_too_much_scatter_nothing_is_said() {
    assert_eq!(pair(Unit::Litre, |s| 1000.0 + s, 0.0).0, Verdict::NotDone);
    let jumpy = |s: f64| 1000.0 + s + 900.0 * (s * std::f64::consts::PI).cos();
    assert_eq!(pair(Unit::Litre, jumpy, 60.0).0, Verdict::NotDone);
}

#[test]
fn a_level_by_a_strapping_table_is_judged_in_litres() {
    let strapping = [(0.0, 0.0), (1.0, 3000.0), (2.0, 6000.0)];
    let vessel = Vessel {
        strapping: &strapping,
        ..VESSEL
    };
    let meter = instrument(Measures::RunoffFlow, Unit::LitrePerMinute);
    let gauge = instrument(Measures::KettleVolume, Unit::CubicMetre);
    let all = [
        watched(&meter, |_| 60.0),
        watched(&gauge, |s| 0.5 + s / 3000.0),
    ];
    assert_eq!(together(&all, &vessel)[0].1.0, Verdict::Pass);
    assert!((strapped(&strapping, 1.5) - 4500.0).abs() < 1e-9);
    assert!((strapped(&strapping, 2.1) - 6300.0).abs() < 1e-9);
}

#[test]
fn each_wrong_unit_is_named_with_the_one_that_would_fit() {
    for (measures, unit, value, fits) in [
        (
            Measures::RunningsGravity,
            Unit::KilogramPerCubicMetre,
            1.048,
            "sg",
        ),
        (Measures::RunningsTemperature, Unit::Celsius, 167.0, "degF"),
        (Measures::RunningsTemperature, Unit::Celsius, 348.0, "K"),
        (Measures::BedPressureDrop, Unit::Kilopascal, 120.0, "mmH2O"),
    ] {
        let known = instrument(measures, unit);
        let (verdict, words) = by_itself(&watched(&known, |_| value), &VESSEL);
        assert_eq!(verdict, Verdict::Fail, "{words}");
        assert!(words.contains(fits), "{words}");
    }
}

#[test]
fn a_flow_backwards_or_in_another_unit_is_found_by_the_bed_it_runs_through() {
    let meter = instrument(Measures::RunoffFlow, Unit::LitrePerMinute);
    let found = |value: f64| by_itself(&watched(&meter, move |_| value), &VESSEL);
    assert_eq!(found(61.0).0, Verdict::Pass);
    assert!(found(-61.0).1.contains("negative"));
    // 3600 L/h called L/min.
    assert!(
        found(1900.0).1.contains("check the unit"),
        "{}",
        found(1900.0).1
    );
    assert_eq!(found(0.1).0, Verdict::NotDone);
}

#[test]
fn swapped_legs_and_a_missing_zero_are_told_apart() {
    let meter = instrument(Measures::RunoffFlow, Unit::LitrePerMinute);
    let gauge = instrument(Measures::BedPressureDrop, Unit::Millibar);
    let found = |flow: f64, mbar: f64| {
        let all = [watched(&meter, |_| flow), watched(&gauge, |_| mbar)];
        together(&all, &VESSEL)[0].1.clone()
    };
    assert_eq!(found(60.0, 12.0).0, Verdict::Pass);
    assert!(found(60.0, -12.0).1.contains("legs are swapped"));
    assert!(found(0.0, 12.0).1.contains("zero_kpa"));
    assert_eq!(found(0.0, 0.5).0, Verdict::Pass);
}

#[test]
fn status_limits_and_silence_fail_a_reading_with_their_names() {
    let mut known = instrument(Measures::RunningsPh, Unit::Ph);
    known.low = Some(2.0);
    known.high = Some(10.0);
    assert_eq!(reading(&watched(&known, |_| 5.4)).0, Verdict::Pass);
    assert!(
        reading(&watched(&known, |_| 11.0))
            .1
            .contains("outside its limits")
    );
    let mut ill = watched(&known, |_| 5.4);
    ill.readings[10].2 = Status::MaintenanceRequired;
    assert!(reading(&ill).1.contains("maintenance-required"));
    for reading in &mut ill.readings {
        reading.1 = Err(Cause::DeviceError);
    }
    assert_eq!(
        reading(&ill),
        (Verdict::Fail, "no reading: device error".to_owned())
    );
}

/// A counter of whole steps beside a flow, watched for so long.
fn counted(step_l: f64, flow: f64, seconds: u32, step: Option<f64>, start_l: f64) -> Found {
    let meter = instrument(Measures::RunoffFlow, Unit::LitrePerMinute);
    let counter = instrument(Measures::RunoffTotal, Unit::Litre);
    let lasting = |known, value: &dyn Fn(f64) -> f64| {
        let seconds = (0..seconds).map(f64::from);
        Watched {
            instrument: known,
            readings: seconds
                .map(|at_s| (at_s, Ok(value(at_s)), Status::Good))
                .collect(),
            step,
        }
    };
    let total = |at_s: f64| step_l * ((start_l + flow * at_s / 60.0) / step_l).floor();
    let all = [lasting(&meter, &|_| flow), lasting(&counter, &total)];
    together(&all, &VESSEL)[0].1.clone()
}

#[test]
fn a_good_counter_with_a_coarse_step_is_watched_longer_and_never_fails() {
    for start_l in [0.0, 40.0, 70.0, 99.0] {
        for step in [Some(100.0), None] {
            let (verdict, words) = counted(100.0, 60.0, 30, step, start_l);
            assert_eq!(verdict, Verdict::NotDone, "{start_l} {step:?} {words}");
            assert!(words.contains("--watch 600"), "{words}");
            let (verdict, words) = counted(100.0, 60.0, 600, step, start_l);
            assert_eq!(verdict, Verdict::Pass, "{start_l} {step:?} {words}");
        }
    }
    for start_l in [0.0, 0.2, 0.5, 0.9] {
        for seconds in [10, 30] {
            let (verdict, words) = counted(1.0, 2.1, seconds, Some(1.0), start_l);
            assert_eq!(verdict, Verdict::NotDone, "{start_l} {seconds} {words}");
        }
        let (verdict, words) = counted(1.0, 2.1, 200, Some(1.0), start_l);
        assert_eq!(verdict, Verdict::Pass, "{start_l} {words}");
    }
}

#[test]
fn a_frozen_counter_fails_once_it_should_have_moved_twice() {
    let frozen = |seconds, step| {
        let meter = instrument(Measures::RunoffFlow, Unit::LitrePerMinute);
        let counter = instrument(Measures::RunoffTotal, Unit::Litre);
        let readings = |value: f64| -> Vec<_> {
            let seconds = (0..seconds).map(f64::from);
            seconds
                .map(|at_s| (at_s, Ok(value), Status::Good))
                .collect()
        };
        let all = [
            Watched {
                instrument: &meter,
                readings: readings(60.0),
                step: None,
            },
            Watched {
                instrument: &counter,
                readings: readings(4000.0),
                step,
            },
        ];
        together(&all, &VESSEL)[0].1.clone()
    };
    let (verdict, words) = frozen(30, Some(1.0));
    assert_eq!(verdict, Verdict::Fail, "{words}");
    assert!(words.contains("0.0 ± 2.1 L/min"), "{words}");
    assert!(words.contains("is it frozen"), "{words}");
    let (verdict, words) = frozen(30, None);
    assert_eq!(verdict, Verdict::NotDone, "{words}");
    assert!(words.contains("0.0 ± 60.0 L/min"), "{words}");
    assert_eq!(frozen(110, None).0, Verdict::Fail);
    assert_eq!(frozen(110, Some(100.0)).0, Verdict::NotDone);
    assert_eq!(frozen(210, Some(100.0)).0, Verdict::Fail);
}

#[test]
fn a_counter_a_thousand_times_too_fast_fails_though_its_steps_are_coarse() {
    let meter = instrument(Measures::RunoffFlow, Unit::LitrePerMinute);
    let counter = instrument(Measures::RunoffTotal, Unit::CubicMetre);
    let all = [
        watched(&meter, |_| 60.0),
        watched(&counter, |s| (0.8 * s).floor()),
    ];
    assert_eq!(together(&all, &VESSEL)[0].1.0, Verdict::Fail);
}

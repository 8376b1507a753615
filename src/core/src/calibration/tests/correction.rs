//! Corrections: what some points give, and what no sound instrument can be.

use super::*;

fn buffer(buffer: Buffer, temperature_c: f64, reading: f64) -> MeasuredPoint {
    MeasuredPoint {
        applied: Applied::Buffer {
            buffer,
            temperature_c,
        },
        reading,
    }
}

fn electrode_subject() -> Subject {
    Subject {
        measures: Measures::RunningsPh,
        unit: Unit::Ph,
        low: 0.0,
        high: 14.0,
        wort_factor: 1.04,
    }
}

/// By hand: an electrode of 96 % with 12 mV at pH 7 shows 7 + 0.96 · (pH − 7) − 12/59.159 at 25 °C: 6.66756 in phosphate
/// (6.865) and 3.92196 in phthalate (4.005). At 75 °C (69.080 mV) it shows 5.29029 in wort of pH 5.40.
#[test]
fn two_buffers_give_an_electrodes_offset_and_slope_and_correct_it_at_any_temperature() {
    let points = [
        buffer(Buffer::Phosphate, 25.0, 6.667_558),
        buffer(Buffer::Phthalate, 25.0, 3.921_958),
    ];
    let rule = Rule::of_points(&electrode_subject(), &points, &Parameters::default()).unwrap();
    let Rule::Electrode {
        offset_mv,
        slope_percent,
    } = rule
    else {
        panic!("{rule:?}")
    };
    assert!((offset_mv - 12.0).abs() < 1e-3, "{offset_mv}");
    assert!((slope_percent - 96.0).abs() < 1e-3, "{slope_percent}");
    assert!((rule.apply(6.667_558, 25.0) - 6.865).abs() < 1e-5);
    assert!((rule.apply(3.921_958, 25.0) - 4.005).abs() < 1e-5);
    assert!((rule.apply(5.290_289, 75.0) - 5.40).abs() < 1e-4);
    assert!(!rule.is_worn(&Parameters::default()));
}

#[test]
fn one_buffer_moves_an_electrode_and_keeps_its_slope() {
    let points = [buffer(Buffer::Phosphate, 25.0, 6.765)];
    let rule = Rule::of_points(&electrode_subject(), &points, &Parameters::default()).unwrap();
    assert!((rule.apply(6.765, 25.0) - 6.865).abs() < 1e-9);
    assert!(
        matches!(rule, Rule::Electrode { slope_percent, .. } if (slope_percent - 100.0).abs() < 1e-9)
    );
}

#[test]
fn swapped_buffers_and_a_dead_electrode_are_refused_with_what_they_would_give() {
    let fault = |points: &[MeasuredPoint]| {
        Rule::of_points(&electrode_subject(), points, &Parameters::default()).unwrap_err()
    };
    let swapped = [
        buffer(Buffer::Phosphate, 25.0, 4.0),
        buffer(Buffer::Phthalate, 25.0, 6.87),
    ];
    assert!(
        matches!(fault(&swapped), CorrectionFault::Electrode { slope_percent, .. } if slope_percent < 0.0)
    );
    let dead = [
        buffer(Buffer::Phosphate, 25.0, 7.0),
        buffer(Buffer::Phthalate, 25.0, 7.0),
    ];
    assert!(fault(&dead).to_string().contains("slope of"));
    let close = [
        buffer(Buffer::Phosphate, 20.0, 6.9),
        MeasuredPoint {
            applied: Applied::Value { value: 6.0 },
            reading: 6.0,
        },
    ];
    assert!(matches!(fault(&close), CorrectionFault::TooClose { .. }));
    assert_eq!(fault(&[]), CorrectionFault::Points { given: 0 });
    let many = [buffer(Buffer::Phosphate, 20.0, 6.9); 21];
    assert_eq!(fault(&many), CorrectionFault::Points { given: 21 });
}

#[test]
fn every_approach_of_a_repeated_value_counts_for_the_correction() {
    let rule = |points: &[MeasuredPoint]| {
        Rule::of_points(&electrode_subject(), points, &Parameters::default()).unwrap()
    };
    let (phosphate, phthalate) = (Buffer::Phosphate, Buffer::Phthalate);
    let repeated = [
        buffer(phosphate, 25.0, 6.60),
        buffer(phthalate, 25.0, 3.90),
        buffer(phosphate, 25.0, 6.70),
        buffer(phthalate, 25.0, 3.94),
    ];
    let means = [buffer(phosphate, 25.0, 6.65), buffer(phthalate, 25.0, 3.92)];
    for shown in [3.92, 5.3, 6.65] {
        let (of_all, of_means) = (rule(&repeated), rule(&means));
        assert!((of_all.apply(shown, 25.0) - of_means.apply(shown, 25.0)).abs() < 1e-9);
    }
    // The same buffer at the temperatures of two approaches is one applied value: it moves all readings alike.
    let one = rule(&[buffer(phosphate, 20.0, 6.8), buffer(phosphate, 24.0, 6.8)]);
    assert!(
        matches!(one, Rule::Electrode { slope_percent, .. } if (slope_percent - 100.0).abs() < 1e-9)
    );
}

#[test]
fn three_solutions_give_the_line_that_lies_between_them() {
    let points = [
        solution(0.0, 999.203),
        solution(12.0, 1047.926),
        solution(6.0, 1023.0),
    ];
    let rule = Rule::of_points(&density_subject(), &points, &Parameters::default()).unwrap();
    let error = |point: &MeasuredPoint| {
        let applied = point
            .applied
            .value(Unit::KilogramPerCubicMetre, 1.04)
            .unwrap();
        rule.apply(point.reading, 20.0) - applied
    };
    let errors = points.each_ref().map(error);
    assert!(errors.iter().sum::<f64>().abs() < 1e-6, "{errors:?}");
    assert!(errors.iter().all(|each| each.abs() < 0.5), "{errors:?}");
}

fn density_subject() -> Subject {
    Subject {
        measures: Measures::RunningsGravity,
        unit: Unit::KilogramPerCubicMetre,
        low: 900.0,
        high: 1150.0,
        wort_factor: 1.04,
    }
}

fn solution(gravity_p: f64, reading: f64) -> MeasuredPoint {
    MeasuredPoint {
        applied: Applied::Gravity {
            gravity_p,
            temperature_c: Some(20.0),
        },
        reading,
    }
}

/// The sugar form at 20 °C: 998.203 kg/m³ at 0 °P, 1046.444 at 12 °P.
#[test]
fn water_and_a_solution_give_the_line_of_a_density_meter() {
    let points = [solution(0.0, 999.203), solution(12.0, 1047.926)];
    let rule = Rule::of_points(&density_subject(), &points, &Parameters::default()).unwrap();
    let Rule::Line { slope, .. } = rule else {
        panic!("{rule:?}")
    };
    assert!((slope - 48.241 / 48.723).abs() < 1e-4, "{slope}");
    assert!((rule.apply(999.203, 60.0) - 998.203).abs() < 1e-3);
    assert!((rule.apply(1047.926, 60.0) - 1046.444).abs() < 1e-3);
    let one = Rule::of_points(&density_subject(), &points[..1], &Parameters::default()).unwrap();
    assert!((one.apply(1047.926, 60.0) - 1046.926).abs() < 1e-3);
    let far = [solution(0.0, 1040.0)];
    let fault = Rule::of_points(&density_subject(), &far, &Parameters::default()).unwrap_err();
    assert!(matches!(fault, CorrectionFault::TooFar { .. }), "{fault}");
}

#[test]
fn a_flow_meter_is_adjusted_where_it_stands() {
    let subject = Subject {
        measures: Measures::RunoffFlow,
        unit: Unit::LitrePerMinute,
        low: 0.0,
        high: 200.0,
        wort_factor: 1.04,
    };
    let point = MeasuredPoint {
        applied: Applied::Value { value: 50.0 },
        reading: 51.0,
    };
    let fault = Rule::of_points(&subject, &[point], &Parameters::default()).unwrap_err();
    assert_eq!(fault, CorrectionFault::NotForThis);
}

proptest! {
    /// Whatever electrode two buffers were read with, its readings come out right at any temperature.
    #[test]
    fn a_two_point_correction_undoes_the_electrode(
        offset_mv in -50.0..50.0f64, slope_percent in 80.0..105.0f64,
        buffers_c in 15.0..35.0f64, line_c in 20.0..95.0f64, ph in 4.0..8.0f64,
    ) {
        let shown = |ph: f64, celsius: f64| {
            let nernst = crate::units::nernst_slope_mv_per_ph(celsius);
            7.0 + 0.01 * slope_percent * (ph - 7.0) - offset_mv / nernst
        };
        let points = [Buffer::Phosphate, Buffer::Phthalate].map(|each| {
            buffer(each, buffers_c, shown(each.ph(buffers_c).unwrap(), buffers_c))
        });
        let rule = Rule::of_points(&electrode_subject(), &points, &Parameters::default()).unwrap();
        prop_assert!((rule.apply(shown(ph, line_c), line_c) - ph).abs() < 1e-9);
        let (low, high) = rule.range(0.0, 14.0);
        prop_assert!((low..=high).contains(&ph));
    }
}

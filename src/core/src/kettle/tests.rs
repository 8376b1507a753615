use super::*;

fn kettle() -> Kettle {
    Kettle::new(Parameters::default(), 7000.0, 0.0, 75.0)
}

fn portion(volume_l: f64, gravity_p: f64) -> Portion {
    Portion {
        volume_l,
        gravity_p,
        gravity_se_p: 0.01,
        temperature_c: 75.0,
        measured: true,
    }
}

/// Mass balance worked by hand: 5 m³ of 16 °P with 1 m³ of 3 °P, both cooled to 20 °C, give 13.925 °P.
#[test]
fn two_portions_mix_by_mass() {
    let mut kettle = kettle();
    kettle.fill(Portion {
        temperature_c: 20.0,
        ..portion(5000.0, 16.0)
    });
    kettle.fill(Portion {
        temperature_c: 20.0,
        ..portion(1000.0, 3.0)
    });
    let contents = kettle.contents();
    assert!(
        (contents.gravity_p.unwrap() - 13.925).abs() < 5e-4,
        "{contents:?}"
    );
}

#[test]
fn an_empty_kettle_has_no_gravity() {
    assert_eq!(kettle().contents().gravity_p, None);
}

#[test]
fn a_heel_of_liquor_dilutes() {
    let mut kettle = Kettle::new(Parameters::default(), 7000.0, 500.0, 75.0);
    kettle.fill(portion(500.0, 18.0));
    let gravity_p = kettle.contents().gravity_p.unwrap();
    assert!((9.0..9.5).contains(&gravity_p), "{gravity_p}");
    assert!((kettle.contents().volume_l - 1000.0).abs() < 1e-9);
}

#[test]
fn the_level_moves_the_volume_by_its_weight_and_narrows_it() {
    let mut kettle = kettle();
    for _ in 0..40 {
        kettle.fill(portion(100.0, 15.0));
        let level_l = kettle.metered_l() * 1.01;
        kettle.observe_level(level_l, 10.0);
    }
    let contents = kettle.contents();
    assert!(
        (4005.0..4035.0).contains(&contents.volume_l),
        "{contents:?}"
    );
    assert!(contents.volume_se_l < 0.006 * 4000.0);
}

#[test]
fn kettle_samples_pull_the_gravity_and_narrow_it() {
    let mut kettle = kettle();
    kettle.fill(portion(3000.0, 15.0));
    let before = kettle.contents();
    kettle.take_kettle_gravity(0, 14.9, Moment::ZERO);
    let after = kettle.contents();
    assert!(after.gravity_p < before.gravity_p);
    assert!(after.gravity_se_p < before.gravity_se_p);
}

#[test]
fn a_forecast_in_a_meters_place_widens_the_gravity() {
    let (mut measured, mut forecast) = (kettle(), kettle());
    for _ in 0..50 {
        let portion = Portion {
            gravity_se_p: 0.5,
            ..portion(50.0, 15.0)
        };
        measured.fill(portion);
        forecast.fill(Portion {
            measured: false,
            ..portion
        });
    }
    assert!(forecast.contents().gravity_se_p > 3.0 * measured.contents().gravity_se_p);
}

#[test]
fn one_wild_level_reading_hardly_counts() {
    let mut kettle = kettle();
    kettle.fill(portion(3000.0, 15.0));
    for _ in 0..20 {
        kettle.observe_level(3000.0, 10.0);
    }
    kettle.observe_level(4500.0, 10.0);
    assert!(
        (kettle.contents().volume_l - 3000.0).abs() < 30.0,
        "{:?}",
        kettle.contents()
    );
}

fn at(minute: f64) -> Moment {
    Moment::from_seconds(60.0 * minute)
}

#[test]
fn two_kettle_samples_that_agree_open_a_wrong_balance() {
    let mut kettle = kettle();
    kettle.fill(portion(3000.0, 15.0));
    kettle.take_kettle_gravity(0, 14.2, at(0.0));
    assert!(kettle.contents().gravity_p.unwrap() > 14.7);
    kettle.take_kettle_gravity(1, 14.2, at(10.0));
    let gravity_p = kettle.contents().gravity_p.unwrap();
    assert!((gravity_p - 14.2).abs() < 0.2, "{gravity_p}");
}

#[test]
fn a_wild_sample_is_not_believed_by_being_repeated_within_minutes() {
    for slip_p in [14.2, 12.4, 1.076] {
        let mut kettle = kettle();
        kettle.fill(portion(3000.0, 15.0));
        for (number, minute) in [0.0, 0.02, 1.0, 3.0, 4.9].into_iter().enumerate() {
            kettle.take_kettle_gravity(number, slip_p, at(minute));
        }
        let gravity_p = kettle.contents().gravity_p.unwrap();
        assert!(gravity_p > 14.7, "{slip_p}: {gravity_p}");
    }
}

#[test]
fn a_sample_far_from_the_balance_needs_two_others() {
    let mut kettle = kettle();
    kettle.fill(portion(3000.0, 18.6));
    kettle.take_kettle_gravity(0, 12.4, at(0.0));
    kettle.take_kettle_gravity(1, 12.4, at(10.0));
    assert!(kettle.contents().gravity_p.unwrap() > 18.0);
    kettle.take_kettle_gravity(2, 12.4, at(20.0));
    assert!(kettle.contents().gravity_p.unwrap() < 13.0);
}

#[test]
fn a_withdrawn_sample_leaves_the_balance_as_it_would_be_without() {
    let (mut with, mut without) = (kettle(), kettle());
    for kettle in [&mut with, &mut without] {
        kettle.fill(portion(1500.0, 15.0));
    }
    with.take_kettle_gravity(0, 14.4, at(0.0));
    with.take_kettle_volume(1, 1400.0, at(1.0));
    with.take_runnings_gravity(2, 15.0, 14.5, at(2.0));
    for kettle in [&mut with, &mut without] {
        kettle.fill(portion(1500.0, 13.0));
        kettle.observe_level(3010.0, 10.0);
    }
    assert_ne!(with.contents(), without.contents());
    for number in [1, 0, 2, 2, 7] {
        with.withdraw(number);
    }
    assert_eq!(with.contents(), without.contents());
}

/// The samples that stay are given again with what they met: the more exactly the meters read, the more exactly.
#[test]
fn the_samples_beside_a_withdrawn_one_count_as_before() {
    let (mut with, mut without) = (kettle(), kettle());
    let mut give = |number, sample_p, minute, also_with: bool| {
        if also_with {
            with.take_kettle_gravity(number, sample_p, at(minute));
        }
        for kettle in [&mut with, &mut without] {
            for _ in 0..10 {
                kettle.fill(portion(100.0, 15.0 - 0.2 * minute / 10.0));
            }
        }
    };
    give(0, 0.0, 0.0, false);
    give(0, 13.0, 10.0, true);
    without.take_kettle_gravity(1, 14.7, at(20.0));
    with.take_kettle_gravity(1, 14.7, at(20.0));
    for kettle in [&mut with, &mut without] {
        for _ in 0..10 {
            kettle.fill(portion(100.0, 14.0));
        }
    }
    with.withdraw(0);
    let (with, without) = (with.contents(), without.contents());
    let apart_p = with.gravity_p.unwrap() - without.gravity_p.unwrap();
    assert!(apart_p.abs() < 0.005, "{with:?} {without:?}");
    let wider = with.gravity_se_p / without.gravity_se_p;
    assert!((0.95..1.05).contains(&wider), "{wider}");
}

/// 2000 L at 18 °P, then 400 L at 10 °P that nobody has metered, give or take 150 L.
fn with_unseen_litres() -> (Kettle, Contents) {
    let mut kettle = kettle();
    kettle.fill(portion(2000.0, 18.0));
    kettle.fill(portion(400.0, 10.0));
    let seen = kettle.contents();
    kettle.widen_volume(150.0, Some(10.0));
    (kettle, seen)
}

#[test]
fn litres_that_no_meter_saw_put_the_gravity_in_doubt_with_the_volume() {
    let (kettle, seen) = with_unseen_litres();
    let contents = kettle.contents();
    // 16.7 °P in the kettle; 150 L more or less at 10 °P are 0.42 °P less or more.
    assert!((contents.unseen_p + 0.42).abs() < 0.03, "{contents:?}");
    assert!(
        contents.gravity_se_p > 0.4 && seen.gravity_se_p < 0.1,
        "{contents:?}"
    );
    assert!((contents.metered_se_p() - seen.gravity_se_p).abs() < 1e-9);
    assert!((contents.unseen_se_l - 150.0).abs() < 1e-9);
}

#[test]
fn a_volume_that_somebody_reads_tells_the_gravity_of_what_ran_off_unseen() {
    let (mut kettle, seen) = with_unseen_litres();
    kettle.take_kettle_volume(0, 2550.0, at(90.0));
    let contents = kettle.contents();
    let by_hand_p =
        (2000.0 * 18.0 * 1.046 + 550.0 * 10.0 * 1.013) / (2000.0 * 1.046 + 550.0 * 1.013);
    assert!(
        (contents.gravity_p.unwrap() - by_hand_p).abs() < 0.06,
        "{contents:?}, {by_hand_p}"
    );
    assert!(contents.gravity_p < seen.gravity_p);
    assert!(contents.gravity_se_p < 0.15, "{contents:?}");
}

#[test]
fn a_counter_that_returns_takes_the_doubt_of_the_gravity_back() {
    let (mut kettle, seen) = with_unseen_litres();
    kettle.widen_volume(-150.0, Some(10.0));
    let contents = kettle.contents();
    assert!(
        (contents.gravity_se_p - seen.gravity_se_p).abs() < 1e-9,
        "{contents:?}"
    );
    assert!(contents.unseen_p.abs() < 1e-12 && contents.unseen_se_l.abs() < 1e-9);
}

#[test]
fn a_kettle_sample_narrows_what_the_unseen_litres_have_widened_and_never_to_nothing() {
    let (mut kettle, seen) = with_unseen_litres();
    kettle.take_kettle_gravity(0, 16.5, at(90.0));
    let once = kettle.contents();
    assert!(
        once.gravity_se_p < 0.2 && once.gravity_p < seen.gravity_p,
        "{once:?}"
    );
    assert!(once.unseen_p.abs() <= once.gravity_se_p, "{once:?}");
    kettle.widen_volume(-150.0, Some(10.0));
    let contents = kettle.contents();
    assert!(
        contents.gravity_se_p > 0.02 && contents.gravity_se_p.is_finite(),
        "{contents:?}"
    );
}

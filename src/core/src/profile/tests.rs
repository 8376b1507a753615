use super::*;
use crate::projection::PhBasis;
use crate::washout::Curve;

/// A made-up brew on a made-up tun: what it holds back and how it declines are the tun's.
fn lesson(brew: &str, grist_kg: f64) -> BrewLesson {
    let breakthrough_l_per_kg = 2.6;
    BrewLesson {
        brew: brew.to_owned(),
        recipe: "Harbour Stout".to_owned(),
        grist_kg,
        target_gravity_p: 12.4,
        planned_l_per_kg: 5.2,
        planned_first_wort_p: Some(18.0),
        washout: WashoutLesson {
            first_wort_gravity_p: 18.2,
            breakthrough_l_per_kg,
            sharpness: 18.0,
            decline: 2.3,
            bend: 0.2,
        },
        stop: Some(StopLesson {
            volume_l_per_kg: 5.1,
            extract_kg_per_kg: 0.65,
        }),
        bed: BedLesson {
            resistance_per_m: Some(4.0e9),
            safe_flow_l_min_m2: Some(9.0),
            trouble_from_share: None,
            rakes: vec![RakeLesson {
                before_per_m: 5.0e9,
                after_per_m: 4.0e9,
                gravity_gain_p: Some(0.3),
                extract_gain_kg: Some(2.0),
            }],
        },
        ph: Some(PhLesson {
            basis: PhBasis::Room,
            first_wort_ph: 5.4,
            rise_ph: 0.25,
        }),
        quality: Quality {
            target_reached: true,
            flowing_s: 5400.0,
            ..Quality::default()
        },
    }
}

/// The same tun with what chance leaves to each brew.
fn strayed(brew: usize) -> BrewLesson {
    let mut lesson = lesson(&format!("2026-{brew:04}"), 980.0);
    let stray = [0.0, 0.01, -0.01, 0.015, -0.005, 0.008][brew % 6];
    lesson.washout.breakthrough_l_per_kg *= 1.0 + stray;
    lesson.washout.decline *= 1.0 - 2.0 * stray;
    lesson
}

/// A brew through which liquor found another way.
fn odd(brew: &str) -> BrewLesson {
    let mut lesson = lesson(brew, 980.0);
    lesson.washout.breakthrough_l_per_kg = 1.5;
    lesson.washout.decline = 0.6;
    lesson
}

fn taught(brews: usize) -> TunProfile {
    (0..brews).fold(TunProfile::default(), |profile, brew| {
        profile.update(&strayed(brew)).0
    })
}

fn plan(grist_kg: f64) -> Plan {
    Plan {
        brew: "next".to_owned(),
        recipe: "Harbour Stout".to_owned(),
        grist_kg,
        target_gravity_p: 12.4,
        planned_volume_l: 5.2 * grist_kg,
        runoff_minutes: 90.0,
        first_wort_gravity_p: Some(18.0),
        gravity_floor_p: 3.0,
        ph_ceiling: 6.0,
        ph_basis: PhBasis::Room,
    }
}

fn teaching(profile: &TunProfile, plan: &Plan) -> Teaching {
    let expectation = Expectation {
        grist_kg: plan.grist_kg,
        first_wort_gravity_p: plan.first_wort_gravity_p,
        target_gravity_p: plan.target_gravity_p,
        planned_volume_l: plan.planned_volume_l,
        heel_l: 0.0,
    };
    profile
        .teaching(plan, expectation, &washout::Parameters::default())
        .expect("something has been learnt")
}

fn expected(profile: &TunProfile, grist_kg: f64) -> Curve {
    Curve::from_vector(&teaching(profile, &plan(grist_kg)).prior.mean)
}

#[test]
fn nothing_learnt_teaches_nothing() {
    let plan = plan(980.0);
    let expectation = Expectation {
        grist_kg: plan.grist_kg,
        first_wort_gravity_p: None,
        target_gravity_p: 12.4,
        planned_volume_l: 5000.0,
        heel_l: 0.0,
    };
    let none = TunProfile::default().teaching(&plan, expectation, &washout::Parameters::default());
    assert_eq!(none, None);
}

#[test]
fn the_next_brew_expects_what_the_tun_has_done() {
    let curve = expected(&taught(6), 980.0);
    let breakthrough_l_per_kg = curve.breakthrough_l / 980.0;
    assert!(
        (2.45..2.8).contains(&breakthrough_l_per_kg),
        "{breakthrough_l_per_kg} L/kg"
    );
    assert!((2.1..2.6).contains(&curve.decline), "{}", curve.decline);
}

#[test]
fn twice_the_grist_doubles_the_breakthrough_and_nothing_else() {
    let profile = taught(4);
    let (one, two) = (expected(&profile, 980.0), expected(&profile, 1960.0));
    assert!((two.breakthrough_l / one.breakthrough_l - 2.0).abs() < 1e-9);
    assert!((two.sharpness / one.sharpness - 1.0).abs() < 1e-9);
    assert!((two.decline / one.decline - 1.0).abs() < 1e-9);
}

#[test]
fn stronger_first_wort_is_expected_to_break_through_earlier() {
    let profile = taught(4);
    let mut strong = plan(980.0);
    strong.first_wort_gravity_p = Some(21.0);
    let curve = Curve::from_vector(&teaching(&profile, &strong).prior.mean);
    assert!(curve.breakthrough_l < 0.85 * expected(&profile, 980.0).breakthrough_l);
}

#[test]
fn more_brews_make_the_expectation_surer() {
    let doubt = |brews| {
        teaching(&taught(brews), &plan(980.0))
            .prior
            .standard_deviation
    };
    let (one, five) = (doubt(1), doubt(5));
    for parameter in 1..washout::SHAPES {
        assert!(five[parameter] < one[parameter], "parameter {parameter}");
    }
}

#[test]
fn a_channelled_brew_teaches_nothing() {
    let mut channelled = odd("channelled");
    channelled.quality.channelled = true;
    let before = taught(1);
    let (after, acceptance) = before.update(&channelled);
    assert_eq!(acceptance.reason, Reason::Channelled);
    assert!(!acceptance.accepted);
    assert_eq!(after.lessons, before.lessons);
    assert_eq!(after.set_aside, before.set_aside);
}

/// What is done to a good lesson, and why it is then refused.
type Spoilt = (fn(&mut BrewLesson), Reason);

#[test]
fn whatever_spoils_a_brew_is_named() {
    let spoil: [Spoilt; 5] = [
        (|l| l.stop = None, Reason::TargetNotReached),
        (|l| l.quality.disagreed = true, Reason::InstrumentsDisagreed),
        (
            |l| l.quality.gravity_missing_share = 0.2,
            Reason::GravityMissing,
        ),
        (|l| l.quality.flow_missing_share = 0.2, Reason::FlowMissing),
        (|l| l.quality.flowing_s = 60.0, Reason::TooShort),
    ];
    for (change, reason) in spoil {
        let mut spoiled = lesson("spoiled", 980.0);
        change(&mut spoiled);
        let (profile, acceptance) = TunProfile::default().update(&spoiled);
        assert_eq!(acceptance.reason, reason);
        assert!(profile.lessons.is_empty());
    }
}

#[test]
fn one_odd_brew_does_not_move_the_prior() {
    let before = taught(4);
    let (after, acceptance) = before.update(&odd("odd"));
    assert_eq!(acceptance.reason, Reason::UnlikeOthers);
    assert_eq!(
        teaching(&after, &plan(980.0)),
        teaching(&before, &plan(980.0))
    );
}

#[test]
fn an_odd_brew_among_the_first_hardly_moves_the_prior() {
    let mut profile = TunProfile::default().update(&odd("odd")).0;
    for brew in 0..5 {
        profile = profile.update(&strayed(brew)).0;
    }
    let moved =
        expected(&profile, 980.0).breakthrough_l / expected(&taught(5), 980.0).breakthrough_l;
    assert!((moved - 1.0).abs() < 0.03, "moved to {moved}");
}

#[test]
fn three_odd_brews_that_agree_mean_that_the_tun_has_changed() {
    let mut profile = taught(6);
    let mut reasons = Vec::new();
    for brew in ["a", "b", "c"] {
        let (next, acceptance) = profile.update(&odd(brew));
        profile = next;
        reasons.push(acceptance.reason);
    }
    assert_eq!(
        reasons,
        [
            Reason::UnlikeOthers,
            Reason::UnlikeOthers,
            Reason::TunChanged
        ]
    );
    let known: Vec<&str> = profile.lessons.iter().map(|l| l.brew.as_str()).collect();
    assert_eq!(known, ["a", "b", "c"]);
    assert!(profile.set_aside.is_empty());
}

#[test]
fn the_same_brew_twice_counts_once() {
    let once = taught(3);
    let (twice, acceptance) = once.update(&strayed(2));
    assert!(acceptance.accepted);
    assert_eq!(twice, once);
    assert_eq!(once.without("2026-0002").lessons.len(), 2);
}

#[test]
fn only_the_last_two_dozen_brews_are_kept() {
    let profile = taught(LESSONS_KEPT + 3);
    assert_eq!(profile.lessons.len(), LESSONS_KEPT);
    assert_eq!(profile.lessons[0].brew, "2026-0003");
}

#[test]
fn text_gives_back_the_same_profile() {
    let (profile, _) = taught(5).update(&odd("odd"));
    let text = serde_json::to_string(&profile).unwrap();
    let back: TunProfile = serde_json::from_str(&text).unwrap();
    assert_eq!(back, profile);
    assert_eq!(serde_json::to_string(&back).unwrap(), text);
}

#[test]
fn the_figures_for_people_are_those_of_accepted_brews() {
    let (profile, _) = taught(4).update(&odd("odd"));
    let figures = profile.figures();
    assert_eq!((figures.accepted, figures.refused), (4, 1));
    let yielded = figures.extract_kg_per_kg.unwrap();
    assert!((yielded.median - 0.65).abs() < 1e-12 && yielded.brews == 4);
    assert!((figures.rake_effect.unwrap().median - 0.8).abs() < 1e-12);
    assert!((figures.rake_gain_p.unwrap().median - 0.3).abs() < 1e-12);
    assert_eq!(figures.trouble_from_share, None);
}

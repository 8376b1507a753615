//! Hand samples beside a recording.

use super::recorded::{Recorded, assert_within, number};

#[test]
fn good_samples_leave_the_stop_point_where_it_is() {
    let recorded = Recorded::of("harbour-stout");
    let lines = recorded.replay().with("--samples", "samples.csv").lines();
    assert_within(
        "stop-point",
        lines.stop_volume_l(),
        recorded.target().volume_l,
        0.015,
    );
}

#[test]
fn a_kettle_sample_draws_the_kettle_s_gravity_towards_it() {
    let recorded = Recorded::of("harbour-stout");
    let gravity_at = |lines: &super::recorded::Lines, at_s: f64| {
        let projections = lines.of_kind("projection");
        let line = projections
            .into_iter()
            .find(|line| number(line, "/elapsed_s") >= at_s)
            .expect("a projection")
            .clone();
        number(&line, "/kettle_gravity_p")
    };
    let without = gravity_at(&recorded.replay().lines(), 3100.0);
    for (by_p, name) in [(0.4, "higher.csv"), (-0.4, "lower.csv")] {
        let sampled_p = without + by_p;
        recorded.write(
            name,
            &format!("elapsed_s,place,gravity_p,ph,volume_l\n3000,kettle,{sampled_p:.2},,\n"),
        );
        let with = gravity_at(&recorded.replay().with("--samples", name).lines(), 3100.0);
        let moved = (with - without) / by_p;
        assert!(
            (0.01..=1.0).contains(&moved),
            "{without} °P and a sample of {sampled_p} °P gave {with} °P"
        );
    }
}

#[test]
fn before_a_sample_nothing_differs_and_after_it_something_does() {
    let recorded = Recorded::of("harbour-stout");
    recorded.write(
        "one.csv",
        "elapsed_s,place,gravity_p,ph,volume_l\n3000.5,runnings,12.0,5.6,\n",
    );
    let without = recorded.replay().lines().0;
    let with = recorded.replay().with("--samples", "one.csv").lines().0;
    let first = without
        .iter()
        .zip(&with)
        .find(|(without, with)| without != with);
    let (_, line) = first.expect("a sample tells something");
    assert!(number(line, "/elapsed_s") > 3000.0, "{line}");
}

#[test]
fn columns_that_say_nothing_may_be_left_out() {
    let recorded = Recorded::of("harbour-stout");
    recorded.write(
        "all.csv",
        "elapsed_s,place,gravity_p,ph,volume_l\n3000,kettle,18.1,,\n",
    );
    recorded.write("some.csv", "place,gravity_p,elapsed_s\nkettle,18.1,3000\n");
    let replay = |name| recorded.replay().with("--samples", name).text();
    assert_eq!(replay("all.csv"), replay("some.csv"));
}

#[test]
fn a_slip_given_again_and_again_is_no_stop_and_a_withdrawn_one_is_none_at_all() {
    let recorded = Recorded::of("harbour-stout");
    let header = "elapsed_s,place,gravity_p,ph,volume_l";
    recorded.write(
        "twice.csv",
        &format!("{header}\n3600,kettle,12.4,,\n3660,kettle,12.4,,\n"),
    );
    let twice = recorded.replay().with("--samples", "twice.csv").lines();
    assert_within(
        "stop-point",
        twice.stop_volume_l(),
        recorded.target().volume_l,
        0.015,
    );
    recorded.write(
        "withdrawn.csv",
        &format!("{header},withdrawn_s\n3000,kettle,17.0,,,3100.5\n"),
    );
    let without = recorded.replay().lines();
    let with = recorded.replay().with("--samples", "withdrawn.csv").lines();
    let differ: Vec<f64> = without
        .of_kind("projection")
        .iter()
        .zip(with.of_kind("projection"))
        .filter(|(without, with)| **without != *with)
        .map(|(line, _)| number(line, "/elapsed_s"))
        .collect();
    assert!(!differ.is_empty(), "until then it counted");
    assert!(
        differ.iter().all(|at_s| (3000.0..3140.0).contains(at_s)),
        "{differ:?}"
    );
    assert_eq!(
        without.stop_volume_l().to_bits(),
        with.stop_volume_l().to_bits()
    );
}

//! The same scenario and seed give the same run, however time is asked for.

use simulators::{Brewhouse, Scenario, record};

#[test]
fn a_seed_repeats_its_run_and_another_seed_differs() {
    let scenario = Scenario::draw(4);
    let readings = |seed| {
        let mut brewhouse = Brewhouse::new(&scenario, seed);
        brewhouse.advance(2000.0);
        brewhouse.readings().to_vec()
    };
    assert_eq!(readings(1), readings(1));
    assert_ne!(readings(1), readings(2));
}

#[test]
fn it_makes_no_difference_in_what_portions_time_passes() {
    let scenario = Scenario::draw(6);
    let mut whole = Brewhouse::new(&scenario, 6);
    whole.advance(3000.0);
    let mut portions = Brewhouse::new(&scenario, 6);
    for _ in 0..30_000 {
        portions.advance(0.1);
    }
    assert!((portions.elapsed_s() - 3000.0).abs() <= scenario.run.step_s);
    portions.advance(3000.0 - portions.elapsed_s());
    assert_eq!(
        whole.truth().elapsed_s.to_bits(),
        portions.truth().elapsed_s.to_bits()
    );
    assert_eq!(whole.truth(), portions.truth());
    assert_eq!(whole.readings(), portions.readings());
}

#[test]
fn an_instrument_more_changes_no_other_reading_and_no_truth() {
    let scenario = Scenario::draw(8);
    let mut richer = scenario.clone();
    let mut extra = scenario.instruments[0].clone();
    extra.id = "second_gravity".to_owned();
    richer.instruments.push(extra);
    let mut a = Brewhouse::new(&scenario, 8);
    let mut b = Brewhouse::new(&richer, 8);
    a.advance(1500.0);
    b.advance(1500.0);
    assert_eq!(a.truth(), b.truth());
    assert_eq!(a.readings(), &b.readings()[..scenario.instruments.len()]);
}

#[test]
fn recording_twice_writes_the_same_bytes() {
    let scenario = Scenario::draw(12);
    let directory = tempfile::tempdir().expect("a temporary directory");
    let (first, second) = (directory.path().join("a"), directory.path().join("b"));
    record::record(&scenario, 12, &first).expect("recorded");
    record::record(&scenario, 12, &second).expect("recorded");
    for name in [
        "RUN.csv",
        "samples.csv",
        "truth.csv",
        "truth.json",
        "config.toml",
        "plan.toml",
    ] {
        let read = |base: &std::path::Path| std::fs::read(base.join(name)).expect(name);
        assert!(!read(&first).is_empty(), "{name} is empty");
        assert_eq!(read(&first), read(&second), "{name}");
    }
}

#[test]
fn a_recording_has_the_columns_of_a_replay() {
    let scenario = Scenario::draw(15);
    let directory = tempfile::tempdir().expect("a temporary directory");
    let outcome = record::record(&scenario, 15, directory.path()).expect("recorded");
    let mut reader = csv::Reader::from_path(directory.path().join("RUN.csv")).expect("RUN.csv");
    let headers = reader.headers().expect("a header").clone();
    assert_eq!(&headers[0], "elapsed_s");
    assert!(
        headers
            .iter()
            .skip(1)
            .eq(scenario.instruments.iter().map(|i| i.id.as_str()))
    );
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
    let last: f64 = rows[rows.len() - 1][0].parse().expect("a number");
    let target = outcome
        .crossings
        .target
        .expect("drawn brews reach their target");
    assert!(
        last >= target.elapsed_s + 600.0,
        "ends {last}, target {}",
        target.elapsed_s
    );
    let filled = rows.iter().filter(|row| !row[1].is_empty()).count();
    assert!(
        filled > rows.len() / 6,
        "gravity is read in {filled} of {} rows",
        rows.len()
    );
    let mut samples =
        csv::Reader::from_path(directory.path().join("samples.csv")).expect("samples.csv");
    let columns: Vec<&str> = samples.headers().expect("a header").iter().collect();
    assert_eq!(
        columns,
        ["elapsed_s", "place", "gravity_p", "ph", "volume_l"]
    );
}

//! Scenario files: ours are fine, wrong ones are refused with key and line, drawn ones are plausible.

use std::path::{Path, PathBuf};

use simulators::scenario::{Disturbance, Event};
use simulators::{Scenario, lauterd_files, record};

fn crate_directory() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn scenario_files() -> Vec<PathBuf> {
    let directory = crate_directory().join("scenarios");
    let mut files: Vec<PathBuf> = std::fs::read_dir(directory)
        .expect("the scenarios")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    files.sort();
    files
}

fn read(path: &Path) -> Scenario {
    let text = std::fs::read_to_string(path).expect("readable");
    Scenario::from_toml(&text).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

#[test]
fn every_scenario_of_ours_parses_bears_its_file_s_name_and_reaches_its_target() {
    let files = scenario_files();
    assert!(files.len() >= 4);
    for path in files {
        let scenario = read(&path);
        assert_eq!(
            Some(scenario.name.as_str()),
            path.file_stem().and_then(|s| s.to_str())
        );
        let brewhouse = record::run(&scenario, scenario.seed, |_| {});
        let target = brewhouse.crossings().target.expect("the target");
        assert!(
            brewhouse.elapsed_s() >= target.elapsed_s + 600.0,
            "{}",
            scenario.name
        );
    }
}

#[test]
fn the_committed_configurations_and_plans_are_those_of_the_scenarios() {
    let config = crate_directory().join("../config");
    for path in scenario_files() {
        let scenario = read(&path);
        let committed = |ending: &str| {
            let file = config.join(format!("simulated-{}{ending}", scenario.name));
            std::fs::read_to_string(&file).unwrap_or_else(|e| panic!("{}: {e}", file.display()))
        };
        assert_eq!(committed(".toml"), lauterd_files::configuration(&scenario));
        assert_eq!(committed(".plan.toml"), lauterd_files::plan(&scenario));
    }
}

#[test]
fn the_demonstration_stops_by_gravity_well_before_the_floor() {
    let scenario = read(&crate_directory().join("scenarios/orchard-ale-channel.toml"));
    let brewhouse = record::run(&scenario, scenario.seed, |_| {});
    let crossings = brewhouse.crossings();
    let target = crossings.target.expect("the target");
    assert!(
        (3600.0..5400.0).contains(&target.elapsed_s),
        "{}",
        target.elapsed_s
    );
    for limit in [crossings.gravity_floor, crossings.ph_ceiling]
        .into_iter()
        .flatten()
    {
        assert!(limit.elapsed_s > target.elapsed_s + 300.0);
    }
}

#[test]
fn a_scenario_survives_being_written_and_read_again() {
    for seed in 0..20 {
        let scenario = Scenario::draw(seed);
        let again = Scenario::from_toml(&scenario.to_toml())
            .unwrap_or_else(|error| panic!("seed {seed}: {error}"));
        assert_eq!(scenario, again, "seed {seed}");
    }
}

const SMALLEST: &str = r#"
name = "smallest"
[plan]
brew = "1"
grist_kg = 500
target_gravity_p = 12.5
planned_volume_l = 2800
first_wort_gravity_p = 17
[tun]
bed_area_m2 = 3.3
[kettle]
capacity_l = 4000
"#;

#[test]
fn plan_tun_and_kettle_are_all_a_scenario_needs() {
    let scenario = Scenario::from_toml(SMALLEST).expect("complete");
    let brewhouse = record::run(&scenario, 1, |_| {});
    assert!(brewhouse.crossings().target.is_some());
}

#[test]
fn an_unknown_key_is_named_with_its_line() {
    let text = SMALLEST.replace("bed_area_m2 = 3.3", "bed_area_m2 = 3.3\nbed_colour = 1");
    let message = Scenario::from_toml(&text).expect_err("refused").to_string();
    assert!(message.contains("line 11"), "{message}");
    assert!(message.contains("bed_colour"), "{message}");
}

#[test]
fn impossible_values_are_all_named_at_once_each_with_its_line() {
    let text = SMALLEST
        .replace("grist_kg = 500", "grist_kg = -5")
        .replace("target_gravity_p = 12.5", "target_gravity_p = 17.5");
    let message = Scenario::from_toml(&text).expect_err("refused").to_string();
    assert!(
        message.contains("line 5: plan.grist_kg: is -5; allowed is 1 to 100000"),
        "{message}"
    );
    assert!(
        message.contains("line 6: plan.target_gravity_p: is 17.5"),
        "{message}"
    );
}

#[test]
fn a_fault_of_an_instrument_that_is_not_there_is_refused_with_its_line() {
    let text = format!(
        "{SMALLEST}\n[[event]]\nat_s = 60\nwhat = {{ freeze = {{ instrument = \"flow\" }} }}\n"
    );
    let message = Scenario::from_toml(&text).expect_err("refused").to_string();
    assert!(
        message.contains("line 16: event[0].what: no instrument \"flow\""),
        "{message}"
    );
}

#[test]
fn overlapping_registers_are_refused() {
    let register = |id: &str, address: u16| {
        format!(
            "[[instrument]]\nid = \"{id}\"\nmeasures = \"runoff-flow\"\nunit = \"L/min\"\n\
             modbus = {{ link = \"a\", address = {address} }}\n"
        )
    };
    let text = format!(
        "{SMALLEST}\n[[modbus_link]]\nname = \"a\"\ntcp = \"127.0.0.1:0\"\n{}{}",
        register("one", 10),
        register("two", 11)
    );
    let message = Scenario::from_toml(&text).expect_err("refused").to_string();
    assert!(
        message.contains("instrument[1].modbus.address: registers overlap those of one"),
        "{message}"
    );
}

#[test]
fn drawn_brews_are_possible_and_reach_their_target_in_a_plausible_time() {
    for seed in 0..150 {
        let scenario = Scenario::draw(seed);
        assert_eq!(scenario.faults(), [], "seed {seed}");
        let brewhouse = record::run(&scenario, seed, |_| {});
        let target = brewhouse.crossings().target;
        let target = target.unwrap_or_else(|| panic!("seed {seed}: target not reached"));
        let minutes = target.elapsed_s / 60.0;
        assert!(
            (40.0..170.0).contains(&minutes),
            "seed {seed}: {minutes} min"
        );
        let share = target.volume_l / scenario.plan.planned_volume_l;
        assert!(
            (0.8..1.2).contains(&share),
            "seed {seed}: {share} of the planned volume"
        );
        assert!(
            brewhouse.truth().kettle_volume_l < scenario.kettle.capacity_l,
            "seed {seed}: the kettle runs over"
        );
    }
}

/// "Analysis of Carakale's Lautering Practices on Differential Pressure and Mash Efficiency" (2020), 23 brews: mean
/// runnings over first wort 0.975, 0.895, 0.750 at 1000, 1500, 2000 L with SD 0.037, 0.080, 0.123. The share of the
/// run these volumes stand for is not told; that the curve stays up at first and then falls within such a
/// spread is what can be compared.
#[test]
fn drawn_runnings_stay_near_first_wort_at_first_and_then_fall_with_a_spread_as_in_real_brews() {
    let mut fractions = [Vec::new(), Vec::new(), Vec::new()];
    for seed in 0..100 {
        let scenario = Scenario::draw(seed);
        let first_p = scenario.plan.first_wort_gravity_p;
        let mut next = 0;
        let planned_l = scenario.plan.planned_volume_l;
        record::run(&scenario, seed, |brewhouse| {
            let truth = brewhouse.truth();
            let marks = [0.3, 0.6, 0.9];
            if next < 3 && truth.kettle_volume_l >= marks[next] * planned_l {
                fractions[next].push(truth.runnings_gravity_p / first_p);
                next += 1;
            }
        });
    }
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let means: Vec<f64> = fractions.iter().map(|values| mean(values)).collect();
    assert!(means[0] > 0.97, "{means:?}");
    assert!((0.6..0.97).contains(&means[1]), "{means:?}");
    assert!((0.1..0.6).contains(&means[2]), "{means:?}");
    let spread = |values: &[f64]| {
        let m = mean(values);
        mean(&values.iter().map(|v| (v - m).powi(2)).collect::<Vec<_>>()).sqrt()
    };
    assert!(
        spread(&fractions[1]) > 0.05,
        "spread {}",
        spread(&fractions[1])
    );
}

#[test]
fn every_disturbance_can_be_drawn_and_happens() {
    for disturbance in Disturbance::ALL {
        let mut drawn = 0;
        for seed in 0..10 {
            let Some(scenario) = Scenario::draw_disturbed(seed, disturbance) else {
                continue;
            };
            drawn += 1;
            assert_eq!(scenario.faults(), [], "{disturbance:?}, seed {seed}");
            let calm = Scenario::draw(seed);
            let happens = |event: &&Event| !calm.events.contains(*event);
            let own = scenario.events.iter().filter(happens).count();
            assert_eq!(own > 0, disturbance != Disturbance::None, "seed {seed}");
        }
        assert!(drawn >= 5, "{disturbance:?}: {drawn} of 10");
    }
}

//! Studies: the same figures again, their shape, and further brews on one tun.

use lauter_core::supervisor::Parameters;
use serde_json::Value;
use simulators::Scenario;
use simulators::scenario::Disturbance;
use simulators::study::campaign::{Campaign, Study};
use simulators::study::faults::FaultCampaign;
use simulators::study::trial::{self, HandSamples};
use simulators::study::{plots, text};

fn study(tuns: u64, brews_each: u32) -> Study {
    Campaign {
        tuns,
        brews_each,
        seed: 31,
        hand: HandSamples::None,
        learns: true,
        bound: false,
        parameters: Parameters::default(),
    }
    .run()
}

/// Paths of all members, the first of every list standing for the others.
fn shape(value: &Value, path: &str, into: &mut Vec<String>) {
    match value {
        Value::Object(members) => {
            for (name, member) in members {
                shape(member, &format!("{path}.{name}"), into);
            }
        }
        Value::Array(items) => {
            if let Some(first) = items.first() {
                shape(first, &format!("{path}[]"), into);
            }
        }
        _ => into.push(path.trim_start_matches('.').to_owned()),
    }
}

#[test]
fn the_same_study_gives_the_same_figures_and_tables_again() {
    let (one, other) = (study(6, 1), study(6, 1));
    assert_eq!(one.figures, other.figures);
    assert_eq!(text::tables(&one.figures), text::tables(&other.figures));
    assert_eq!(one.figures.all.runoffs, 6);
    assert!(one.figures.all.reached_target >= 5);
    for runoff in &one.runoffs {
        let stop = runoff
            .judged
            .true_stop
            .expect("an ordinary brew comes to its target");
        let plan_error = runoff.judged.planned_volume_l / stop.volume_l - 1.0;
        // The plan is off by 6 % at most from the undisturbed brew; a rake or a pause moves the true one a little.
        assert!(
            plan_error.abs() < 0.09,
            "seed {}: {plan_error}",
            runoff.tun_seed
        );
    }
}

#[test]
fn figures_keep_the_members_that_readers_rely_on() {
    let figures = serde_json::to_value(study(3, 1)).expect("JSON");
    let runoff = &figures["runoffs"][0];
    for member in [
        "tun_seed",
        "brew",
        "seed",
        "planned_volume_l",
        "true_stop",
        "read",
        "hand_l",
        "bound_l",
        "hindsight_l",
    ] {
        assert!(!runoff[member].is_null(), "{member} in {runoff}");
    }
    let mut members = Vec::new();
    shape(&figures, "", &mut members);
    members.retain(|member| {
        !member.starts_with("all.alarms.per_hundred.") && !member.starts_with("runoffs[]")
    });
    let expected = "\
all.alarms.per_runoff all.alarms.unfounded_per_hundred all.alarms.with_many all.hindsight.count \
all.hindsight.median_percent all.hindsight.missing all.hindsight.p90_percent all.hindsight.signed_median_percent \
all.kettle_gravity.count all.kettle_gravity.median_size_p all.kettle_gravity.p90_size_p \
all.kettle_gravity.signed_median_p all.planned_volume.count all.planned_volume.median_percent \
all.planned_volume.missing all.planned_volume.p90_percent all.planned_volume.signed_median_percent \
all.reached_target all.runoffs all.stop_call.called all.stop_call.median_size_s all.stop_call.missed \
all.stop_call.p95_size_s all.stop_call.signed_median_s all.stop_volume[].band_width_over_error \
all.stop_volume[].bound all.stop_volume[].coverage all.stop_volume[].error.count \
all.stop_volume[].error.median_percent all.stop_volume[].error.missing all.stop_volume[].error.p90_percent \
all.stop_volume[].error.signed_median_percent all.stop_volume[].fraction all.stop_volume[].hand.count \
all.stop_volume[].hand.median_percent all.stop_volume[].hand.missing all.stop_volume[].hand.p90_percent \
all.stop_volume[].hand.signed_median_percent all.stop_volume[].hand_over \
all.stop_volume[].median_band_width_percent all.stop_volume[].over_bound all.tannin.crossing \
all.tannin.crossing_ph_ceiling all.tannin.far all.tannin.far_but_warned all.tannin.warned_in_time \
all.tannin.warned_late recipe.bound_trained_on recipe.brews_each recipe.hand_samples recipe.learns recipe.seed recipe.tuns";
    members.sort();
    assert_eq!(members.join(" "), expected);
}

#[test]
fn brews_of_one_tun_share_brewhouse_and_instruments_and_differ_in_recipe() {
    for tun_seed in 40..50 {
        let first = Scenario::draw_brew(tun_seed, 0);
        assert_eq!(first, Scenario::draw(tun_seed), "seed {tun_seed}");
        let second = Scenario::draw_brew(tun_seed, 1);
        assert_eq!(second, Scenario::draw_brew(tun_seed, 1), "seed {tun_seed}");
        assert_eq!(second.faults(), vec![], "seed {tun_seed}");
        assert_eq!(first.tun, second.tun, "seed {tun_seed}");
        assert_ne!(first.plan, second.plan, "seed {tun_seed}");
        for (one, other) in first.instruments.iter().zip(&second.instruments) {
            assert_eq!(
                (&one.id, one.bias, one.gain),
                (&other.id, other.bias, other.gain)
            );
        }
        let ratio = second.plan.grist_kg / first.plan.grist_kg;
        assert!((0.84..=1.16).contains(&ratio), "seed {tun_seed}: {ratio}");
    }
}

#[test]
fn a_family_gives_figures_for_each_brew_number() {
    let study = study(2, 3);
    assert_eq!(study.figures.all.runoffs, 6);
    assert_eq!(study.figures.by_brew.len(), 3);
    assert!(study.figures.by_brew.iter().all(|brew| brew.runoffs == 2));
    assert!(text::tables(&study.figures).contains("Median error by brew on the tun"));
}

#[test]
fn an_opened_channel_is_counted_once_in_each_run_off() {
    let figures = FaultCampaign {
        disturbance: Disturbance::Channelling,
        brews: 4,
        seed: 7,
        hand: HandSamples::None,
        parameters: Parameters::default(),
    }
    .run();
    assert_eq!(figures.answered_by, ["channelling"]);
    assert!(figures.runoffs >= 3, "{} run-offs", figures.runoffs);
    assert!(figures.detection.detected <= figures.runoffs);
    assert!(
        figures
            .detection
            .median_delay_s
            .is_none_or(|delay_s| delay_s >= 0.0)
    );
    assert!(figures.hand.is_some());
}

#[test]
fn plots_are_written_as_svg_that_names_what_it_shows() {
    let directory = tempfile::tempdir().expect("a directory");
    plots::write(&study(3, 1).figures.all, directory.path()).expect("written");
    let scenario = Scenario::draw(31);
    let trial = trial::run(&scenario, 31, HandSamples::None, Parameters::default());
    plots::write_fan(&trial, &directory.path().join("fan.svg")).expect("written");
    for (file, text) in [
        ("error.svg", "hand method, median"),
        ("coverage.svg", "share of run-offs"),
        ("fan.svg", "true stop-point"),
    ] {
        let svg = std::fs::read_to_string(directory.path().join(file)).expect(file);
        assert!(svg.starts_with("<svg") && svg.contains(text), "{file}");
    }
}

#[test]
fn a_directory_that_cannot_be_made_is_named() {
    let file = tempfile::NamedTempFile::new().expect("a file");
    let error = plots::write(&study(1, 1).figures.all, &file.path().join("plots"))
        .expect_err("a file is no directory");
    assert!(error.to_string().contains("name a directory"), "{error}");
}

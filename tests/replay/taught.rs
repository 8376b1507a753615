//! Brews replayed in turn into one store teach the tun's profile, and the next brew is foreseen better.

use std::path::Path;

use lauter_core::profile::{Reason, TunProfile};
use lauterd::store::Database;
use simulators::Scenario;

use super::recorded::{Lines, Recorded, number};

/// A drawn tun; its sixth brew is one whose plan is well off.
const TUN_SEED: u64 = 24;

fn recorded(brew: u32) -> Recorded {
    Recorded::scenario(&Scenario::draw_brew(TUN_SEED, brew))
}

/// Mean size of the projected stop volume's error between 40 and 60 % of the planned volume.
fn early_error(lines: &Lines, brew: &Recorded) -> f64 {
    let scenario = Scenario::from_toml(&brew.read("scenario.toml")).expect("the scenario");
    let planned_l = scenario.plan.planned_volume_l;
    let errors: Vec<f64> = lines
        .of_kind("projection")
        .into_iter()
        .filter(|line| (0.4..0.6).contains(&(number(line, "/kettle_volume_l") / planned_l)))
        .map(|line| (number(line, "/target/volume_l/p50") / brew.target().volume_l - 1.0).abs())
        .collect();
    assert!(errors.len() > 10, "{} projections", errors.len());
    errors.iter().sum::<f64>() / errors.len() as f64
}

fn profile(store: &Path) -> TunProfile {
    let database = Database::open_read_only(store).expect("a store");
    let tun = database.find_tun("simulated", "tun-1").expect("a store");
    let tun = tun.expect("the tun");
    let profile = database.tun_profile(tun).expect("a profile");
    let marked = database.brews(tun).expect("brews");
    let accepted = marked.iter().filter(|brew| brew.accepted == Some(true));
    assert_eq!(accepted.count(), profile.lessons.len(), "marked as learnt");
    profile
}

#[test]
fn after_five_brews_the_sixth_is_foreseen_better_than_without_them() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let store = directory.path().join("store");
    let at = store.to_str().expect("UTF-8");
    for brew in 0..5 {
        recorded(brew).replay().with("--store", at).text();
    }
    let known = profile(&store);
    assert!(known.lessons.len() >= 4, "{:?}", known.verdicts);
    let sixth = recorded(5);
    let alone = early_error(&sixth.replay().lines(), &sixth);
    let taught_lines = sixth.replay().with("--store", at).text();
    let taught = early_error(&Lines::of(&taught_lines), &sixth);
    assert!(
        taught < 0.02 && taught < 0.6 * alone,
        "seed {TUN_SEED}: {:.2} % after five brews, {:.2} % alone",
        100.0 * taught,
        100.0 * alone
    );
    // Once more: it counts once, and is foreseen as before, without its own lesson.
    let first = profile(&store);
    assert_eq!(sixth.replay().with("--store", at).text(), taught_lines);
    let again = profile(&store);
    assert_eq!(again.lessons, first.lessons);
    assert_eq!(again.verdicts.len(), 6);
}

#[test]
fn a_channelled_brew_is_kept_but_teaches_nothing() {
    let recorded = Recorded::of("orchard-ale-channel");
    recorded.replay().with("--store", "store").text();
    let database = Database::open_read_only(&recorded.path("store")).expect("a store");
    let tun = database.find_tun("orchard", "tun-1").expect("a store");
    let profile = database.tun_profile(tun.expect("the tun"));
    let profile = profile.expect("a profile");
    assert!(profile.lessons.is_empty());
    assert_eq!(profile.verdicts[0].acceptance.reason, Reason::Channelled);
}

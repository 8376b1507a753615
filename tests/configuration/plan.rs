//! Plans: wrong data, with file, line and key.

use lauter_core::projection::PhBasis;
use lauterd::config;
use lauterd::exit::{Failure, Kind};

fn load(text: &str) -> Result<lauter_core::projection::Plan, Failure> {
    let directory = tempfile::tempdir().unwrap();
    let file = directory.path().join("plan.toml");
    std::fs::write(&file, text).unwrap();
    config::load_plan(&file).map_err(|failure| {
        let place = format!("{}/", directory.path().display());
        Failure::new(failure.kind, failure.message.replace(&place, ""))
    })
}

const LEAST: &str =
    "brew = \"b\"\ngrist_kg = 980\ntarget_gravity_p = 12\nplanned_volume_l = 5200\n";

#[test]
fn the_least_plan_takes_integers_and_is_completed_with_defaults() {
    let plan = load(LEAST).unwrap();
    assert_eq!((plan.grist_kg, plan.runoff_minutes), (980.0, 90.0));
    assert_eq!((plan.gravity_floor_p, plan.ph_ceiling), (3.0, 6.0));
    assert_eq!(
        (plan.ph_basis, plan.first_wort_gravity_p),
        (PhBasis::Room, None)
    );
}

#[test]
fn everything_that_is_wrong_with_a_plan_is_reported_at_once() {
    let text = "brew = \"a/b\"\ngrist_kg = \"980\"\ntarget_gravity_p = 120\nplaned_volume_l = 5200\nph_basis = \"hot\"\n";
    let failure = load(text).unwrap_err();
    assert_eq!(failure.kind, Kind::Data);
    assert_eq!(
        failure.message.lines().collect::<Vec<_>>(),
        [
            "6 errors",
            "plan.toml: planned_volume_l: is missing; needed is a number",
            "plan.toml:1: brew: must be a name without control characters or '/'",
            "plan.toml:2: grist_kg: is \"980\"; allowed is a number",
            "plan.toml:3: target_gravity_p: is 120; allowed is 1 to 35",
            "plan.toml:4: planed_volume_l: is an unknown key; did you mean planned_volume_l?",
            "plan.toml:5: ph_basis: is \"hot\"; allowed is room or process",
        ]
    );
}

#[test]
fn a_plan_is_checked_by_the_core_too() {
    let failure = load(&format!("{LEAST}first_wort_gravity_p = 11\n")).unwrap_err();
    assert_eq!(
        failure.message,
        "plan.toml:5: first_wort_gravity_p: is 11; it must be above target_gravity_p (12)"
    );
}

#[test]
fn a_plan_that_is_not_toml_is_wrong_data() {
    let failure = load("brew = \n").unwrap_err();
    assert_eq!(failure.kind, Kind::Data);
    assert!(
        failure.message.starts_with("plan.toml:1:8: not TOML: "),
        "{failure}"
    );
}

#[test]
fn a_plan_that_is_not_there_is_no_input() {
    let failure = config::load_plan("/nowhere/plan.toml".as_ref()).unwrap_err();
    assert_eq!(failure.kind, Kind::NoInput);
    assert_eq!(failure.message, "/nowhere/plan.toml: there is no such file");
}

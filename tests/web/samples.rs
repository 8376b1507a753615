//! Hand samples over HTTP: what is asked about, what is refused, and how one is taken back.

use crate::brewhouse::{Brewhouse, SITE, TUN};
use crate::http;
use crate::invented::plan;

fn brewing() -> Brewhouse {
    let house = Brewhouse::new();
    let plan = serde_json::to_string(&plan("7")).unwrap();
    assert_eq!(house.post("/brew", &plan).status, 201);
    house
}

#[test]
fn a_far_sample_is_refused_only_where_that_is_asked_for_and_with_both_figures() {
    let house = brewing();
    let slip = r#"{"place":"kettle","gravity_p":1.076}"#;
    let refused = house.post("/samples?ask=true", slip);
    let words = refused.refused(409);
    for part in [
        "1.08",
        "18.60",
        "1.076 looks like a specific gravity",
        "18.4",
    ] {
        assert!(words.contains(part), "{part}: {words}");
    }
    assert_eq!(refused.json()["faults"][0]["key"], "doubtful");
    assert_eq!(house.done().len(), 1, "nothing was taken");
    let taken = house.post("/samples", slip);
    assert_eq!(taken.status, 200);
    let taken = taken.json();
    assert_eq!(taken["number"], 1);
    assert_eq!(taken["repeated"], false);
}

#[test]
fn a_specific_gravity_that_cannot_be_is_answered_as_one_and_offered_with_its_mark() {
    let house = brewing();
    let body = r#"{"place":"kettle","gravity_sg":1076.5}"#;
    let words = house.post("/samples", body).refused(422);
    assert_eq!(
        words,
        "sample: gravity_sg is 1076.5; allowed is 1 to 1.154; write 1.0765 if that is meant"
    );
    let words = house.post("/samples", "[]").refused(422);
    assert_eq!(words, "body: must be an object");
    assert_eq!(house.done().len(), 1);
}

#[test]
fn a_volume_beyond_the_kettle_is_refused_whoever_gives_it() {
    let house = brewing();
    for volume_l in ["99999", "20000"] {
        let body = format!(r#"{{"place":"kettle","volume_l":{volume_l}}}"#);
        let words = house.post("/samples", &body).refused(422);
        assert!(words.contains("the kettle holds 7000 L"), "{words}");
    }
    assert_eq!(house.done().len(), 1);
}

#[test]
fn a_sample_is_withdrawn_by_its_number_and_by_the_command_line() {
    let house = brewing();
    let withdrawn = house.post("/samples/1/withdraw", "{}");
    assert_eq!(withdrawn.status, 200);
    assert_eq!(withdrawn.json()["gravity_p"], 1.076);
    for number in ["0", "2", "x"] {
        let path = format!("/samples/{number}/withdraw");
        house.post(&path, "{}").refused(404);
    }
    let told = house.command(&["sample", "withdraw", "1"]);
    assert_eq!(
        told.done(),
        "north-yard/tun-1: sample 1 of the kettle (1.08 °P) withdrawn\n"
    );
    assert_eq!(house.done()[1..], ["withdraw 1", "withdraw 1"]);
}

#[test]
fn a_plan_as_shown_is_taken_in_the_units_of_the_page() {
    let house = Brewhouse::new();
    // The page of this brewhouse shows °P and L.
    let plan = serde_json::to_string(&plan("8")).unwrap();
    assert_eq!(house.post("/brew?as_shown=true", &plan).status, 201);
    let status = house.get("").json();
    assert_eq!(status["plan"]["brew"], "8");
}

#[test]
fn a_page_is_refused_in_its_own_units_and_a_program_in_those_of_the_interface() {
    let settings =
        "[web]\nlanguage = \"de\"\ngravity = \"sg\"\nvolume = \"hL\"\ndecimal = \"comma\"\n";
    let house = Brewhouse::with_settings(settings);
    let asked = |language: Option<&str>, path: &str, body: &str| {
        let mut headers = vec![("Content-Type", "application/json")];
        headers.extend(language.map(|it| ("Accept-Language", it)));
        let path = format!("/api/v1/tuns/{SITE}/{TUN}{path}");
        http::request(house.address, "POST", &path, &headers, body).refused(422)
    };
    let mut thin = serde_json::to_value(plan("9")).unwrap();
    for (key, typed) in [
        ("target_gravity_p", 1.059),
        ("first_wort_gravity_p", 1.01),
        ("gravity_floor_p", 1.012),
        ("planned_volume_l", 45.0),
    ] {
        thin[key] = typed.into();
    }
    for (path, body, german, english) in [
        (
            "/samples",
            r#"{"place":"kettle","volume_l":120000}"#.to_owned(),
            "1200,0 hL kann nicht sein; die Pfanne fasst 70,0 hL",
            "1200.0 hL cannot be; the kettle holds 70.0 hL",
        ),
        (
            "/brew?as_shown=true",
            thin.to_string(),
            "Vorderwürze: SG 1,010 liegt nicht über der Pfannevollwürze von SG 1,059.",
            "First-wort gravity: SG 1.010 is not above the start-of-boil gravity of SG 1.059.",
        ),
    ] {
        assert_eq!(asked(Some("de"), path, &body), german);
        assert_eq!(asked(Some("en"), path, &body), english);
    }
    let sample = r#"{"place":"kettle","volume_l":120000}"#;
    assert_eq!(
        asked(None, "/samples", sample),
        "sample: volume_l is 120000 L; the kettle holds 7000 L"
    );
}

#[test]
fn a_parameter_that_does_not_fit_is_refused_by_its_name_with_what_is_allowed() {
    let house = brewing();
    let sample = r#"{"place":"kettle","gravity_p":12}"#;
    assert_eq!(
        house.post("/samples?ask=maybe", sample).refused(400),
        "query: ask must be true or false"
    );
    assert_eq!(house.done().len(), 1, "nothing was taken");
    assert_eq!(
        house.get("/brews?limit=x").refused(400),
        "query: limit must be a whole number from 0 to 4294967295"
    );
    assert_eq!(
        house.get("/brews/7/report?format=xml").refused(400),
        "query: format xml is not known here; known is html, csv, json"
    );
}

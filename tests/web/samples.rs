//! Hand samples over HTTP: what is asked about, what is refused, and how one is taken back.

use crate::brewhouse::Brewhouse;
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

//! What changes a brew: what goes through, what is refused, and in which words.

use crate::brewhouse::{BREW, Brewhouse};
use crate::invented::plan;

fn json_plan(brew: &str) -> String {
    serde_json::to_string(&plan(brew)).unwrap()
}

#[test]
fn a_brew_is_started_with_a_plan_in_json_or_toml_and_ended() {
    let house = Brewhouse::new();
    let started = house.post("/brew", &json_plan("2026-0413"));
    assert_eq!(
        (started.status, started.json()["brew"].as_str()),
        (201, Some("2026-0413"))
    );
    let ended = house.post("/brew/end", "{}");
    assert_eq!(
        (ended.status, ended.json()["brew"].as_str()),
        (200, Some("2026-0413"))
    );
    let toml = toml::to_string(&plan("2026-0414")).unwrap();
    assert_eq!(
        house.post_as("application/toml", "/brew", &toml).status,
        201
    );
    assert_eq!(
        house.done(),
        ["start 2026-0413", "end 2026-0413", "start 2026-0414"]
    );
    let status = house.get("").json();
    assert_eq!(
        (&status["brew"], &status["plan"]["grist_kg"]),
        (&"2026-0414".into(), &980.0.into())
    );
}

#[test]
fn a_plan_in_toml_is_refused_with_every_fault_and_its_line() {
    let house = Brewhouse::new();
    let toml = "brew = \"x\"\ngrist_kg = 0\ntarget = 12.4\nplanned_volume_l = 5200";
    let reply = house.post_as("application/toml", "/brew", toml);
    let words = reply.refused(422);
    for part in [
        "line 2: grist_kg",
        "line 3: target",
        "target_gravity_p is missing",
    ] {
        assert!(words.contains(part), "{part} in {words}");
    }
    let faults = reply.json()["faults"].as_array().unwrap().clone();
    assert_eq!(faults.len(), 3, "{faults:?}");
    assert!(
        faults
            .iter()
            .any(|f| f["key"] == "grist_kg" && f["line"] == 2),
        "{faults:?}"
    );
    assert!(house.done().is_empty());
}

#[test]
fn a_plan_in_json_is_refused_with_every_fault_and_a_null_is_not_given() {
    let house = Brewhouse::new();
    let body = r#"{"brew":"x","grist_kg":"much","ph_ceiling":null,"planned_volume_l":-1,"target_gravity_p":12}"#;
    let words = house.post("/brew", body).refused(422);
    assert!(
        words.contains("grist_kg") && words.contains("planned_volume_l"),
        "{words}"
    );
    assert!(!words.contains("ph_ceiling"), "{words}");
    for body in ["[]", "7", "\"plan\""] {
        assert!(
            house.post("/brew", body).refused(422).contains("object"),
            "{body}"
        );
    }
    for body in ["", "{", "brew = 1"] {
        assert!(
            house.post("/brew", body).refused(400).contains("not JSON"),
            "{body}"
        );
    }
    let not_text = house
        .post_as("application/toml", "/brew", "brew = ")
        .refused(422);
    assert!(not_text.contains("not TOML"), "{not_text}");
}

#[test]
fn a_plan_that_does_not_fit_the_tun_is_refused_in_the_tuns_words() {
    let house = Brewhouse::new();
    let mut heavy = plan("2026-0413");
    heavy.grist_kg = 9000.0;
    let words = house
        .post("/brew", &serde_json::to_string(&heavy).unwrap())
        .refused(422);
    assert!(words.contains("more than the tun holds"), "{words}");
}

#[test]
fn a_second_brew_and_the_end_of_none_conflict() {
    let house = Brewhouse::new();
    assert!(
        house
            .post("/brew/end", "{}")
            .refused(409)
            .contains("no brew is under way")
    );
    assert_eq!(house.post("/brew", &json_plan("2026-0413")).status, 201);
    for brew in ["2026-0414", "2026-0413"] {
        let words = house.post("/brew", &json_plan(brew)).refused(409);
        assert!(words.contains("2026-0413 is under way"), "{words}");
    }
    assert_eq!(house.done(), ["start 2026-0413"]);
}

#[test]
fn a_brew_of_the_record_is_replaced_only_on_request() {
    let house = Brewhouse::new();
    let words = house.post("/brew", &json_plan(BREW)).refused(409);
    assert!(
        words.contains("in the record already") && words.contains("--replace"),
        "{words}"
    );
    assert!(house.done().is_empty());
    assert_eq!(
        house.post("/brew?replace=true", &json_plan(BREW)).status,
        201
    );
    assert_eq!(house.done(), [format!("start {BREW}")]);
}

#[test]
fn a_sample_reaches_the_tun_and_needs_a_brew() {
    let house = Brewhouse::new();
    let body = r#"{"place":"kettle","gravity_p":12.9,"volume_l":4980}"#;
    assert!(
        house
            .post("/samples", body)
            .refused(409)
            .contains("no brew is under way")
    );
    house.post("/brew", &json_plan("2026-0413"));
    let taken = house.post("/samples", body);
    assert_eq!(
        (taken.status, taken.json()["volume_l"].as_f64()),
        (200, Some(4980.0))
    );
    let last = house.done().pop().unwrap();
    let expected =
        "Sample { place: Kettle, gravity_p: Some(12.9), ph: None, volume_l: Some(4980.0) }";
    assert_eq!(last, expected);
}

#[test]
fn a_sample_at_fault_is_refused_before_it_reaches_the_tun() {
    let house = Brewhouse::new();
    house.post("/brew", &json_plan("2026-0413"));
    let words = house
        .post("/samples", r#"{"place":"kettle","gravity_p":99,"ph":14}"#)
        .refused(422);
    assert!(
        words.contains("gravity_p is 99 °P; allowed is 0 to 35 °P"),
        "{words}"
    );
    assert!(words.contains("ph is 14; allowed is 3 to 9"), "{words}");
    for (body, part) in [
        (r#"{"place":"kettle"}"#, "at least one"),
        (r#"{"place":"fermenter","ph":5}"#, "fermenter"),
        (r#"{"gravity_p":12}"#, "place"),
        (r#"{"place":"kettle","gravity":12}"#, "gravity"),
    ] {
        let words = house.post("/samples", body).refused(422);
        assert!(words.contains(part), "{part} in {words}");
    }
    assert_eq!(house.done(), ["start 2026-0413"]);
}

#[test]
fn an_alarm_is_operated_with_name_action_and_instrument() {
    let house = Brewhouse::new();
    let operations = [
        (
            "channelling",
            r#"{"who":"shift brewer","action":"acknowledge"}"#,
        ),
        (
            "instrument-fault?instrument=runnings_ph",
            r#"{"who":"shift brewer","action":"shelve","minutes":30,"reason":"probe in buffer"}"#,
        ),
        (
            "channelling",
            r#"{"who":"shift brewer","action":"unshelve"}"#,
        ),
        (
            "stuck-bed",
            r#"{"who":"x","action":"out-of-service","reason":"trial"}"#,
        ),
        ("stuck-bed", r#"{"who":"x","action":"return-to-service"}"#),
    ];
    for (path, body) in operations {
        let reply = house.post(&format!("/alarms/{path}"), body);
        assert_eq!(reply.status, 200, "{reply:?}");
    }
    assert_eq!(
        house.done(),
        [
            "channelling None shift brewer Acknowledge",
            "instrument-fault Some(\"runnings_ph\") shift brewer Shelve { minutes: 30.0, reason: \"probe in buffer\" }",
            "channelling None shift brewer Unshelve",
            "stuck-bed None x OutOfService { reason: \"trial\" }",
            "stuck-bed None x ReturnToService",
        ]
    );
}

#[test]
fn an_alarm_operation_at_fault_is_refused() {
    let house = Brewhouse::new();
    let acknowledge = r#"{"who":"x","action":"acknowledge"}"#;
    let unknown = house.post("/alarms/boil-over", acknowledge).refused(404);
    assert!(
        unknown.contains("channelling") && unknown.contains("delivery-delayed"),
        "{unknown}"
    );
    let state = house
        .post("/alarms/turbid-runnings", acknowledge)
        .refused(409);
    assert!(state.contains("is in state normal"), "{state}");
    for (path, body, part) in [
        ("channelling", r#"{"action":"acknowledge"}"#, "who"),
        (
            "channelling",
            r#"{"who":" ","action":"acknowledge"}"#,
            "who must be",
        ),
        (
            "channelling",
            r#"{"who":"x","action":"silence"}"#,
            "silence",
        ),
        (
            "channelling",
            r#"{"who":"x","action":"shelve"}"#,
            "minutes is missing",
        ),
        ("channelling?instrument=", acknowledge, "instrument must be"),
    ] {
        let words = house.post(&format!("/alarms/{path}"), body).refused(422);
        assert!(words.contains(part), "{part} in {words}");
    }
    assert!(house.done().is_empty());
}

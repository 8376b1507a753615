//! Loop checks, certificates and corrections over the interface, on the page and by the command.

use serde_json::{Value, json};

use crate::brewhouse::{Brewhouse, SITE, TUN};
use crate::command_line::{lauterd, lauterd_told};
use crate::http;

/// A gravity meter of °P against two solutions, as-found and as-left.
fn check() -> Value {
    let point = |gravity_p: f64, reading: f64| {
        json!({
            "direction": "up",
            "applied": { "kind": "gravity", "gravity_p": gravity_p },
            "reading": reading,
        })
    };
    json!({
        "instrument": "runnings_gravity",
        "reference": { "name": "solutions, lot 4", "expanded_uncertainty": 0.02 },
        "tolerance": 0.10,
        "resolution": 0.01,
        "as_found": [point(0.0, 0.15), point(12.0, 12.18), point(0.0, 0.17), point(12.0, 12.16)],
        "as_left": [point(0.0, 0.01), point(12.0, 12.02)],
        "note": "after cleaning",
        "who": "engineer",
    })
}

fn entered(house: &Brewhouse) -> Value {
    let reply = house.post("/loop-checks", &check().to_string());
    assert_eq!(reply.status, 201, "{}", reply.body);
    reply.json()
}

fn url(house: &Brewhouse) -> String {
    format!("http://{}", house.address)
}

#[test]
fn a_check_is_kept_under_a_number_and_evaluated() {
    let house = Brewhouse::new();
    let record = entered(&house);
    assert_eq!(record["number"], 1);
    assert_eq!(record["who"], "engineer");
    let found = &record["evaluation"]["as_found"];
    assert_eq!(found["verdict"], "fail");
    // (0.15 + 0.17) / 2 and (0.18 + 0.16) / 2.
    let error = |level: usize| found["levels"][level]["error"].as_f64().unwrap();
    assert!((error(0) - 0.16).abs() < 1e-9 && (error(1) - 0.17).abs() < 1e-9);
    assert_eq!(record["evaluation"]["verdict"], "pass");
    assert_eq!(house.get("/loop-checks/1").json(), record);
    assert_eq!(house.get("/loop-checks").json(), json!([record]));
    let others = house.get("/loop-checks?instrument=runoff_flow");
    assert_eq!(others.json(), json!([]));
    assert_eq!(house.get("/loop-checks/2").status, 404);
    assert_eq!(house.get("/loop-checks/x").status, 404);
    assert!(
        house
            .done()
            .contains(&"loop-check 1 of runnings_gravity".to_owned())
    );
}

#[test]
fn everything_wrong_with_a_check_is_said_and_nothing_is_kept() {
    let house = Brewhouse::new();
    let mut wrong = check();
    wrong["tolerance"] = json!(0.0);
    wrong["as_left"][1]["applied"] =
        json!({ "kind": "buffer", "buffer": "borate", "temperature_c": 25.0 });
    wrong["due_days"] = json!(0.0);
    let reply = house.post("/loop-checks", &wrong.to_string());
    assert_eq!(reply.status, 422, "{}", reply.body);
    let faults = reply.json()["faults"].clone();
    let keys: Vec<&str> = faults
        .as_array()
        .unwrap()
        .iter()
        .map(|fault| fault["key"].as_str().unwrap())
        .collect();
    assert_eq!(keys, ["tolerance", "as_left[1]", "due_days"]);
    wrong["instrument"] = json!("nothing");
    let reply = house.post("/loop-checks", &wrong.to_string());
    assert_eq!(reply.status, 404);
    assert!(
        reply.body.contains("runnings_gravity, runoff_flow"),
        "{}",
        reply.body
    );
    assert_eq!(house.get("/loop-checks").json(), json!([]));
}

#[test]
fn a_reading_outside_the_instruments_limits_is_refused_with_its_point_and_nothing_is_kept() {
    let house = Brewhouse::new();
    let state = house.get("/instruments/runnings_gravity").json();
    let (low, high) = (
        state["low"].as_f64().unwrap(),
        state["high"].as_f64().unwrap(),
    );
    let mut wrong = check();
    wrong["as_found"][1]["reading"] = json!(high + 1.0);
    // What the instrument gave counts, however it was corrected.
    wrong["as_left"][0]["uncorrected"] = json!(low - 1.0);
    let reply = house.post("/loop-checks", &wrong.to_string());
    assert_eq!(reply.status, 422, "{}", reply.body);
    let faults = reply.json()["faults"].clone();
    assert_eq!(faults.as_array().unwrap().len(), 2, "{faults}");
    let told = |at: usize, read: f64| {
        let message = faults[at]["message"].as_str().unwrap();
        let limits = format!("reads {read} degP, outside the instrument's limits {low} to {high}");
        assert!(message.starts_with(&limits), "{message}");
        assert!(message.contains("check its limits"), "{message}");
        faults[at]["key"].as_str().unwrap()
    };
    assert_eq!(told(0, high + 1.0), "as_found[1]");
    assert_eq!(told(1, low - 1.0), "as_left[0]");
    assert_eq!(house.get("/loop-checks").json(), json!([]));
    // At a limit it gave a value that a correction moves past it.
    let mut right = check();
    right["as_left"][1]["uncorrected"] = json!(high);
    right["as_left"][1]["reading"] = json!(high + 0.5);
    let reply = house.post("/loop-checks", &right.to_string());
    assert_eq!(reply.status, 201, "{}", reply.body);
}

#[test]
fn the_certificate_comes_as_a_page_as_rows_and_as_data() {
    let house = Brewhouse::new();
    entered(&house);
    let html = house.get("/loop-checks/1/certificate");
    assert_eq!(html.status, 200);
    for part in [
        "Loop check certificate",
        "No. 1",
        "solutions, lot 4",
        "after cleaning",
        "pass",
        "JCGM 100",
        "release pressure",
        "Local codes",
        "<svg",
    ] {
        assert!(html.body.contains(part), "{part}");
    }
    assert!(!html.body.contains("<script"));
    let policy = html.header("content-security-policy").unwrap();
    assert!(policy.starts_with("default-src 'none'"), "{policy}");
    let csv = house.get("/loop-checks/1/certificate?format=csv").body;
    let rows: Vec<&str> = csv.lines().collect();
    assert_eq!(rows.len(), 5, "{csv}");
    assert!(rows[0].starts_with("number,instrument,unit,series,applied,reading,error"));
    assert!(
        rows[1].starts_with("1,runnings_gravity,degP,as-found,0,"),
        "{csv}"
    );
    assert!(rows[4].ends_with("pass,false"), "{csv}");
    let data = house.get("/loop-checks/1/certificate?format=json").json();
    assert_eq!(
        data["evaluation"],
        house.get("/loop-checks/1").json()["evaluation"]
    );
    assert_eq!(
        data["drift_share_of_tolerance"].as_array().unwrap().len(),
        1
    );
    assert_eq!(data["site"], SITE);
    assert_eq!(house.get("/loop-checks/9/certificate").status, 404);
}

#[test]
fn a_correction_is_found_from_points_versioned_and_taken_back() {
    let house = Brewhouse::new();
    let points = json!({ "points": [
        { "applied": { "kind": "gravity", "gravity_p": 0.0 }, "reading": 0.2 },
        { "applied": { "kind": "gravity", "gravity_p": 12.0 }, "reading": 12.0 },
    ]});
    let path = "/instruments/runnings_gravity/correction";
    let reply = house.post(path, &points.to_string());
    assert_eq!(reply.status, 201, "{}", reply.body);
    let made = reply.json();
    assert_eq!(
        (&made["version"], &made["rule"]["method"]),
        (&json!(1), &json!("line"))
    );
    // By hand: 12 / 11.8 and -0.2 times that.
    let slope = made["rule"]["slope"].as_f64().unwrap();
    assert!((slope - 12.0 / 11.8).abs() < 1e-12, "{slope}");
    let far = json!({ "points": [
        { "applied": { "kind": "gravity", "gravity_p": 0.0 }, "reading": 9.0 },
    ]});
    let reply = house.post(path, &far.to_string());
    assert_eq!(reply.status, 422, "{}", reply.body);
    let flow =
        json!({ "points": [{ "applied": { "kind": "value", "value": 50.0 }, "reading": 51.0 }] });
    let reply = house.post("/instruments/runoff_flow/correction", &flow.to_string());
    assert_eq!(reply.status, 422);
    assert!(
        reply.body.contains("maker's instructions"),
        "{}",
        reply.body
    );
    let whole = format!("/api/v1/tuns/{SITE}/{TUN}{path}");
    let back = http::request(house.address, "DELETE", &whole, &[], "");
    assert_eq!((back.status, &back.json()["rule"]), (200, &Value::Null));
    let versions = house
        .get("/instruments/runnings_gravity/corrections")
        .json();
    assert_eq!(versions.as_array().unwrap().len(), 2);
    assert_eq!(versions[0], made);
}

#[test]
fn an_instruments_page_shows_its_checks_its_drift_and_the_way_to_make_more() {
    let house = Brewhouse::new();
    let path = format!("/tuns/{SITE}/{TUN}/instruments/runnings_gravity");
    let before = house.get_at(&path);
    assert_eq!(before.status, 200, "{}", before.body);
    assert!(before.body.contains("has not been checked yet"));
    entered(&house);
    let page = house.get_at(&path).body;
    for part in [
        "loop-checks/1/certificate",
        "chart-drift",
        "as_found",
        "as_left",
        "release pressure",
        "data-check=\"correct\"",
    ] {
        assert!(page.contains(part), "{part}");
    }
    let list = house
        .get_at(&format!("/tuns/{SITE}/{TUN}/instruments"))
        .body;
    assert!(list.contains(&format!("href=\"{path}\"")), "{list}");
    assert_eq!(
        house
            .get_at(&format!("/tuns/{SITE}/{TUN}/instruments/x"))
            .status,
        404
    );
    let drift = house.get("/instruments/runnings_gravity/drift");
    assert!(
        drift
            .header("content-type")
            .unwrap()
            .starts_with("image/svg+xml")
    );
    assert!(drift.body.contains("<circle"));
}

#[test]
fn the_command_leads_through_a_check_and_writes_the_certificate() {
    let house = Brewhouse::new();
    let url = url(&house);
    // As-found: taken from the service (12.345 against 12.0), then typed; corrected; as-left typed.
    let answers = "\n12.0\n20\n1.05\n1.0\n20\n\ny\n12.01\n12.0\n20\n1.0\n1.0\n20\n";
    let told = lauterd_told(
        &[
            "loop-check",
            "guide",
            "--url",
            &url,
            "--instrument",
            "runnings_gravity",
            "--tolerance",
            "0.1",
            "--reference",
            "solutions, lot 4",
            "--uncertainty",
            "0.02",
            "--seconds",
            "1",
            "--who",
            "engineer",
        ],
        answers,
    );
    let page = told.done();
    for part in [
        "Caution: lines under pressure",
        "applied 12.0000, reading 12.3450, error 0.3450",
        "correction 1 is in force",
        "loop check 1, pass",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let file = house
        .directory
        .path()
        .join("certificate.html")
        .display()
        .to_string();
    lauterd(&[
        "loop-check",
        "certificate",
        "1",
        "--url",
        &url,
        "--output",
        &file,
    ])
    .done();
    assert!(
        std::fs::read_to_string(&file)
            .unwrap()
            .contains("Loop check certificate")
    );
    let list = lauterd(&["loop-check", "list", "--url", &url]);
    assert!(list.done().contains("runnings_gravity"));
    let back = lauterd(&[
        "loop-check",
        "take-back",
        "--url",
        &url,
        "--instrument",
        "runnings_gravity",
    ]);
    assert!(back.done().contains("version 2"));
    let missing = lauterd(&["loop-check", "certificate", "7", "--url", &url]);
    assert!(missing.failed(64).contains("no loop check 7"));
}

#[test]
fn answers_that_end_too_early_keep_nothing() {
    let house = Brewhouse::new();
    let url = url(&house);
    let told = lauterd_told(
        &[
            "loop-check",
            "guide",
            "--url",
            &url,
            "--instrument",
            "runnings_gravity",
            "--tolerance",
            "0.1",
            "--reference",
            "solutions",
            "--seconds",
            "1",
        ],
        "12.1\n12.0\n",
    );
    assert_eq!(told.code, Some(64), "{told:?}");
    assert!(told.err.contains("nothing was kept"), "{told:?}");
    assert_eq!(house.get("/loop-checks").json(), json!([]));
    let wrong = lauterd(&[
        "loop-check",
        "correct",
        "--url",
        &url,
        "--instrument",
        "runnings_gravity",
        "--point",
        "12P",
    ]);
    assert!(wrong.failed(64).contains("READING"));
}

#[test]
fn a_guided_check_that_could_not_be_kept_is_refused_before_anything_is_asked() {
    let house = Brewhouse::new();
    let guide = |tolerance: &str, reference: &str, method: &str| {
        let fixed = ["loop-check", "guide", "--instrument", "runnings_gravity"];
        let asked = [
            ["--tolerance", tolerance],
            ["--reference", reference],
            ["--method", method],
        ];
        let told = house.command(&[&fixed[..], &asked.concat()].concat());
        assert!(!told.out.contains("As-found"), "{told:?}");
        told.failed(64).to_owned()
    };
    assert!(guide("0", "lot 4", "gravity").contains("more than 0"));
    assert!(guide("0.1", " ", "gravity").contains("--reference"));
    let unfit = guide("0.1", "lot 4", "buffers");
    assert!(
        unfit.contains("--method buffers does not fit runnings_gravity"),
        "{unfit}"
    );
    assert!(unfit.contains("--method gravity"), "{unfit}");
}

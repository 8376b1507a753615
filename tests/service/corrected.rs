//! Instruments that are corrected here: in force at once, kept over a killed service, and the same in a replay.

use serde_json::{Value, json};

use super::agreement::assert_replay_agrees;
use super::brewhouse::{Brewhouse, flowing_at_once};
use super::program::Program;

const DENSITY: &str = "runnings_density";
const CORRECTION: &str = "/instruments/runnings_density/correction";

/// One point that moves the density's readings.
async fn correct(program: &Program, applied: f64, reading: f64) {
    let body = json!({
        "points": [{ "applied": { "kind": "value", "value": applied }, "reading": reading }],
        "who": "engineer",
    });
    let answer = program
        .post(CORRECTION, ("application/json", &body.to_string()))
        .await;
    assert_eq!(answer.status, 201, "{}", answer.body);
}

fn reading(status: &Value) -> Option<Value> {
    let readings = status["readings"].as_array()?;
    let found = readings.iter().find(|it| it["instrument"] == DENSITY)?;
    Some(found.clone())
}

/// The reading once it bears this version of the correction.
async fn corrected_by(program: &mut Program, version: u32) -> Value {
    program
        .until_status("the correction is in force", |status| {
            reading(status).filter(|it| it["correction"] == version && it["corrected"].is_number())
        })
        .await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_corrected_brew_goes_on_after_a_kill_and_its_replay_agrees() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    site.configure(|_| ());
    let mut program = Program::start(&site).await;
    let refused = program.delete(CORRECTION).await;
    assert_eq!(refused.status, 409, "there is nothing to take back yet");
    correct(&program, 1060.0, 1061.5).await;
    let before = corrected_by(&mut program, 1).await;
    let shift = before["measured"].as_f64().unwrap() - before["corrected"].as_f64().unwrap();
    assert!((shift - 1.5).abs() < 1e-9, "{before}");
    program.start_brew(&site).await;
    let litres = |status: &Value| status.pointer("/runoff/kettle_volume_l")?.as_f64();
    program
        .until_status("wort in the kettle", |status| {
            litres(status).filter(|it| *it > 6.0)
        })
        .await;
    correct(&program, 1060.0, 1060.5).await;
    corrected_by(&mut program, 2).await;
    program.kill();

    let mut program = Program::start(&site).await;
    let after = corrected_by(&mut program, 2).await;
    assert!(after["value"].is_number(), "{after}");
    let calibration = program.status().await["calibration"].clone();
    assert_eq!(calibration[0]["instrument"], DENSITY);
    assert_eq!(calibration[0]["hint"], Value::Null);
    program
        .until_status("the kettle fills on", |status| {
            litres(status).filter(|it| *it > 14.0)
        })
        .await;
    let ended = program.post("/brew/end", ("application/json", "")).await;
    assert_eq!(ended.status, 200, "{}", ended.body);
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    let count = assert_replay_agrees(&site);
    assert!(count > 10, "{count} lines");
    let exported = std::fs::read_to_string(site.path("export/corrections.jsonl")).unwrap();
    assert_eq!(exported.lines().count(), 2, "{exported}");
}

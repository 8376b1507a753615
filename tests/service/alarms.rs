//! What people do about alarms of the whole service: granted or refused, on the record, and not undone by a restart.

use serde_json::{Value, json};

use super::brewhouse::{Brewhouse, flowing_at_once};
use super::program::{Program, command};

async fn act(program: &Program, alarm: &str, body: Value) -> (u16, String) {
    let answer = program
        .post(
            &format!("/alarms/{alarm}"),
            ("application/json", &body.to_string()),
        )
        .await;
    (answer.status, answer.body)
}

fn told(arguments: &[&str]) -> String {
    let output = command(arguments).output().expect("the binary runs");
    assert!(output.status.success(), "{output:?}");
    String::from_utf8(output.stdout).expect("text")
}

#[tokio::test(flavor = "multi_thread")]
async fn what_people_put_aside_is_checked_recorded_and_survives_a_restart() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    site.configure(|_| ());
    let mut program = Program::start(&site).await;
    let who = "shift brewer";
    let shelve = |minutes: f64| json!({"who": who, "action": "shelve", "minutes": minutes, "reason": "slow on purpose"});
    let acknowledge = json!({"who": who, "action": "acknowledge"});
    let out = json!({"who": who, "action": "out-of-service", "reason": "meter sent away"});

    let too_long = act(&program, "channelling", shelve(61.0)).await;
    assert_eq!(too_long.0, 422);
    assert!(too_long.1.contains("60 min at most"), "{}", too_long.1);
    let unknown = act(&program, "instrument-fault?instrument=nothing", out.clone()).await;
    assert_eq!(unknown.0, 422);
    assert!(unknown.1.contains("known are"), "{}", unknown.1);
    let unseen = act(&program, "stuck-bed", acknowledge).await;
    assert_eq!(unseen.0, 409);
    assert!(unseen.1.contains("nothing to acknowledge"), "{}", unseen.1);
    assert_eq!(act(&program, "channelling", shelve(60.0)).await.0, 200);
    assert_eq!(act(&program, "channelling", shelve(10.0)).await.0, 409);
    assert_eq!(act(&program, "turbid-runnings", out).await.0, 200);
    program.kill();

    let mut program = Program::start(&site).await;
    let out = program.until_alarm("turbid-runnings").await;
    assert_eq!(out["to"], "out-of-service");
    let shelved = program.until_alarm("channelling").await;
    assert_eq!(shelved["to"], "shelved");
    program.start_brew(&site).await;
    let back = json!({"who": who, "action": "return-to-service"});
    assert_eq!(act(&program, "turbid-runnings", back).await.0, 200);
    program.kill();

    let mut program = Program::start(&site).await;
    let shelved = program.until_alarm("channelling").await;
    assert_eq!(shelved["to"], "shelved");
    let status = program.status().await;
    let alarms = status["alarms"].as_array().expect("a list");
    assert!(
        alarms.iter().all(|line| line["alarm"] != "turbid-runnings"),
        "{status}"
    );
    program.kill();

    let config = site.path("tun.toml").display().to_string();
    let trail = told(&["alarms", "trail", "--config", &config, "--json"]);
    let trail: Vec<Value> = serde_json::from_str(&trail).expect("JSON");
    let deeds: Vec<(&str, &str, &str, Option<&str>)> = trail
        .iter()
        .filter_map(|entry| {
            Some((
                entry["alarm"].as_str()?,
                entry["to"].as_str()?,
                entry["who"].as_str()?,
                entry["why"].as_str(),
            ))
        })
        .collect();
    assert_eq!(
        deeds,
        [
            ("channelling", "shelved", who, Some("slow on purpose")),
            (
                "turbid-runnings",
                "out-of-service",
                who,
                Some("meter sent away")
            ),
            ("turbid-runnings", "normal", who, None),
        ]
    );
    assert_eq!(
        trail.last().expect("entries")["brew"].as_str(),
        Some(site.scenario.plan.brew.as_str())
    );
    let report = told(&["alarms", "report", "--config", &config]);
    for part in ["alarms in an operator hour", "EEMUA 191", "1 brew"] {
        assert!(report.contains(part), "{part} in {report}");
    }
}

//! `lauterd probe topics` at a real broker, with a simulated brewhouse publishing on it.

use super::brewhouse::{Brewhouse, flowing_at_once};
use super::mosquitto::Mosquitto;
use super::program::command;

fn probed(broker: u16, arguments: &[&str]) -> std::process::Output {
    command(&[
        "probe",
        "topics",
        "--broker",
        &format!("127.0.0.1:{broker}"),
    ])
    .args(arguments)
    .output()
    .expect("the binary runs")
}

#[tokio::test(flavor = "multi_thread")]
async fn topics_are_listed_with_their_pointers_and_the_table_of_the_right_one_is_that_of_the_site()
{
    let Some(broker) = Mosquitto::start_with("allow_anonymous true").await else {
        return;
    };
    let scenario = flowing_at_once("hill-lager");
    let _brewhouse = Brewhouse::start(&scenario, 1.0, Some(broker.port)).await;
    let output = tokio::task::spawn_blocking(move || {
        probed(
            broker.port,
            &[
                "--listen-for",
                "6",
                "--watch",
                "--id",
                "runnings_gravity",
                "--measures",
                "runnings-gravity",
                "--unit-of-value",
                "degP",
                "--expect",
                "10..20",
                "--filter",
                "hill/#",
            ],
        )
    })
    .await
    .expect("it ends");
    let text = String::from_utf8(output.stdout).expect("text");
    assert_eq!(output.status.code(), Some(0), "{text}");
    assert!(
        text.contains("hill/lauter/refractometer  /gravity/value"),
        "{text}"
    );
    let table = text.split("paste:\n\n").nth(1).expect("a table");
    let table = table.split("\nThen hold").next().expect("a table");
    let table: toml::Table = table.parse().expect("TOML");
    let point = &table["instrument"][0]["mqtt"];
    let known = scenario.instruments.iter().find_map(|instrument| {
        (instrument.id == "runnings_gravity").then(|| instrument.mqtt.clone().expect("its topic"))
    });
    let known = known.expect("it is in the scenario");
    assert_eq!(point["topic"].as_str(), Some(known.topic.as_str()));
    assert_eq!(point["pointer"].as_str(), known.pointer.as_deref());
    assert_eq!(
        point["time_pointer"].as_str(),
        known.time_pointer.as_deref()
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_refuses_or_is_not_there_is_named_with_what_to_check() {
    let nobody = probed(super::brewhouse::free_port(), &["--listen-for", "1"]);
    assert_eq!(nobody.status.code(), Some(69), "{nobody:?}");
    let Some(broker) = Mosquitto::start().await else {
        return;
    };
    let refused = probed(broker.port, &["--listen-for", "1"]);
    let words = String::from_utf8_lossy(&refused.stderr);
    assert_eq!(refused.status.code(), Some(69), "{words}");
    assert!(words.contains("user name and password"), "{words}");
}

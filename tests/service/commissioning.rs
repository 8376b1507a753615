//! `lauterd commission` as an engineer runs it: every alarm at a real broker, and the acceptance sheet of a tun.

use std::collections::BTreeSet;

use lauter_core::alarm::AlarmId;
use lauter_core::units::Unit;
use serde_json::Value;

use super::brewhouse::{Brewhouse, flowing_at_once, set};
use super::mosquitto::{Mosquitto, eventually};
use super::program::command;

/// Far faster than life, and slow enough for a busy machine.
const SPEED: &str = "60";

async fn told(arguments: Vec<String>) -> (Option<i32>, String, String) {
    let output = tokio::task::spawn_blocking(move || {
        let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
        command(&words).output().expect("the binary runs")
    })
    .await
    .expect("it ends");
    (
        output.status.code(),
        String::from_utf8(output.stdout).expect("text"),
        String::from_utf8(output.stderr).expect("text"),
    )
}

fn words(line: &str) -> Vec<String> {
    line.split_whitespace().map(str::to_owned).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn every_alarm_is_provoked_by_a_fault_and_another_client_hears_it_under_names_of_a_test() {
    let Some(broker) = Mosquitto::start_with("allow_anonymous true").await else {
        return;
    };
    let everything = broker.listener("everything", "#");
    eventually("the client listens", || everything.ready() >= 1).await;
    let asked = format!(
        "commission alarms --broker 127.0.0.1:{} --speed {SPEED}",
        broker.port
    );
    let (code, text, errors) = told(words(&asked)).await;
    assert_eq!(code, Some(0), "{text}{errors}");
    assert!(text.starts_with("TEST."), "{text}");
    assert!(text.contains("16 of 16 alarms were seen"), "{text}");

    let heard = everything.messages();
    let annunciated: BTreeSet<String> = heard
        .iter()
        .filter(|message| !message.payload.is_empty() && message.topic.contains("/alarm/"))
        .map(super::mosquitto::HeardMessage::json)
        .filter(|line| line["to"] == "unacknowledged")
        .map(|line| line["alarm"].as_str().expect("its name").to_owned())
        .collect();
    let all: BTreeSet<String> = AlarmId::ALL
        .iter()
        .map(|alarm| alarm.name().to_owned())
        .collect();
    assert_eq!(annunciated, all);
    for message in &heard {
        assert!(
            message.topic.starts_with("lauterd/commission/commission-"),
            "{}",
            message.topic
        );
    }
    let notices = heard
        .iter()
        .filter(|message| message.topic.ends_with("/test"));
    let notice = notices.clone().find(|message| !message.payload.is_empty());
    assert_eq!(notice.expect("a notice").json()["test"], true);

    // Nothing of what was provoked is left for who comes later.
    let late = broker.listener("late", "lauterd/+/+/alarm/#");
    eventually("the late client listens", || late.ready() >= 1).await;
    // What is retained has come before this.
    let marker = "lauterd/any/tun/alarm/marker";
    late.publish(marker, "{\"to\":\"normal\"}", false).await;
    eventually("the marker", || {
        late.messages()
            .iter()
            .any(|message| message.topic == marker)
    })
    .await;
    let left: Vec<String> = late
        .messages()
        .into_iter()
        .filter(|message| message.retained)
        .filter(|message| {
            let line: Value = message.json();
            line["to"] == "unacknowledged"
        })
        .map(|message| message.topic)
        .collect();
    assert!(left.is_empty(), "{left:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_keeps_the_test_to_itself_is_found_out_before_the_test() {
    let lists = tempfile::NamedTempFile::new().expect("a file");
    std::fs::write(lists.path(), "topic read #\n").expect("the list");
    let extra = format!("allow_anonymous true\nacl_file {}", lists.path().display());
    let Some(broker) = Mosquitto::start_with(&extra).await else {
        return;
    };
    let asked = format!("commission alarms --broker 127.0.0.1:{}", broker.port);
    let (code, text, errors) = told(words(&asked)).await;
    assert_eq!(code, Some(69), "{text}{errors}");
    assert!(
        errors.contains("write and read below lauterd/commission/"),
        "{errors}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tun_of_three_makes_is_walked_through_and_its_sheet_tells_what_is_wrong() {
    let Some(broker) = Mosquitto::start_with("allow_anonymous true").await else {
        return;
    };
    let scenario = flowing_at_once("three-makes");
    let brewhouse = Brewhouse::start(&scenario, 1.0, Some(broker.port)).await;
    eventually("wort flows", || brewhouse.handle.truth().flow_l_min > 40.0).await;
    // The meter has come up to it as well.
    tokio::time::sleep(std::time::Duration::from_secs(5)).await;
    let site = brewhouse.site();
    site.configure(|_| ());
    let path = |name: &str| site.path(name).display().to_string();
    let asked = format!(
        "commission --config {} --who engineer --watch 25 --leave-out alarms --speed {SPEED} --to {}",
        path("tun.toml"),
        path("sheet.json")
    );
    let (code, text, errors) = told(words(&asked)).await;
    assert_eq!(code, Some(0), "{text}{errors}");
    let sheet: Value =
        serde_json::from_str(&std::fs::read_to_string(site.path("sheet.json")).expect("a sheet"))
            .expect("JSON");
    assert_eq!(sheet["who"], "engineer");
    let verdict = |part: &str, item: &str| {
        let lines = sheet["lines"].as_array().expect("lines");
        let line = lines.iter().find(|line| {
            line["part"] == part && line["item"].as_str().expect("an item").starts_with(item)
        });
        line.unwrap_or_else(|| panic!("{part} {item}: {text}"))["verdict"].clone()
    };
    for link in ["skid", "line", "mqtt"] {
        assert_eq!(verdict("links", link), "pass", "{text}");
    }
    for instrument in &scenario.instruments {
        assert_eq!(verdict("instruments", &instrument.id), "pass", "{text}");
    }
    assert_eq!(verdict("signs-and-units", "runoff_flow"), "pass", "{text}");
    for instrument in &scenario.instruments {
        let switch = instrument.unit == Unit::Bool;
        assert!(
            switch || verdict("loop-checks", &instrument.id) == "not-done",
            "{text}"
        );
    }
    assert_eq!(verdict("dry-run", "a whole run-off"), "pass", "{text}");
    assert_eq!(verdict("alarms", "every alarm"), "not-done", "{text}");

    // A register read in the wrong order, a density called a specific gravity, and a meter that reports its failure.
    site.configure(|table| {
        let instruments = table["instrument"].as_array_mut().expect("a list");
        for instrument in instruments.iter_mut().filter_map(toml::Value::as_table_mut) {
            if instrument["id"].as_str() == Some("runoff_flow") {
                set(instrument, "modbus.byte_order", "ABCD");
            }
        }
    });
    brewhouse
        .inject("status runnings_density status=failure")
        .await;
    let asked = format!(
        "commission --config {} --watch 8 --leave-out alarms,dry-run --to {}",
        path("tun.toml"),
        path("sheet.html")
    );
    let (code, text, errors) = told(words(&asked)).await;
    assert_eq!(code, Some(65), "{text}{errors}");
    assert!(text.contains("no reading: device failure"), "{text}");
    let flow = text
        .lines()
        .find(|line| line.contains("FAIL") && line.contains("runoff_flow"));
    assert!(flow.is_some(), "{text}");
    let page = std::fs::read_to_string(site.path("sheet.html")).expect("a page");
    assert!(page.contains("<td class=\"verdict\">FAIL</td>"), "{page}");

    // A link that nobody answers is another exit code.
    site.configure(|table| {
        let links = table["modbus_link"].as_array_mut().expect("a list");
        for link in links.iter_mut().filter_map(toml::Value::as_table_mut) {
            if link["name"].as_str() == Some("skid") {
                set(
                    link,
                    "tcp",
                    format!("127.0.0.1:{}", super::brewhouse::free_port()),
                );
            }
        }
    });
    let asked = format!(
        "commission --config {} --watch 3 --leave-out alarms,dry-run",
        path("tun.toml")
    );
    let (code, text, errors) = told(words(&asked)).await;
    assert_eq!(code, Some(69), "{text}{errors}");
}

//! Starting where not everything is there: instruments, broker, port, record.

use std::fs;

use super::brewhouse::{Brewhouse, Site, flowing_at_once, free_port, set};
use super::mosquitto::{Mosquitto, USER};
use super::program::{Program, command};

#[tokio::test(flavor = "multi_thread")]
async fn absent_instruments_are_reported_and_read_as_soon_as_they_are_there() {
    let mut scenario = flowing_at_once("harbour-stout");
    let port = free_port();
    scenario.modbus_links[0].tcp = Some(format!("127.0.0.1:{port}"));
    let site = Site::of(&scenario);
    site.configure(|table| {
        set(table, "alarms.link-lost.on_delay_s", 1.0);
        set(table, "alarms.link-lost.off_delay_s", 1.0);
    });
    let mut program = Program::start(&site).await;
    let lost = program.until_alarm("link-lost").await;
    assert_eq!(lost["instrument"], "panel", "{lost}");
    let message = lost["message"].as_str().expect("a message");
    assert!(message.contains("panel"), "{message}");
    assert_ne!(lost["advice"], "");
    // The brew can be started all the same.
    program.start_brew(&site).await;
    let _brewhouse = Brewhouse::start_at(&scenario, 1.0, None, port).await;
    program
        .until_status("all instruments", |status| {
            let readings = status["readings"].as_array()?;
            let read = readings
                .iter()
                .filter(|reading| reading["value"].is_number());
            (read.count() == scenario.instruments.len()).then_some(())
        })
        .await;
    program
        .until_status("link-lost is over", |status| {
            let alarms = status["alarms"].as_array()?;
            let lost = alarms.iter().find(|line| line["alarm"] == "link-lost")?;
            (lost["to"] == "returned-unacknowledged").then_some(())
        })
        .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_password_is_an_alarm_in_clear_words_while_the_watch_goes_on() {
    let Some(broker) = Mosquitto::start().await else {
        return;
    };
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    fs::write(site.path("password"), "wrong horse\n").expect("a password");
    site.configure(|table| {
        set(table, "mqtt.host", "127.0.0.1");
        set(table, "mqtt.port", i64::from(broker.port));
        set(table, "mqtt.username", USER);
        let file = site.path("password").display().to_string();
        set(table, "mqtt.password_file", file);
        set(table, "alarms.delivery-delayed.on_delay_s", 1.0);
    });
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    let delayed = program.until_alarm("delivery-delayed").await;
    assert_eq!(delayed["instrument"], "mqtt", "{delayed}");
    let message = delayed["message"].as_str().expect("a message");
    println!("{message}");
    for part in ["mqtt", "password"] {
        assert!(message.contains(part), "{part} in {message}");
    }
    assert!(
        !program.log().contains("wrong horse"),
        "no secret in the log"
    );
    program
        .until_status("the watch goes on", |status| {
            status.pointer("/runoff/flow_l_min")?.as_f64()
        })
        .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_second_service_on_the_same_record_or_port_says_so_and_ends() {
    let site = Site::of(&flowing_at_once("harbour-stout"));
    site.configure(|_| ());
    let program = Program::start(&site).await;

    let run = |name: &str, key: &str, value: String| {
        let mut table: toml::Table = fs::read_to_string(site.path("tun.toml"))
            .expect("the configuration")
            .parse()
            .expect("TOML");
        set(&mut table, key, value);
        fs::write(site.path(name), table.to_string()).expect("another configuration");
        let config = site.path(name).display().to_string();
        let output = command(&["run", "--config", &config]).output();
        let output = output.expect("the binary runs");
        (
            output.status.code(),
            String::from_utf8_lossy(&output.stderr).into_owned(),
        )
    };
    let other_port = format!("127.0.0.1:{}", free_port());
    let (code, message) = run("same-record.toml", "web.listen", other_port);
    assert_eq!(code, Some(74), "{message}");
    assert!(message.contains("in use by another lauterd"), "{message}");
    assert!(message.contains(&program.id().to_string()), "{message}");
    let store = site.path("store").display().to_string();
    assert!(message.contains(&store), "{message}");

    let other_store = site.path("other-store").display().to_string();
    let (code, message) = run("same-port.toml", "store.directory", other_store);
    assert_eq!(code, Some(69), "{message}");
    let address = format!("127.0.0.1:{}", site.web_port);
    assert!(message.contains(&address), "{message}");
    assert!(!site.path("other-store").exists(), "it recorded nothing");
}

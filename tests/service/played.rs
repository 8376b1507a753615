//! Recordings played as live instruments, and captured bytes served at a desk.

use std::collections::BTreeMap;
use std::path::Path;
use std::time::Duration;

use lauter_core::alarm::AlarmState;
use lauter_core::supervisor::{Line, Output, SummaryLine};
use lauterd::config::{self, Surroundings};
use lauterd::runtime::request::Request;
use lauterd::runtime::{Options, Service};
use serde_json::Value;
use simulators::play::capture::{Capture, Framing};
use simulators::play::configuration::Played;
use simulators::play::recording::Recording;
use simulators::play::{self, Player};
use simulators::record;
use tokio::sync::mpsc;

use super::brewhouse::{Brewhouse, flowing_at_once, free_port, scenario, set};
use super::mosquitto::{Mosquitto, PATIENCE, eventually};
use super::program::{Program, command};

/// Recorded seconds in a second.
const SPEED: f64 = 60.0;
/// Outputs that may wait for the test.
const OUTPUTS_BOUND: usize = 65_536;

/// The first annunciation of each alarm, s, and the summary.
#[derive(Debug, Default)]
struct Told {
    alarms: BTreeMap<String, f64>,
    summary: Option<SummaryLine>,
}

impl Told {
    fn take(&mut self, line: &Line) {
        match line {
            Line::Alarm(line) if line.to == AlarmState::Unacknowledged => {
                self.alarms
                    .entry(line.alarm.name().to_owned())
                    .or_insert(line.elapsed_s);
            }
            Line::Summary(line) => self.summary = Some(line.clone()),
            _ => {}
        }
    }
}

fn replayed(directory: &Path) -> Told {
    let path = |name: &str| directory.join(name).display().to_string();
    let output = command(&["replay", "--config", &path("config.toml")])
        .args(["--plan", &path("plan.toml"), "--data", &path("RUN.csv")])
        .output()
        .expect("the binary runs");
    let text = String::from_utf8(output.stdout).expect("text");
    let mut told = Told::default();
    for line in text.lines() {
        told.take(&serde_json::from_str(line).expect("a line"));
    }
    told
}

async fn watched_live(player: &Player, directory: &Path) -> Told {
    let text = player.configuration();
    let mut configuration =
        config::parse(Path::new("played"), text, &Surroundings::none()).expect("the configuration");
    configuration.store.directory = directory.join("store");
    configuration.web.listen = ([127, 0, 0, 1], free_port()).into();
    let (observer, mut outputs) = mpsc::channel(OUTPUTS_BOUND);
    let options = Options {
        speed: Some(SPEED),
        observer: Some(observer),
        ..Options::default()
    };
    let plan = config::load_plan(&directory.join("plan.toml")).expect("the plan");
    let service = Service::start(vec![configuration], options)
        .await
        .expect("it starts");
    let tun = service.tuns[0].clone();
    let who = || "brewer".to_owned();
    tun.ask(|reply| Request::StartBrew {
        plan: Box::new(plan),
        who: who(),
        reply,
    })
    .await
    .expect("the brew starts");
    let mut told = Told::default();
    let mut position = player.watch();
    let mut ended = false;
    loop {
        tokio::select! {
            dated = outputs.recv() => {
                if let Output::Line(line) = dated.expect("it runs").output {
                    told.take(&line);
                }
                if told.summary.is_some() {
                    break;
                }
            }
            over = position.wait_for(|position| position.is_over), if !ended => {
                over.expect("it plays");
                ended = true;
                tun.ask(|reply| Request::EndBrew { who: who(), reply }).await.expect("the brew ends");
            }
        }
    }
    service.end().await;
    told
}

#[tokio::test(flavor = "multi_thread")]
async fn a_recorded_brew_played_back_live_gives_the_stop_point_and_the_alarms_of_its_record() {
    let directory = tempfile::tempdir().expect("a directory");
    let scenario = scenario("orchard-ale-channel");
    record::record(&scenario, scenario.seed, directory.path()).expect("a recording");
    let recorded = replayed(directory.path());

    let text = simulators::lauterd_files::configuration(&scenario);
    let played = Played::parse(&text).expect("the configuration");
    let recording = Recording::load(&directory.path().join("RUN.csv")).expect("the recording");
    let options = play::Options {
        speed: SPEED,
        start_after: Duration::from_secs(2),
        ..play::Options::default()
    };
    let player = play::start(played, recording, options)
        .await
        .expect("it plays");
    let live = watched_live(&player, directory.path()).await;
    player.stop().await;

    let names = |told: &Told| told.alarms.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(&live), names(&recorded), "{live:?}\n{recorded:?}");
    let (one, other) = (
        live.summary.expect("a summary"),
        recorded.summary.expect("a summary"),
    );
    assert_eq!(one.stop_cause, other.stop_cause);
    let (live_l, recorded_l) = (
        one.stop_volume_l.expect("a stop"),
        other.stop_volume_l.expect("a stop"),
    );
    // Polls fall between the rows: a reading may be a row older or newer than in the replay.
    assert!(
        (live_l / recorded_l - 1.0).abs() < 0.003,
        "{live_l} L live, {recorded_l} L recorded"
    );
}

/// `lauterd record` on a configuration, for some seconds.
async fn captured(config: &Path, to: &Path, seconds: u32) {
    let (config, to) = (config.display().to_string(), to.display().to_string());
    let seconds = seconds.to_string();
    let output = tokio::task::spawn_blocking(move || {
        command(&[
            "record", "--config", &config, "--to", &to, "--for", &seconds,
        ])
        .output()
        .expect("the binary runs")
    })
    .await
    .expect("it ends");
    assert!(output.status.success(), "{output:?}");
}

/// Every different reply that a link gave to each request, without the transaction's number.
fn replies(path: &Path, link: &str) -> BTreeMap<Vec<u8>, Vec<Vec<u8>>> {
    let capture = Capture::load(path).expect("a capture").expect("a capture");
    let mut replies: BTreeMap<Vec<u8>, Vec<Vec<u8>>> = BTreeMap::new();
    for exchange in &capture.links[link] {
        let request = Framing::Tcp.body(&exchange.request).to_vec();
        let reply = Framing::Tcp.body(&exchange.reply).to_vec();
        let known = replies.entry(request).or_default();
        // The end of a recording cuts the last answer off.
        if !reply.is_empty() && !known.contains(&reply) {
            known.push(reply);
        }
    }
    replies
}

/// What the service reads by a configuration, once every instrument has given a value or refused one.
async fn desk_readings(config: &Path) -> BTreeMap<String, Value> {
    let text = std::fs::read_to_string(config).expect("the configuration");
    let mut configuration =
        config::parse(config, text, &Surroundings::none()).expect("the configuration");
    let directory = tempfile::tempdir().expect("a directory");
    configuration.store.directory = directory.path().to_owned();
    configuration.web.enabled = false;
    let service = Service::start(vec![configuration], Options::default())
        .await
        .expect("it starts");
    let tun = service.tuns[0].clone();
    let wait = async {
        loop {
            let status = tun.status().await.expect("it answers");
            let readings: BTreeMap<String, Value> = status
                .readings
                .iter()
                .map(|reading| {
                    let value = serde_json::json!({"raw": reading.raw, "cause": reading.cause});
                    (reading.instrument.clone(), value)
                })
                .collect();
            let all_read = readings
                .values()
                .all(|reading| !reading["raw"].is_null() || reading["cause"] == "device-error");
            if all_read && !readings.is_empty() {
                return readings;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
    };
    let readings = tokio::time::timeout(PATIENCE, wait)
        .await
        .expect("all are read");
    service.end().await;
    readings
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sites_garbled_register_and_exception_come_out_the_same_at_the_desk_byte_for_byte() {
    let mut scenario = flowing_at_once("orchard-ale-channel");
    for instrument in &mut scenario.instruments {
        // So that a value stands still while it is compared.
        instrument.noise = 0.0;
        instrument.bubbles = None;
    }
    let brewhouse = Brewhouse::start(&scenario, 1.0, None).await;
    let site = brewhouse.site();
    // The site's mistake: the flow's words are swapped.
    let config = site.configure(|table| {
        let instruments = table["instrument"].as_array_mut().expect("a list");
        for instrument in instruments.iter_mut().filter_map(toml::Value::as_table_mut) {
            if instrument["id"].as_str() == Some("runoff_flow") {
                set(instrument, "modbus.byte_order", "ABCD");
            }
        }
    });
    brewhouse.inject("dropout runnings_ph").await;
    brewhouse.inject("freeze runoff_flow").await;
    eventually("the instrument is silent", || {
        let snapshot = brewhouse.handle.snapshot();
        let ph = snapshot
            .readings
            .iter()
            .find(|reading| reading.id == "runnings_ph");
        ph.expect("it is there").value.is_none()
    })
    .await;
    let capture = site.path("fault.capture");
    captured(&config, &capture, 6).await;
    let at_site = desk_readings(&config).await;
    brewhouse.handle.stop().await;

    // At the desk: the file is served, and the service is pointed at it.
    let desk = site.path("desk.toml");
    let file = Capture::load(&capture)
        .expect("it is there")
        .expect("a capture");
    let played = Played::parse(&file.configuration).expect("its configuration");
    let options = play::Options {
        speed: 0.05,
        ..play::Options::default()
    };
    let player = play::start_capture(played, file, options)
        .await
        .expect("it is served");
    std::fs::write(&desk, player.configuration()).expect("the desk's configuration");
    let again = site.path("again.capture");
    captured(&desk, &again, 3).await;
    let (first, second) = (replies(&capture, "skid"), replies(&again, "skid"));
    assert!(!second.is_empty());
    for (request, seen) in &second {
        let known = &first[request];
        for reply in seen {
            assert!(known.contains(reply), "{request:02x?}: {reply:02x?} is new");
        }
    }
    let exceptions = second
        .values()
        .flatten()
        .filter(|reply| reply.len() == 3)
        .count();
    assert!(
        exceptions > 0,
        "the exception of the silent instrument is served"
    );
    let at_desk = desk_readings(&desk).await;
    assert_eq!(at_desk["runnings_ph"]["cause"], "device-error");
    assert_eq!(at_desk["runoff_flow"], at_site["runoff_flow"]);

    // What was captured once is never written over.
    let (config, to) = (config.display().to_string(), capture.display().to_string());
    let refused = command(&["record", "--config", &config, "--to", &to, "--for", "1"])
        .output()
        .expect("the binary runs");
    assert_eq!(refused.status.code(), Some(74), "{refused:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_link_that_gives_nothing_fails_a_recording_which_keeps_what_the_others_gave() {
    let brewhouse = Brewhouse::start(&flowing_at_once("orchard-ale-channel"), 1.0, None).await;
    let site = brewhouse.site();
    let config = site.configure(|table| {
        let dead: toml::Table = format!("name = \"panel\"\ntcp = \"127.0.0.1:{}\"", free_port())
            .parse()
            .expect("a table");
        let links = table["modbus_link"].as_array_mut().expect("a list");
        links.push(dead.into());
        let instruments = table["instrument"].as_array_mut().expect("a list");
        for instrument in instruments.iter_mut().filter_map(toml::Value::as_table_mut) {
            if instrument["id"].as_str() == Some("runnings_ph") {
                set(instrument, "modbus.link", "panel");
            }
        }
    });
    let capture = site.path("half.capture");
    let arguments = [config.display().to_string(), capture.display().to_string()];
    let output = tokio::task::spawn_blocking(move || {
        let [config, to] = &arguments;
        command(&["record", "--config", config, "--to", to, "--for", "3"])
            .output()
            .expect("the binary runs")
    })
    .await
    .expect("it ends");
    let words = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(69), "{output:?}");
    assert!(words.contains("nothing came on panel"), "{words}");
    let told = String::from_utf8_lossy(&output.stdout);
    assert!(told.contains("panel: nothing; at the end: "), "{told}");
    assert!(!replies(&capture, "skid").is_empty());
    brewhouse.handle.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_recording_beside_the_service_throws_it_out_of_nothing() {
    let Some(broker) = Mosquitto::start_with("allow_anonymous true").await else {
        return;
    };
    let scenario = flowing_at_once("hill-lager");
    let brewhouse = Brewhouse::start(&scenario, 1.0, Some(broker.port)).await;
    let site = brewhouse.site();
    let config = site.configure(|_| {});
    let mut program = Program::start(&site).await;
    program
        .until_status("every reading has a value", |status| {
            let readings = status["readings"].as_array()?;
            let read = readings.iter().filter(|it| it["value"].is_number()).count();
            (read > 0 && read == readings.len()).then_some(())
        })
        .await;
    let told = |log: &str| log.matches("instruments: ").count();
    assert_eq!(told(&program.log()), 1, "{}", program.log());
    let capture = site.path("beside.capture");
    captured(&config, &capture, 4).await;
    assert_eq!(told(&program.log()), 1, "{}", program.log());
    let file = Capture::load(&capture)
        .expect("it is there")
        .expect("a capture");
    assert!(!file.messages.is_empty());
    brewhouse.handle.stop().await;
}

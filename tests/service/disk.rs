//! A disk that fills in the middle of a run-off: the watch and its alarms go on, and what is missing afterwards is marked.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use lauter_core::supervisor::{Event, Place, Sample};
use lauterd::runtime::Options;
use lauterd::runtime::request::Request;
use lauterd::store::{Database, FILE_NAME};
use serde_json::Value;

use super::brewhouse::{Brewhouse, begin_brew, flowing_at_once, set};
use super::mosquitto::{self, Mosquitto, eventually};
use super::program::{Program, command};

/// A small disk of its own, in memory. None, after a notice, for a user who may not mount.
pub struct SmallDisk(PathBuf);

impl SmallDisk {
    pub fn mount(at: &Path, megabytes: u32) -> Option<Self> {
        fs::create_dir_all(at).expect("a directory");
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &format!("size={megabytes}m"), "tmpfs"])
            .arg(at)
            .output();
        if mounted.is_ok_and(|output| output.status.success()) {
            return Some(Self(at.to_owned()));
        }
        eprintln!("skipped: only root can mount a small disk");
        None
    }

    pub fn path(&self) -> &Path {
        &self.0
    }

    pub fn fill(&self) {
        use std::io::Write;
        let mut file = fs::File::create(self.0.join("ballast")).expect("a file");
        while file.write_all(&[0; 4096]).is_ok() {}
    }

    pub fn free(&self) {
        fs::remove_file(self.0.join("ballast")).expect("it is there");
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}

#[allow(clippy::too_many_lines, reason = "one story, told in its order")]
#[tokio::test(flavor = "multi_thread")]
async fn on_a_full_disk_alarms_keep_coming_and_afterwards_the_record_has_one_marked_gap() {
    const SPEED: f64 = 20.0;
    const BOUND: usize = 600;
    let Some(broker) = Mosquitto::start_with("allow_anonymous true").await else {
        return;
    };
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), SPEED, None).await;
    let site = brewhouse.site();
    let Some(disk) = SmallDisk::mount(&site.path("store"), 8) else {
        return;
    };
    let configuration = site.configuration(|table| {
        set(table, "mqtt.host", "127.0.0.1");
        set(table, "mqtt.port", i64::from(broker.port));
        set(table, "alarms.instrument-fault.on_delay_s", 1.0);
        set(table, "alarms.delivery-delayed.on_delay_s", 5.0);
        set(table, "projection.every_s", 30.0);
    });
    let panel = broker.listener("panel", "lauterd/harbour/tun-1/#");
    eventually("the panel's subscription", || panel.ready() == 1).await;
    let told = |alarm: &str, to: &str| {
        panel.messages().iter().any(|message| {
            let body = || message.json();
            message.topic.contains("/alarm/") && body()["alarm"] == alarm && body()["to"] == to
        })
    };
    let options = Options {
        speed: Some(SPEED),
        unwritten_bound: Some(BOUND),
        ..Options::default()
    };
    let (service, tun) = begin_brew(&site, configuration, options).await;
    let sample = |gravity_p: f64| Sample {
        place: Place::Kettle,
        gravity_p: Some(gravity_p),
        ph: None,
        volume_l: None,
    };
    tokio::time::sleep(std::time::Duration::from_secs(3)).await;
    let before = sample(18.5);
    tun.ask(|reply| Request::Sample {
        ask: false,
        who: "brewer".to_owned(),
        sample: before,
        reply,
    })
    .await
    .expect("it is kept");

    disk.fill();
    eventually("an alarm about the record", || {
        told("delivery-delayed", "unacknowledged")
    })
    .await;
    // What is typed now is taken into the balance, and whoever typed it is told that it is not on the disk yet.
    let during = sample(18.4);
    let kept = tun
        .ask(|reply| Request::Sample {
            ask: false,
            who: "brewer".to_owned(),
            sample: during,
            reply,
        })
        .await;
    let kept = kept.expect("it counts");
    assert!(!kept.recorded && !kept.repeated);
    let noted = tun
        .ask(|reply| Request::Report {
            event: Event::Note {
                who: "brewer".to_owned(),
                text: "the disk".to_owned(),
            },
            reply,
        })
        .await;
    let said = noted.expect_err("not on the disk").to_string();
    assert!(
        said.contains("do not enter it again") && said.contains("the disk is full"),
        "{said}"
    );
    brewhouse.inject("step runnings_density by=400").await;
    eventually("an alarm from the full disk", || {
        told("instrument-fault", "unacknowledged")
    })
    .await;
    let status = tun.status().await.expect("a status");
    let error = status
        .health
        .pointer("/store/last_error")
        .and_then(Value::as_str);
    assert!(
        error.is_some_and(|error| error.contains("free disk space")),
        "{}",
        status.health
    );
    brewhouse.inject("restore runnings_density").await;
    // Until more has been unwritten than may wait.
    let dropped = async {
        loop {
            let status = tun.status().await.expect("a status");
            let dropped = status.health["unwritten_dropped"]
                .as_u64()
                .expect("a number");
            if dropped > 500 {
                return dropped;
            }
            tokio::time::sleep(std::time::Duration::from_millis(100)).await;
        }
    };
    let dropped = tokio::time::timeout(mosquitto::PATIENCE, dropped)
        .await
        .expect("a gap");

    disk.free();
    eventually("the record is written again", || {
        told("delivery-delayed", "returned-unacknowledged")
    })
    .await;
    let after = sample(18.3);
    let written = tun
        .ask(|reply| Request::Sample {
            ask: false,
            who: "brewer".to_owned(),
            sample: after,
            reply,
        })
        .await;
    assert!(written.expect("it is kept").recorded);
    tokio::time::sleep(std::time::Duration::from_secs(2)).await;
    tun.ask(|reply| Request::EndBrew {
        who: "brewer".to_owned(),
        reply,
    })
    .await
    .expect("it ends");
    service.end().await;

    let mut database = Database::open(&site.path("store")).expect("the record");
    let id = database.tun("harbour", "tun-1").expect("the tun");
    let brew = database.brews(id).expect("brews").remove(0);
    let marks: Vec<_> = database
        .occurrences(brew.id)
        .expect("occurrences")
        .into_iter()
        .filter(|(_, occurrence)| occurrence.event == "record-gap")
        .collect();
    assert_eq!(marks.len(), 1, "{marks:?}");
    println!("{dropped} given up; {}", marks[0].1.text);
    // Everything that is no reading is there: each sample, also the one that waited, and each alarm told.
    let samples = database.samples(brew.id).expect("samples");
    let typed: Vec<_> = samples.iter().map(|(_, sample)| sample.gravity_p).collect();
    assert_eq!(typed, [Some(18.5), Some(18.4), Some(18.3)]);
    let recorded = database.alarms(brew.id).expect("alarms");
    for message in panel.messages() {
        let body = message.json();
        if !message.topic.contains("/alarm/") || message.retained {
            continue;
        }
        let there = recorded.iter().any(|line| {
            line.alarm.name() == body["alarm"]
                && line.elapsed_s.to_bits() == body["elapsed_s"].as_f64().unwrap_or(-1.0).to_bits()
        });
        assert!(there || body["elapsed_s"].as_f64() < Some(1.0), "{body}");
    }
    // Readings are missing in one stretch only.
    let readings: Vec<_> = database
        .events(brew.id)
        .expect("events")
        .into_iter()
        .filter(|dated| matches!(dated.event, Event::Reading { .. }))
        .collect();
    let holes = readings
        .windows(2)
        .filter(|pair| pair[1].at.since(pair[0].at) > 0.5 * SPEED)
        .count();
    assert!(holes <= 1, "{holes} holes");
}

fn signal(program: &Program, name: &str) {
    let sent = Command::new("kill")
        .args(["-s", name, &program.id().to_string()])
        .status();
    assert!(sent.expect("kill runs").success());
}

/// Whether the record is being written.
pub fn is_written(status: &Value) -> Option<()> {
    status
        .pointer("/health/store/unwritten_s")?
        .is_null()
        .then_some(())
}

#[tokio::test(flavor = "multi_thread")]
async fn on_a_full_disk_a_service_starts_takes_a_brew_keeps_its_settings_and_says_so_at_its_end() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    let Some(disk) = SmallDisk::mount(&site.path("store"), 8) else {
        return;
    };
    site.configure(|table| {
        set(table, "alarms.delivery-delayed.on_delay_s", 1.0);
    });
    // There is no record yet, and no room for one.
    disk.fill();
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    let message = program.until_not_recorded("free disk space").await;
    assert!(
        message.starts_with("Nothing is being recorded: "),
        "{message}"
    );
    let flow = |status: &Value| status.pointer("/runoff/flow_l_min")?.as_f64();
    program.until_status("flow", flow).await;
    // New settings would cost what waits in memory.
    signal(&program, "HUP");
    eventually("the reload is refused", || {
        program.log().contains("is not being written")
    })
    .await;
    assert_eq!(program.status().await["brew"], "2026-0412");
    disk.free();
    program.until_status("it is written", is_written).await;
    let read = || {
        let database = Database::open_read_only(&site.path("store")).expect("a record");
        let tun = database.find_tun("harbour", "tun-1").expect("readable");
        let tun = tun.expect("the tun");
        let brew = database.brews(tun).expect("brews").remove(0);
        let events = database.events(brew.id).expect("events");
        let texts = database
            .occurrences(brew.id)
            .expect("occurrences")
            .into_iter();
        let texts: Vec<String> = texts.map(|(_, occurrence)| occurrence.text).collect();
        (brew, events, texts)
    };
    let (brew, events, _) = read();
    assert_eq!(events[0].at, brew.header.started_at, "its first moment");

    // The disk fills again: what the end of the service costs is said at the next start, on the same full disk.
    disk.fill();
    program
        .until_status("it is not written", |status| {
            status.pointer("/health/store/unwritten_s")?.as_f64()
        })
        .await;
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    assert!(log.contains("The record has a gap"), "{log}");
    let mut program = Program::start(&site).await;
    assert_eq!(program.status().await["brew"], "2026-0412", "it goes on");
    disk.free();
    program.until_status("it is written", is_written).await;
    let answer = program.post("/brew/end", ("application/json", "")).await;
    assert_eq!(answer.status, 200, "{}", answer.body);
    let (_, _, texts) = read();
    assert!(
        texts
            .iter()
            .any(|text| text.contains("when the service ended")),
        "{texts:?}"
    );
    let blamed = texts.iter().any(|text| text.contains("not running"));
    assert!(!blamed, "it watched and could not write: {texts:?}");
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_record_is_put_aside_and_the_watch_begins_a_new_one() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    site.configure(|_| ());
    fs::create_dir_all(site.path("store")).expect("a directory");
    fs::write(site.path("store").join(FILE_NAME), vec![b'x'; 20_000]).expect("a broken file");
    let program = Program::start(&site).await;
    program.start_brew(&site).await;
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    assert!(
        log.contains("damaged") && log.contains("was moved to"),
        "{log}"
    );
    let names = fs::read_dir(site.path("store")).expect("a directory");
    let kept = names
        .filter_map(Result::ok)
        .any(|entry| entry.file_name().to_string_lossy().contains(".damaged-"));
    assert!(kept, "the old file is still there");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_copy_of_the_record_is_made_while_the_service_writes_it() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    site.configure(|_| ());
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    let read = |directory: &str| {
        let database = Database::open_read_only(&site.path(directory)).expect("a record");
        let tun = database
            .find_tun("harbour", "tun-1")
            .expect("readable")
            .expect("the tun");
        let brew = database.brews(tun).expect("brews").remove(0);
        database.events(brew.id).expect("events")
    };
    program
        .until("a record of some length", async || {
            (read("store").len() > 3).then_some(())
        })
        .await;
    let config = site.path("tun.toml").display().to_string();
    let to = site.path("copy").display().to_string();
    let backup = || command(&["backup", "--config", &config, "--to", &to]).output();
    let output = backup().expect("the binary runs");
    assert!(output.status.success(), "{output:?}");
    let again = backup().expect("the binary runs");
    assert_eq!(again.status.code(), Some(74), "a copy is not written over");
    let (_, log) = program.end_by("TERM");
    assert!(!log.contains("ERROR"), "{log}");

    let (copied, whole) = (read("copy"), read("store"));
    assert!(copied.len() > 3 && copied.len() <= whole.len());
    assert_eq!(copied, whole[..copied.len()]);
}

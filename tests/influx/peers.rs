//! Real servers on free ports, with their data in a temporary directory.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use jiff::Timestamp;
use lauter_core::alarm::{AlarmId, AlarmState, Priority};
use lauter_core::reading::{Cause, Status};
use lauter_core::supervisor::{
    AlarmLine, Band, ConditionedReading, Crossing, Line, Output, Phase, ProjectionLine,
    RunoffState, Stop, StopCause,
};
use lauter_core::units::Unit;
use lauterd::publish::influx::{Field, Point, Row, Source, point};
use tempfile::TempDir;

use crate::http::{Answer, encode, request};
use crate::script::{Delivery, settings};

struct Peer {
    process: Child,
    port: u16,
    _directory: TempDir,
}

impl Drop for Peer {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

fn free_port() -> u16 {
    let listener = std::net::TcpListener::bind(("127.0.0.1", 0)).unwrap();
    listener.local_addr().unwrap().port()
}

impl Peer {
    /// None, with a notice, when the program is not installed and need not be.
    async fn start(
        program: &str,
        arguments: impl FnOnce(&Path, u16) -> Vec<String>,
        ready: &str,
    ) -> Option<Self> {
        let directory = tempfile::tempdir().unwrap();
        let port = free_port();
        let started = Command::new(program)
            .args(arguments(directory.path(), port))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        let process = match started {
            Ok(process) => process,
            Err(error) => {
                let asked = std::env::var_os("LAUTERD_PEERS").is_some_and(|v| v == "1");
                assert!(!asked, "{program} must be installed: {error}");
                println!("skipped: {program} is not installed ({error})");
                return None;
            }
        };
        let mut peer = Self {
            process,
            port,
            _directory: directory,
        };
        for _ in 0..600 {
            if let Ok(answer) = request(port, "GET", ready, "").await
                && matches!(answer.status, 200 | 204)
            {
                return Some(peer);
            }
            let ended = peer.process.try_wait().unwrap();
            assert!(ended.is_none(), "{program} ended: {ended:?}");
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        panic!("{program} does not answer on {ready}");
    }

    async fn influxd() -> Option<Self> {
        let arguments = |directory: &Path, port: u16| {
            let rpc = free_port();
            let root = directory.display();
            let configuration = format!(
                "reporting-disabled = true\nbind-address = \"127.0.0.1:{rpc}\"\n\
                 [meta]\ndir = \"{root}/meta\"\n\
                 [data]\ndir = \"{root}/data\"\nwal-dir = \"{root}/wal\"\n\
                 [monitor]\nstore-enabled = false\n\
                 [http]\nbind-address = \"127.0.0.1:{port}\"\n"
            );
            let file = directory.join("influxdb.conf");
            fs::write(&file, configuration).unwrap();
            vec!["-config".to_owned(), file.display().to_string()]
        };
        let peer = Self::start("influxd", arguments, "/ping").await?;
        let made = peer.query("POST", "CREATE DATABASE lauter").await;
        assert_eq!(made.status, 200, "{}", made.body);
        Some(peer)
    }

    async fn victoria_metrics() -> Option<Self> {
        let arguments = |directory: &Path, port: u16| {
            vec![
                format!("-storageDataPath={}", directory.join("data").display()),
                format!("-httpListenAddr=127.0.0.1:{port}"),
                "-retentionPeriod=100y".to_owned(),
            ]
        };
        Self::start("victoria-metrics", arguments, "/health").await
    }

    async fn get(&self, target: &str) -> Answer {
        request(self.port, "GET", target, "").await.unwrap()
    }

    async fn query(&self, method: &str, query: &str) -> Answer {
        let target = format!("/query?db=lauter&epoch=ns&q={}", encode(query));
        request(self.port, method, &target, "").await.unwrap()
    }

    /// The values of the first row of a query's only series.
    async fn first_row(&self, query: &str) -> Vec<serde_json::Value> {
        let answer = self.query("GET", query).await;
        let json: serde_json::Value = serde_json::from_str(&answer.body).unwrap();
        json.pointer("/results/0/series/0/values/0")
            .unwrap_or_else(|| panic!("{query}: {}", answer.body))
            .as_array()
            .unwrap()
            .clone()
    }
}

fn at(second: i64) -> Timestamp {
    Timestamp::from_second(1_700_000_000 + second).unwrap()
}

fn reading(instrument: &str, value: Option<f64>, status: Status) -> Output {
    Output::Reading(ConditionedReading {
        instrument: instrument.to_owned(),
        value,
        unit: Unit::LitrePerMinute,
        standard_error: value.map(|_| 0.25),
        rate_per_min: value.map(|_| -0.5),
        status,
        cause: value.is_none().then_some(Cause::LinkLost),
        raw: value,
        measured: None,
        corrected: None,
        correction: None,
    })
}

fn runoff() -> Output {
    Output::Runoff(RunoffState {
        elapsed_s: 2400.0,
        brew: r#"Brew "7", 50\50 "#.to_owned(),
        phase: Phase::FirstWort,
        runnings_gravity_p: Some(18.0),
        runnings_gravity_se_p: None,
        runnings_ph: Some(5.35),
        runnings_temperature_c: Some(75.0),
        flow_l_min: Some(60.1),
        pressure_drop_kpa: Some(1.02),
        kettle_volume_l: 602.0,
        kettle_gravity_p: Some(18.0),
        kettle_gravity_se_p: Some(0.04),
        extract_kg: Some(112.0),
        if_stopped_now: None,
    })
}

fn projection() -> Output {
    let band = Band {
        p5: 5010.0,
        p50: 5180.0,
        p95: 5370.0,
    };
    Output::Line(Line::Projection(ProjectionLine {
        elapsed_s: 2400.0,
        kettle_volume_l: 2411.8,
        kettle_gravity_p: Some(17.92),
        kettle_gravity_se_p: Some(0.04),
        target: Some(Crossing {
            volume_l: band,
            elapsed_s: band,
        }),
        gravity_floor: None,
        ph_ceiling: None,
        stop: Some(Stop {
            cause: StopCause::TargetGravity,
            volume_l: 5180.0,
            elapsed_s: 5170.0,
            top_up_l: 0.0,
            final_volume_l: 5180.0,
        }),
    }))
}

fn alarm() -> Output {
    Output::Line(Line::Alarm(AlarmLine {
        elapsed_s: 3120.0,
        alarm: AlarmId::InstrumentFault,
        instrument: Some("runnings_density".to_owned()),
        from: AlarmState::Normal,
        to: AlarmState::Unacknowledged,
        priority: Priority::High,
        message: "Density says \"nothing\" \\ 3 °P = a, b\r\nread the sample".to_owned(),
        advice: String::new(),
        evidence: BTreeMap::new(),
    }))
}

/// Outputs with every awkward character that configuration allows, and numbers from both ends of the range.
fn lines() -> Vec<String> {
    let source = Source {
        site: "north yard, gate=2".to_owned(),
        tun: r"tun\1 ü".to_owned(),
    };
    let outputs = [
        reading("flow", Some(60.125), Status::Good),
        reading("level, left=1", Some(-0.0), Status::MaintenanceRequired),
        reading("tiny", Some(5e-324), Status::Good),
        reading("huge", Some(1.7e308), Status::Good),
        reading("gone", None, Status::Failure),
        runoff(),
        projection(),
        alarm(),
    ];
    (0..)
        .zip(&outputs)
        .map(|(second, output)| {
            let point = point(&source, output, at(second)).unwrap();
            point.line().unwrap()
        })
        .collect()
}

#[tokio::test]
async fn a_strict_parser_takes_every_line_and_reads_back_what_was_meant() {
    let Some(peer) = Peer::influxd().await else {
        return;
    };
    let write = "/write?db=lauter&precision=ns";
    for line in lines() {
        let answer = request(peer.port, "POST", write, &line).await.unwrap();
        assert_eq!(answer.status, 204, "{line}: {}", answer.body);
    }
    let row = peer
        .first_row(
            "SELECT value, standard_error, rate_per_min FROM reading WHERE instrument = 'flow' \
             AND site = 'north yard, gate=2' AND status = 'good'",
        )
        .await;
    let expected = serde_json::json!([1_700_000_000_000_000_000_i64, 60.125, 0.25, -0.5]);
    assert_eq!(serde_json::Value::from(row), expected);
    for (instrument, value) in [("level, left=1", -0.0), ("tiny", 5e-324), ("huge", 1.7e308)] {
        let query = format!("SELECT value FROM reading WHERE instrument = '{instrument}'");
        let read = peer.first_row(&query).await[1].as_f64().unwrap();
        assert_eq!(Some(read), Some(value), "{instrument}");
    }
    let gone = peer
        .first_row("SELECT cause FROM reading WHERE instrument = 'gone'")
        .await;
    assert_eq!(gone[1], "link-lost");
    let brew = peer.first_row("SELECT brew, phase FROM runoff").await;
    assert_eq!(
        (&brew[1], &brew[2]),
        (&r#"Brew "7", 50\50 "#.into(), &"first-wort".into())
    );
    let stop = peer
        .first_row("SELECT target_volume_p50_l, stop_cause FROM projection")
        .await;
    assert_eq!(
        (stop[1].as_f64(), stop[2].as_str()),
        (Some(5180.0), Some("target-gravity"))
    );
    let message = peer
        .first_row("SELECT message FROM alarm WHERE \"alarm\" = 'instrument-fault'")
        .await;
    assert_eq!(
        message[1],
        "Density says \"nothing\" \\ 3 °P = a, b  read the sample"
    );
    let tuns = peer.query("GET", "SHOW TAG VALUES WITH KEY = tun").await;
    assert!(tuns.body.contains(r"tun\\1 ü"), "{}", tuns.body);
}

/// What makes the test above worth something: this parser does refuse.
#[tokio::test]
async fn the_strict_parser_refuses_what_the_client_crate_would_let_through() {
    let Some(peer) = Peer::influxd().await else {
        return;
    };
    let unchecked = [
        "reading,instrument= value=1 1",
        "reading,instrument=a value=NaN 1",
        r"reading,instrument=a\ value=1 1",
        r#"reading,instrument=a value="ends in \" 1"#,
    ];
    for line in unchecked {
        let write = "/write?db=lauter&precision=ns";
        let answer = request(peer.port, "POST", write, line).await.unwrap();
        assert_eq!(answer.status, 400, "{line}");
    }
    let fault = Point {
        measurement: "reading",
        tags: vec![("instrument", r"a\".to_owned())],
        fields: vec![("value", Field::Number(1.0))],
        time_ns: 1,
    };
    assert!(fault.line().is_err());
}

#[tokio::test]
async fn the_v2_write_call_delivers_to_a_real_server() {
    let Some(peer) = Peer::victoria_metrics().await else {
        return;
    };
    let mut delivery = Delivery::start(&settings(&format!("http://127.0.0.1:{}", peer.port)));
    let lines = lines();
    let rows = (1..).zip(&lines).map(|(id, line)| Row { id, line });
    assert_eq!(delivery.feed.put(rows), lines.len());
    let ids: Vec<i64> = (1..).take(lines.len()).collect();
    assert_eq!(delivery.acknowledged(lines.len()).await, ids);
    peer.get("/internal/force_flush").await;
    let target = format!(
        "/api/v1/export?start=1600000000&match[]={}",
        encode(r#"{instrument="flow",__name__="reading_value"}"#)
    );
    let series: serde_json::Value = serde_json::from_str(&peer.get(&target).await.body).unwrap();
    assert_eq!(series["values"], serde_json::json!([60.125]));
    assert_eq!(
        series["timestamps"],
        serde_json::json!([1_700_000_000_000_i64])
    );
    assert_eq!(series["metric"]["site"], "north yard, gate=2");
    assert_eq!(series["metric"]["status"], "good");
}

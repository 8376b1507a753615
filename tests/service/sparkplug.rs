//! The program as a Sparkplug B edge node, heard through mosquitto by a host that another author's library decodes for.
//! The host itself checks what spans messages: numbers in order, births before data, aliases, deaths.

use std::fs;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::{Arc, Mutex};

use serde_json::Value;
use simulators::Scenario;

use super::brewhouse::{Brewhouse, flowing_at_once, set};
use super::mosquitto::{Mosquitto, PASSWORD, USER, eventually, peer};
use super::program::Program;

/// What is said at most once waits for a host that is away.
const KEEPING: &str = "allow_anonymous true\nqueue_qos0_messages true";

/// The interpreter that has the host's library, or a notice that the test is skipped.
fn python() -> Option<PathBuf> {
    let python = match std::env::var_os("LAUTERD_PYTHON") {
        Some(python) => PathBuf::from(python),
        None => peer("python3")?,
    };
    let there = Command::new(&python)
        .args(["-c", "import pysparkplug, paho.mqtt.client"])
        .stderr(Stdio::null())
        .status();
    if there.is_ok_and(|status| status.success()) {
        return Some(python);
    }
    assert!(
        std::env::var("LAUTERD_PEERS").as_deref() != Ok("1"),
        "pysparkplug is not installed, and LAUTERD_PEERS=1 asks for it"
    );
    eprintln!("skipped: pysparkplug is not installed");
    None
}

struct Host {
    process: Child,
    input: ChildStdin,
    heard: Arc<Mutex<Vec<Value>>>,
}

impl Host {
    async fn start(python: &Path, broker: &Mosquitto) -> Self {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/peers/sparkplug/host.py");
        let mut process = Command::new(python)
            .arg(script)
            .args([&broker.port.to_string(), USER, PASSWORD])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the host starts");
        let output = process.stdout.take().expect("its output");
        let input = process.stdin.take().expect("its input");
        let heard = Arc::<Mutex<Vec<Value>>>::default();
        let shared = Arc::clone(&heard);
        std::thread::spawn(move || {
            for line in BufReader::new(output).lines().map_while(Result::ok) {
                let told = serde_json::from_str(&line).expect("JSON");
                shared.lock().expect("no panic").push(told);
            }
        });
        let host = Self {
            process,
            input,
            heard,
        };
        eventually("the host listens", || !host.all().is_empty()).await;
        host
    }

    fn all(&self) -> Vec<Value> {
        self.heard.lock().expect("no panic").clone()
    }

    /// Messages of a kind, in order.
    fn of(&self, kind: &str) -> Vec<Value> {
        let all = self.all().into_iter();
        all.filter(|told| told["kind"] == kind).collect()
    }

    fn ask(&mut self, command: &str) {
        writeln!(self.input, "{command}").expect("the host reads");
    }

    fn faults(&self) -> Vec<Value> {
        let all = self.all().into_iter();
        all.filter(|told| told.get("fault").is_some()).collect()
    }

    fn has_data(&self, has: impl Fn(&Value) -> bool) -> bool {
        self.of("DDATA").iter().any(has)
    }
}

impl Drop for Host {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

fn bd_seq(message: &Value) -> i64 {
    message["metrics"]["bdSeq"]["value"]
        .as_i64()
        .expect("a bdSeq")
}

/// With units and quality.
async fn assert_births_name_everything(host: &Host, scenario: &Scenario) {
    eventually("the tun is born", || !host.of("DBIRTH").is_empty()).await;
    let nbirth = host.of("NBIRTH").remove(0);
    assert_eq!((&nbirth["node"], bd_seq(&nbirth)), (&"hill".into(), 0));
    assert_eq!(nbirth["metrics"]["Properties/program"]["value"], "lauterd");
    let dbirth = host.of("DBIRTH").remove(0);
    assert_eq!(dbirth["device"], "tun-1");
    for instrument in &scenario.instruments {
        let metric = &dbirth["metrics"][format!("reading/{}", instrument.id)];
        assert!(metric["Quality"].is_number(), "{}: {metric}", instrument.id);
    }
    let volume = &dbirth["metrics"]["runoff/kettle_volume_l"];
    assert_eq!(
        (&volume["engUnit"], &volume["value"]),
        (&"L".into(), &Value::Null)
    );
}

async fn assert_data_follows(host: &Host) {
    eventually("the run-off in data", || {
        host.has_data(|data| data["metrics"]["runoff/kettle_gravity_p"]["value"].is_number())
    })
    .await;
    eventually("a projected stop-point", || {
        host.has_data(|data| data["metrics"]["projection/stop_volume_l"]["value"].is_number())
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_host_understands_births_data_rebirths_the_past_and_deaths() {
    let Some(python) = python() else { return };
    let Some(mut broker) = Mosquitto::start_with(KEEPING).await else {
        return;
    };
    let scenario = flowing_at_once("hill-lager");
    let brewhouse = Brewhouse::start(&scenario, 1.0, Some(broker.port)).await;
    let site = brewhouse.site();
    site.configure(|table| {
        set(table, "sparkplug.group", "brewery");
        set(table, "sparkplug.reading_every_s", 1.0);
        set(table, "mqtt.keep_alive_s", 5);
        set(table, "alarms.link-lost.on_delay_s", 1.0);
    });
    let mut host = Host::start(&python, &broker).await;
    let mut program = Program::start(&site).await;

    assert_births_name_everything(&host, &scenario).await;
    program.start_brew(&site).await;
    assert_data_follows(&host).await;
    brewhouse.inject("drop-link cellar").await;
    eventually("an alarm", || {
        host.has_data(|data| {
            data["metrics"]["alarm/link-lost/cellar/state"]["value"] == "unacknowledged"
        })
    })
    .await;
    eventually("a value without quality", || {
        host.has_data(|data| {
            let metrics = data["metrics"].as_object().expect("metrics");
            let stale = |metric: &Value| metric["Quality"] == 500 && metric["value"].is_null();
            metrics
                .iter()
                .any(|(name, metric)| name.starts_with("reading/") && stale(metric))
        })
    })
    .await;

    // What is no payload changes nothing; a rebirth gives everything again with the same bdSeq.
    host.ask("junk brewery hill");
    host.ask("rebirth brewery hill");
    eventually("births anew", || {
        host.of("NBIRTH").len() == 2 && host.of("DBIRTH").len() >= 2
    })
    .await;
    assert_eq!(bd_seq(&host.of("NBIRTH")[1]), 0);
    let reborn = host.of("DBIRTH").pop().expect("a birth");
    assert_eq!(
        reborn["metrics"]["alarm/link-lost/cellar/state"]["value"],
        "unacknowledged"
    );

    // A broker that goes away: births with the next bdSeq, and then what happened meanwhile, as past.
    broker.stop();
    let before = program.status().await["runoff"]["elapsed_s"]
        .as_f64()
        .expect("a time");
    program
        .until_status("time without a broker", |status| {
            (status["runoff"]["elapsed_s"].as_f64()? > before + 4.0).then_some(())
        })
        .await;
    broker.resume_from_disk().await;
    eventually("births after the outage", || {
        host.of("NBIRTH").iter().any(|birth| bd_seq(birth) > 0)
    })
    .await;
    eventually("the past", || {
        host.has_data(|data| {
            let past = data["past"].as_array().expect("a list");
            let volumes = past
                .iter()
                .filter(|metric| metric["name"] == "runoff/kettle_volume_l");
            volumes.count() >= 3
        })
    })
    .await;

    // Killed, the broker tells its death; started anew it goes on counting; ended in order it says so itself.
    let last = bd_seq(&host.of("NBIRTH").pop().expect("a birth"));
    program.kill();
    let died = |number| {
        host.of("NDEATH")
            .iter()
            .any(|death| bd_seq(death) == number)
    };
    eventually("the death", || died(last)).await;
    let program = Program::start(&site).await;
    eventually("the birth after it", || {
        host.of("NBIRTH")
            .iter()
            .any(|birth| bd_seq(birth) == last + 1)
    })
    .await;
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0));
    eventually("its own death", || died(last + 1)).await;
    assert_eq!(host.faults(), Vec::<Value>::new(), "{log}");
}

#[tokio::test(flavor = "multi_thread")]
async fn two_tuns_of_one_service_are_devices_of_one_node_whose_births_wait_for_the_primary_host() {
    let Some(python) = python() else { return };
    let Some(broker) = Mosquitto::start_with("allow_anonymous true").await else {
        return;
    };
    let scenario = flowing_at_once("hill-lager");
    let brewhouse = Brewhouse::start(&scenario, 1.0, Some(broker.port)).await;
    let site = brewhouse.site();
    let first = site.configure(|table| {
        set(table, "sparkplug.edge_node", "cellar-2");
        set(table, "sparkplug.primary_host", "scada");
    });
    let mut second: toml::Table = fs::read_to_string(first)
        .expect("it")
        .parse()
        .expect("TOML");
    set(&mut second, "tun.name", "tun-2");
    fs::write(site.path("tun-2.toml"), second.to_string()).expect("it is written");
    let second = site.path("tun-2.toml").display().to_string();
    let mut host = Host::start(&python, &broker).await;
    host.ask("state scada offline 1000");
    let mut program = Program::start_with(&site, &["--config", &second], &[]).await;
    program
        .until_status("connected, and waiting", |status| {
            let sparkplug = &status["health"]["publishers"]["sparkplug"];
            (sparkplug["connected"] == true && sparkplug["born"] == false).then_some(())
        })
        .await;
    assert_eq!(host.of("NBIRTH"), Vec::<Value>::new());
    host.ask("state scada online 2000");
    let born = |host: &Host, device: &str| {
        host.of("DBIRTH")
            .iter()
            .any(|birth| birth["device"] == device)
    };
    eventually("births", || born(&host, "tun-1") && born(&host, "tun-2")).await;
    assert_eq!(host.of("NBIRTH").len(), 1, "one node");
    assert_eq!(host.of("NBIRTH")[0]["node"], "cellar-2");
    // An older word does not count, a newer one ends the session.
    host.ask("state scada offline 1500");
    host.ask("state scada offline 3000");
    eventually("the death", || host.of("NDEATH").len() == 1).await;
    host.ask("state scada online 4000");
    eventually("births again", || host.of("NBIRTH").len() == 2).await;
    assert_eq!(bd_seq(&host.of("NBIRTH")[1]), 1);
    assert_eq!(host.faults(), Vec::<Value>::new());
}

//! Both MQTT adapters against a real broker: mosquitto, with users, restarts, a freeze and a kill.

mod mosquitto;

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use lauter_core::reading::{Cause, Instrument, Measures, Reading};
use lauter_core::supervisor::{LinkState, Occurrence, Output};
use lauter_core::units::Unit;
use lauterd::broker::FaultKind;
use lauterd::clock::Clock;
use lauterd::config::model::{
    Configuration, ConfiguredInstrument, Kettle, Mqtt, MqttPoint, Projection, Secret, Source,
    Store, Tun, Watch, Web,
};
use lauterd::ingest::mqtt::MqttIngestHealth;
use lauterd::ingest::{Arrival, Intake};
use lauterd::publish::mqtt::message::{Message, Outlet, Quality, RECEIPTS_BOUND, Receipt};
use lauterd::publish::mqtt::topics::{Stamp, Topics};
use lauterd::publish::mqtt::{Publisher, Sequence};
use lauterd::{ingest, publish};
use mosquitto::{HeardMessage, Mosquitto, eventually, peer};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

fn instrument(id: &str, measures: Measures, unit: Unit, point: MqttPoint) -> ConfiguredInstrument {
    ConfiguredInstrument {
        instrument: Instrument {
            id: id.to_owned(),
            measures,
            unit,
            span: None,
            temperature: None,
            low: None,
            high: None,
            stale_after_s: 10.0,
            zero: 0.0,
            link: Some(ingest::mqtt::LINK.to_owned()),
        },
        source: Source::Mqtt(point),
    }
}

fn point(topic: &str, pointer: Option<&str>) -> MqttPoint {
    MqttPoint {
        topic: topic.to_owned(),
        pointer: pointer.map(str::to_owned),
        time_pointer: None,
    }
}

fn configuration(mqtt: Mqtt) -> Configuration {
    Configuration {
        file: PathBuf::from("tun-1.toml"),
        site: "north-yard".to_owned(),
        tun: Tun {
            name: "tun-1".to_owned(),
            bed_area_m2: 7.0,
            pipe_volume_l: 60.0,
            pressure_drop_limit_kpa: 2.5,
        },
        kettle: Kettle {
            capacity_l: 7000.0,
            heel_l: 0.0,
            strapping: Vec::new(),
        },
        instruments: vec![
            instrument(
                "density",
                Measures::RunningsGravity,
                Unit::KilogramPerCubicMetre,
                point("skid/density", None),
            ),
            instrument(
                "flow",
                Measures::RunoffFlow,
                Unit::LitrePerMinute,
                point("skid/state", Some("/flow")),
            ),
            instrument(
                "rake",
                Measures::RakeRunning,
                Unit::Bool,
                point("skid/state", Some("/rake")),
            ),
        ],
        modbus_links: Vec::new(),
        store: Store {
            directory: PathBuf::from("store"),
            keep_readings_days: 90.0,
            keep_brews_days: None,
        },
        web: Web {
            enabled: false,
            listen: ([127, 0, 0, 1], 0).into(),
        },
        mqtt: Some(mqtt),
        influx: None,
        alarms: BTreeMap::new(),
        watch: Watch {
            table_every_s: 600.0,
            runoff_every_s: 5.0,
            reading_every_s: 1.0,
            no_flow_l_min: 1.0,
            assumed_temperature_c: 75.0,
        },
        projection: Projection {
            every_s: 30.0,
            stop_ahead_s: 600.0,
            limit_ahead_s: 600.0,
            top_up_temperature_c: 80.0,
        },
    }
}

/// The ingest adapter and everything it has handed over.
struct Ingest {
    arrivals: mpsc::Receiver<Arrival>,
    seen: Vec<Arrival>,
    health: Arc<MqttIngestHealth>,
    task: JoinHandle<()>,
    stop: CancellationToken,
}

impl Ingest {
    fn start(mqtt: Mqtt) -> Self {
        let (intake, arrivals) = Intake::channel();
        let stop = CancellationToken::new();
        let (task, health) = ingest::mqtt::start(
            &configuration(mqtt),
            intake,
            Clock::start(None),
            stop.clone(),
        )
        .expect("instruments read from MQTT");
        Self {
            arrivals,
            seen: Vec::new(),
            health,
            task,
            stop,
        }
    }

    fn seen(&mut self) -> &[Arrival] {
        while let Ok(arrival) = self.arrivals.try_recv() {
            self.seen.push(arrival);
        }
        &self.seen
    }

    fn values(&mut self, wanted: usize) -> Vec<Result<f64, Cause>> {
        self.seen()
            .iter()
            .filter_map(|arrival| match arrival {
                Arrival::Reading {
                    instrument,
                    reading: Reading { value, .. },
                } if *instrument == wanted => Some(*value),
                _ => None,
            })
            .collect()
    }

    fn links(&mut self) -> Vec<LinkState> {
        self.seen()
            .iter()
            .filter_map(|arrival| match arrival {
                Arrival::Link { name, state, .. } if name == ingest::mqtt::LINK => Some(*state),
                _ => None,
            })
            .collect()
    }

    async fn connected(&self) {
        eventually("the instruments' connection", || {
            self.health.snapshot().connected
        })
        .await;
    }

    async fn end(self) {
        self.stop.cancel();
        self.task.await.expect("an orderly end");
    }
}

/// The publisher with both ends of its queues.
struct Published {
    outlet: Outlet,
    receipts: mpsc::Receiver<Receipt>,
    publisher: Publisher,
    sequence: Arc<AtomicU64>,
    stop: CancellationToken,
}

impl Published {
    fn start(mqtt: Mqtt) -> Self {
        let (outlet, inlet) = Outlet::lanes();
        let (sender, receipts) = mpsc::channel(RECEIPTS_BOUND);
        let sequence = Arc::new(AtomicU64::new(1_000_000));
        let stop = CancellationToken::new();
        let counter = Arc::clone(&sequence);
        let next: Sequence = Arc::new(move || counter.fetch_add(1, Ordering::Relaxed));
        let publisher = publish::mqtt::start(
            &configuration(mqtt),
            inlet,
            sender,
            next,
            Clock::start(None),
            stop.clone(),
        )
        .expect("publishing is on");
        Self {
            outlet,
            receipts,
            publisher,
            sequence,
            stop,
        }
    }

    async fn connected(&self, connections: u64) {
        let health = self.publisher.health.clone();
        eventually("the publisher's connection", || {
            let state = health.borrow();
            state.connected && state.connections >= connections
        })
        .await;
    }
}

/// A row of the outbox as the runtime would make it.
fn row(number: i64) -> Message {
    let occurrence = Output::Occurrence(Occurrence {
        elapsed_s: Some(number as f64),
        event: "test".to_owned(),
        text: "x".repeat(500),
    });
    let stamp = Stamp {
        time: "2026-04-12T08:30:00.250Z".parse().expect("a time"),
        seq: number.unsigned_abs(),
    };
    Message {
        row: Some(number),
        ..Topics::new("north-yard", "tun-1").message(&occurrence, stamp)
    }
}

fn live(topic: &str) -> Message {
    Message {
        row: None,
        topic: topic.to_owned(),
        payload: b"{}".to_vec(),
        quality: Quality::AtMostOnce,
        retain: false,
    }
}

fn online(messages: &[HeardMessage]) -> Vec<bool> {
    messages
        .iter()
        .filter(|message| message.topic == "lauterd/north-yard/tun-1/online")
        .map(|message| message.json()["online"].as_bool().expect("a boolean"))
        .collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn numbers_and_json_arrive_as_readings_and_rubbish_as_a_cause() {
    let Some(broker) = Mosquitto::start().await else {
        return;
    };
    let gateway = broker.listener("gateway", "unused");
    gateway.publish("skid/density", "1099.9", true).await;
    let mut ingest = Ingest::start(broker.settings());
    ingest.connected().await;

    gateway.publish("skid/density", " 1043.2\n", false).await;
    gateway.publish("skid/density", "fault", false).await;
    gateway
        .publish("skid/state", r#"{"flow":61.5,"rake":true}"#, false)
        .await;
    gateway
        .publish("skid/state", r#"{"flow":null,"rake":"off"}"#, false)
        .await;

    eventually("two readings of each", || {
        (0..3).all(|index| ingest.values(index).len() >= 2)
    })
    .await;
    assert_eq!(ingest.values(0), [Ok(1043.2), Err(Cause::BadPayload)]);
    assert_eq!(ingest.values(1), [Ok(61.5), Err(Cause::BadPayload)]);
    assert_eq!(ingest.values(2), [Ok(1.0), Ok(0.0)]);
    assert_eq!(ingest.links(), [LinkState::Up]);

    let state = ingest.health.snapshot();
    assert_eq!(
        state.retained_ignored, 1,
        "the retained 1099.9 is no reading"
    );
    let topic = &state.topics["skid/density"];
    assert_eq!(topic.bad_payloads, 1);
    assert_eq!(
        topic.last_bad.as_ref().map(|bad| bad.excerpt.as_str()),
        Some("fault")
    );
    ingest.end().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn after_a_broker_restart_the_instruments_are_heard_again() {
    let Some(mut broker) = Mosquitto::start().await else {
        return;
    };
    let mut ingest = Ingest::start(broker.settings());
    ingest.connected().await;
    broker.stop();
    eventually("a lost link for each instrument", || {
        (0..3).all(|index| ingest.values(index) == [Err(Cause::LinkLost)])
    })
    .await;
    assert_eq!(ingest.links(), [LinkState::Up, LinkState::Down]);

    broker.resume_from_disk().await;
    ingest.connected().await;
    let gateway = broker.listener("gateway", "unused");
    gateway.publish("skid/density", "1043.2", false).await;
    eventually("a reading after the restart", || {
        ingest.values(0) == [Err(Cause::LinkLost), Ok(1043.2)]
    })
    .await;
    assert_eq!(
        ingest.links(),
        [LinkState::Up, LinkState::Down, LinkState::Up]
    );
    ingest.end().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_password_is_reported_as_unauthorised_by_both_adapters() {
    let Some(broker) = Mosquitto::start().await else {
        return;
    };
    let mut settings = broker.settings();
    settings.password = Some(Secret("battery staple".to_owned()));
    let mut ingest = Ingest::start(settings.clone());
    let published = Published::start(settings);

    let kind = |fault: &lauterd::broker::Fault| fault.kind;
    eventually("the refusal of both", || {
        let of_instruments = ingest.health.snapshot().fault.as_ref().map(kind);
        let of_publisher = published.publisher.health.borrow().fault.as_ref().map(kind);
        [of_instruments, of_publisher] == [Some(FaultKind::Unauthorised); 2]
    })
    .await;
    assert_eq!(ingest.links(), [LinkState::Down]);
    assert_eq!(ingest.values(0), [Err(Cause::LinkLost)]);

    published
        .outlet
        .put(live("lauterd/north-yard/tun-1/runoff"))
        .expect("room");
    let health = published.publisher.health.clone();
    eventually("a live message dropped and counted", || {
        health.borrow().dropped == 1
    })
    .await;
    published.stop.cancel();
    published.publisher.task.await.expect("an orderly end");
    ingest.end().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn two_hundred_rows_survive_a_frozen_killed_and_restarted_broker_in_order() {
    const ROWS: i64 = 200;
    let Some(mut broker) = Mosquitto::start().await else {
        return;
    };
    let listener = broker.listener("historian", "lauterd/north-yard/tun-1/event");
    eventually("the historian's subscription", || listener.ready() == 1).await;
    // An orderly restart writes the historian's session to disk, where the kill cannot reach it.
    broker.stop();
    broker.resume_from_disk().await;
    eventually("the historian's session", || listener.ready() == 2).await;

    let mut published = Published::start(broker.settings());
    published.connected(1).await;
    for number in 1..=60 {
        published.outlet.put(row(number)).expect("room");
    }
    let mut acknowledged = Vec::new();
    while acknowledged.len() < 30 {
        acknowledged.push(published.receipts.recv().await.expect("a receipt"));
    }
    broker.freeze();
    for number in 61..=140 {
        published.outlet.put(row(number)).expect("room");
    }
    let health = published.publisher.health.clone();
    eventually("rows under way to a frozen broker", || {
        health.borrow().in_flight > 10
    })
    .await;
    broker.kill();
    for number in 141..=ROWS {
        published.outlet.put(row(number)).expect("room");
    }
    broker.resume_from_disk().await;

    while acknowledged.len() < ROWS as usize {
        let receipt = tokio::time::timeout(mosquitto::PATIENCE, published.receipts.recv()).await;
        acknowledged.push(receipt.expect("a receipt in time").expect("a receipt"));
    }
    let expected: Vec<_> = (1..=ROWS).map(Receipt::Acknowledged).collect();
    assert_eq!(acknowledged, expected, "each row once and in order");

    let mut first_heard = Vec::new();
    eventually("the last row at the historian", || {
        first_heard.clear();
        for message in listener.messages() {
            let seq = message.json()["seq"].as_i64().expect("a number");
            if !first_heard.contains(&seq) {
                first_heard.push(seq);
            }
        }
        first_heard.len() >= ROWS as usize
    })
    .await;
    assert_eq!(first_heard, (1..=ROWS).collect::<Vec<_>>());

    let state = health.borrow().clone();
    assert!(state.resets >= 1 && state.repeated > 0, "{state:?}");
    assert_eq!((state.acknowledged, state.in_flight), (ROWS as u64, 0));
    published.stop.cancel();
    published.publisher.task.await.expect("an orderly end");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_last_will_speaks_for_a_killed_program_and_online_is_true_again_afterwards() {
    let Some(broker) = Mosquitto::start().await else {
        return;
    };
    let panel = broker.listener("panel", "lauterd/north-yard/tun-1/#");
    eventually("the panel's subscription", || panel.ready() == 1).await;

    let first = Published::start(broker.settings());
    first.connected(1).await;
    first.publisher.task.abort();
    eventually("the last will", || {
        online(&panel.messages()) == [true, false]
    })
    .await;

    let second = Published::start(broker.settings());
    second.sequence.store(2_000_000, Ordering::Relaxed);
    eventually("online again", || {
        online(&panel.messages()) == [true, false, true]
    })
    .await;
    let numbers: Vec<_> = panel
        .messages()
        .iter()
        .take(2)
        .map(|message| message.json()["seq"].as_u64().expect("a number"))
        .collect();
    assert!(
        numbers[0] < numbers[1],
        "a receiver would take the last will for a repeat: {numbers:?}"
    );

    // The state is retained for whoever comes later.
    let late = broker.listener("late", "lauterd/north-yard/tun-1/online");
    eventually("the retained state", || online(&late.messages()) == [true]).await;
    assert!(late.messages()[0].retained);
    second.stop.cancel();
    second.publisher.task.await.expect("an orderly end");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_orderly_end_sends_what_waits_and_says_offline_itself() {
    let Some(broker) = Mosquitto::start().await else {
        return;
    };
    let panel = broker.listener("panel", "lauterd/north-yard/tun-1/#");
    eventually("the panel's subscription", || panel.ready() == 1).await;
    let mut published = Published::start(broker.settings());
    published.connected(1).await;
    for number in 1..=10 {
        published.outlet.put(row(number)).expect("room");
    }
    published.stop.cancel();
    published.publisher.task.await.expect("an orderly end");

    eventually("offline", || online(&panel.messages()) == [true, false]).await;
    let messages = panel.messages();
    let numbers: Vec<_> = messages
        .iter()
        .map(|message| message.json()["seq"].clone())
        .collect();
    // 1 000 000 is `online`, 1 000 001 went into the last will, which nobody has heard.
    let expected: Vec<_> = [1_000_000]
        .into_iter()
        .chain(1..=10)
        .chain([1_000_002])
        .collect();
    assert_eq!(numbers, expected);
    for number in 1..=10 {
        assert_eq!(
            published.receipts.recv().await,
            Some(Receipt::Acknowledged(number))
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_row_no_broker_would_take_is_set_aside_and_the_next_goes_out() {
    let Some(broker) = Mosquitto::start().await else {
        return;
    };
    let mut published = Published::start(broker.settings());
    let impossible = Message {
        topic: "lauterd/#".to_owned(),
        ..row(1)
    };
    let huge = Message {
        payload: vec![b' '; 2 * 1024 * 1024],
        ..row(2)
    };
    for message in [impossible, huge, row(3)] {
        published.outlet.put(message).expect("room");
    }
    for expected in [
        Receipt::Unpublishable(1),
        Receipt::Unpublishable(2),
        Receipt::Acknowledged(3),
    ] {
        assert_eq!(published.receipts.recv().await, Some(expected));
    }
    assert_eq!(published.publisher.health.borrow().unpublishable, 2);
    published.stop.cancel();
    published.publisher.task.await.expect("an orderly end");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_with_a_private_authority_is_trusted_by_its_file_and_not_without() {
    let Some(openssl) = peer("openssl") else {
        return;
    };
    let certificates = tempfile::tempdir().expect("a temporary directory");
    let path = |name: &str| certificates.path().join(name);
    let made = Command::new(openssl)
        .args([
            "req",
            "-x509",
            "-newkey",
            "rsa:2048",
            "-nodes",
            "-days",
            "2",
            "-subj",
            "/CN=localhost",
        ])
        .args([
            "-addext",
            "subjectAltName=DNS:localhost,IP:127.0.0.1",
            "-keyout",
        ])
        .arg(path("key.pem"))
        .arg("-out")
        .arg(path("certificate.pem"))
        .output()
        .expect("openssl runs");
    assert!(
        made.status.success(),
        "{}",
        String::from_utf8_lossy(&made.stderr)
    );
    let tls = format!(
        "certfile {}\nkeyfile {}",
        path("certificate.pem").display(),
        path("key.pem").display()
    );
    let Some(broker) = Mosquitto::start_with(&tls).await else {
        return;
    };
    let mut settings = broker.settings();
    settings.host = "localhost".to_owned();
    settings.tls = true;

    let doubtful = Ingest::start(settings.clone());
    let detail = |ingest: &Ingest| ingest.health.snapshot().fault.map(|fault| fault.detail);
    eventually("a refusal to trust it", || {
        detail(&doubtful).is_some_and(|detail| detail.contains("TLS"))
    })
    .await;
    doubtful.end().await;

    settings.ca_file = Some(path("certificate.pem"));
    let trusting = Ingest::start(settings);
    trusting.connected().await;
    trusting.end().await;
}

//! Publishing: MQTT QoS 1 against its bare library at the same window, line protocol against prepared bytes.
//!
//! Broker and database are the real ones, started here on free ports; one that is not installed is left out and named.
//! "Through the outbox" is the whole promise: rows are committed before they are published and removed when they are
//! acknowledged, both with a flush.

mod paired;

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use jiff::Timestamp;
use lauterd::clock::{Clock, Start};
use lauterd::config;
use lauterd::config::model::{Configuration, Influx};
use lauterd::publish::influx::{DeliveryParameters, Receipt as Delivered, Row, connect};
use lauterd::publish::mqtt::message::{
    IN_FLIGHT, Message, Outlet, Quality, RECEIPTS_BOUND, Receipt,
};
use lauterd::publish::mqtt::{Sequence, start};
use lauterd::store::{Batch, MessageClass, NewMessage, Publisher, Store};
use rumqttc::{AsyncClient, Broker, Event, MqttOptions, Packet, PublishOptions};
use tempfile::TempDir;
use tokio::runtime::Runtime;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use paired::{Case, compare, rate, sized};

const TOPIC: &str = "lauterd/bench/tun-1/event";
const PAYLOAD: &str = r#"{"time":"2026-04-12T08:30:00.250Z","seq":4711,"event":"phase","text":"Phase sparge: runnings have fallen."}"#;
/// Rows of one commit.
const COMMIT: usize = 256;
/// Points of one request.
const POINTS: usize = 500;

fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    listener.local_addr().expect("its address").port()
}

fn one_thread() -> Runtime {
    let mut builder = tokio::runtime::Builder::new_current_thread();
    builder.enable_all().max_blocking_threads(2);
    builder.build().expect("a runtime")
}

/// Another program, ended with the bench.
struct Peer {
    child: Child,
    port: u16,
    _directory: TempDir,
}

impl Drop for Peer {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

impl Peer {
    fn start(name: &str, arguments: impl FnOnce(&Path, u16) -> Vec<String>) -> Option<Self> {
        let directory = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a directory");
        let port = free_port();
        let arguments = arguments(directory.path(), port);
        let places = ["/usr/sbin", "/usr/bin"].map(|place| PathBuf::from(place).join(name));
        let Some(program) = places.into_iter().find(|path| path.exists()) else {
            println!("\n{name} is not installed: left out");
            return None;
        };
        let child = Command::new(program)
            .args(arguments)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("it starts");
        let peer = Self {
            child,
            port,
            _directory: directory,
        };
        let begun = Instant::now();
        while TcpStream::connect(("127.0.0.1", port)).is_err() {
            assert!(
                begun.elapsed() < Duration::from_secs(20),
                "{name} does not answer"
            );
            std::thread::sleep(Duration::from_millis(20));
        }
        Some(peer)
    }

    fn mosquitto() -> Option<Self> {
        Self::start("mosquitto", |directory, port| {
            let file = directory.join("mosquitto.conf");
            let text = format!(
                "listener {port} 127.0.0.1\nallow_anonymous true\nset_tcp_nodelay true\nuser root\n"
            );
            std::fs::write(&file, text).expect("its configuration is written");
            vec!["-c".to_owned(), file.display().to_string()]
        })
    }

    fn victoria_metrics() -> Option<Self> {
        Self::start("victoria-metrics", |directory, port| {
            vec![
                format!("-storageDataPath={}", directory.join("data").display()),
                format!("-httpListenAddr=127.0.0.1:{port}"),
                "-retentionPeriod=100y".to_owned(),
            ]
        })
    }
}

/// The library alone: publishes and waits for the acknowledgements, `IN_FLIGHT` at a time.
async fn bare(port: u16, messages: usize) {
    let mut options = MqttOptions::new("bare", Broker::tcp("127.0.0.1", port));
    options.set_inflight(IN_FLIGHT as u16);
    let (client, mut events) = AsyncClient::builder(options).capacity(IN_FLIGHT).build();
    let publishing = tokio::spawn(async move {
        for _ in 0..messages {
            let published = client.publish(TOPIC, PAYLOAD, PublishOptions::at_least_once());
            published.await.expect("taken");
        }
        client
    });
    let mut acknowledged = 0;
    while acknowledged < messages {
        if let Event::Incoming(Packet::PubAck(_)) = events.poll().await.expect("connected") {
            acknowledged += 1;
        }
    }
    drop(publishing.await);
}

fn configured(port: u16) -> Configuration {
    let directory = tempfile::tempdir().expect("a directory");
    let path = directory.path().join("tun.toml");
    let minimal = concat!(env!("CARGO_MANIFEST_DIR"), "/config/minimal.toml");
    let text = std::fs::read_to_string(minimal).expect("the minimal configuration");
    let text = format!("{text}\n[mqtt]\nhost = \"127.0.0.1\"\nport = {port}\n");
    std::fs::write(&path, text).expect("written");
    config::load_offline(&path).expect("the configuration is right")
}

fn message(row: i64) -> Message {
    Message {
        row: Some(row),
        topic: TOPIC.to_owned(),
        payload: PAYLOAD.into(),
        quality: Quality::AtLeastOnce,
        retain: false,
    }
}

/// The publisher; with a record every row is committed before it is published and removed once it is acknowledged.
async fn published(configuration: &Configuration, record: Option<&Store>, messages: usize) {
    let (outlet, inlet) = Outlet::lanes();
    let (sender, mut receipts) = mpsc::channel(RECEIPTS_BOUND);
    let stop = CancellationToken::new();
    let counter = AtomicU64::new(1);
    let sequence: Sequence = Arc::new(move || counter.fetch_add(1, Ordering::Relaxed));
    let clock = Clock::start(&Start::default());
    let publisher = start(configuration, inlet, sender, sequence, clock, stop.clone());
    let publisher = publisher.expect("publishing is on");
    let feeding = feed(record, &outlet, messages);
    let removing = async {
        let mut come = 0;
        let mut acknowledged = Vec::new();
        while come < messages {
            let mut some = Vec::new();
            come += receipts.recv_many(&mut some, COMMIT).await;
            acknowledged.extend(some.into_iter().map(|receipt| match receipt {
                Receipt::Acknowledged(row) => row,
                Receipt::Unpublishable(row) => panic!("row {row} cannot be published"),
            }));
            if let Some(record) = record
                && (acknowledged.len() >= COMMIT || come == messages)
            {
                let rows = std::mem::take(&mut acknowledged);
                record
                    .run(move |database| database.acknowledge(&rows))
                    .await
                    .expect("removed");
            }
        }
    };
    tokio::join!(feeding, removing);
    stop.cancel();
    publisher.task.await.expect("it ends");
}

async fn feed(record: Option<&Store>, outlet: &Outlet, messages: usize) {
    let tun = match record {
        Some(record) => Some(
            record
                .run(|database| database.tun("bench", "tun-1"))
                .await
                .expect("a tun"),
        ),
        None => None,
    };
    for first in (0..messages).step_by(COMMIT) {
        let count = COMMIT.min(messages - first);
        let rows: Vec<i64> = match (record, tun) {
            (Some(record), Some(tun)) => {
                let mut batch = Batch::new(tun, None);
                batch.messages = (0..count).map(|_| kept()).collect();
                record.append(batch).await.expect("committed").messages
            }
            _ => (0..).take(count).collect(),
        };
        for row in rows {
            outlet
                .put_when_free(message(row))
                .await
                .expect("the publisher runs");
        }
    }
}

fn kept() -> NewMessage {
    NewMessage {
        publisher: Publisher::Mqtt,
        class: MessageClass::Record,
        topic: TOPIC.to_owned(),
        payload: PAYLOAD.to_owned(),
        retain: false,
        created: Timestamp::UNIX_EPOCH,
    }
}

fn mqtt() {
    let Some(broker) = Peer::mosquitto() else {
        return;
    };
    let messages = sized(20_000, 300);
    let configuration = configured(broker.port);
    let directory = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a directory");
    let record = Store::open(directory.path()).expect("a record");
    compare(
        &format!("MQTT QoS 1, {IN_FLIGHT} in flight"),
        "messages/s",
        &mut [
            Case::new("bare library", || {
                rate(messages, || {
                    one_thread().block_on(bare(broker.port, messages));
                })
            }),
            Case::new("publisher", || {
                rate(messages, || {
                    one_thread().block_on(published(&configuration, None, messages));
                })
            }),
            Case::new("publisher through the outbox", || {
                rate(messages, || {
                    one_thread().block_on(published(&configuration, Some(&record), messages));
                })
            }),
        ],
    );
}

fn line(point: usize) -> String {
    let time_ns = 1_776_945_600_000_000_000 + point as u64 * 100_000_000;
    let value = 18.0 - 0.0001 * (point % 1000) as f64;
    format!(
        "reading,instrument=runnings_density,site=bench,status=good,tun=tun-1 value={value},standard_error=0.0123 {time_ns}"
    )
}

/// Requests whose bytes were made before, over one connection.
fn prepared(port: u16, requests: &[Vec<u8>]) {
    let stream = TcpStream::connect(("127.0.0.1", port)).expect("it connects");
    stream.set_nodelay(true).expect("no delay");
    let mut writer = stream.try_clone().expect("a second handle");
    let mut reader = BufReader::new(stream);
    for request in requests {
        writer.write_all(request).expect("written");
        let mut text = String::new();
        reader.read_line(&mut text).expect("answered");
        assert!(text.starts_with("HTTP/1.1 204"), "{text}");
        let mut length = 0;
        while text != "\r\n" {
            text.clear();
            reader.read_line(&mut text).expect("answered");
            if let Some(bytes) = text.to_ascii_lowercase().strip_prefix("content-length:") {
                length = bytes.trim().parse().expect("a length");
            }
        }
        let mut body = vec![0; length];
        reader.read_exact(&mut body).expect("a body");
    }
}

fn request(port: u16, lines: &[String]) -> Vec<u8> {
    let body = lines.join("\n");
    format!(
        "POST /api/v2/write?org=brewery&bucket=lauter&precision=ns HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\
         Content-Length: {}\r\n\r\n{body}",
        body.len()
    )
    .into_bytes()
}

async fn delivered(settings: &Influx, lines: &[String]) {
    let parameters = DeliveryParameters::default();
    let (feed, publisher, mut receipts, _health) = connect(settings, parameters).expect("right");
    let stop = CancellationToken::new();
    let running = tokio::spawn(publisher.run(stop.clone()));
    let feeding = async {
        for (id, line) in (0..).zip(lines) {
            let line = line.clone();
            feed.send(Row { id, line })
                .await
                .expect("the publisher runs");
        }
    };
    let counting = async {
        let mut come = 0;
        while come < lines.len() {
            match receipts.recv().await.expect("a receipt") {
                Delivered::Delivered(rows) => come += rows.len(),
                Delivered::SetAside { reason, .. } => panic!("set aside: {reason}"),
            }
        }
    };
    tokio::join!(feeding, counting);
    stop.cancel();
    running.await.expect("it ends");
}

fn influx() {
    let Some(database) = Peer::victoria_metrics() else {
        return;
    };
    let lines: Vec<String> = (0..sized(40_000, POINTS)).map(line).collect();
    let requests: Vec<Vec<u8>> = lines
        .chunks(POINTS)
        .map(|lines| request(database.port, lines))
        .collect();
    let settings = Influx {
        url: format!("http://127.0.0.1:{}", database.port),
        organisation: "brewery".to_owned(),
        bucket: "lauter".to_owned(),
        token: None,
        timeout: Duration::from_secs(10),
        every: Duration::from_millis(200),
        batch: POINTS,
    };
    compare(
        &format!("Line protocol into victoria-metrics, {POINTS} points a request"),
        "points/s",
        &mut [
            Case::new("limit: prepared bytes", || {
                rate(lines.len(), || prepared(database.port, &requests))
            }),
            Case::new("publisher", || {
                rate(lines.len(), || {
                    one_thread().block_on(delivered(&settings, &lines));
                })
            }),
        ],
    );
}

fn main() {
    mqtt();
    influx();
}

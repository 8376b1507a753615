//! Publishing: MQTT QoS 1 against its bare library, libmosquitto and paho at the same window; line protocol beside it.
//!
//! Broker and database are the real ones, started here on free ports; one that is not installed is left out and named.
//! "Through the outbox" is the whole promise: rows are committed before they are published and removed when they are
//! acknowledged, both with a flush.

mod line_protocol;
mod paired;
mod peers;

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use jiff::Timestamp;
use lauterd::clock::{Clock, Start};
use lauterd::config;
use lauterd::config::model::Configuration;
use lauterd::publish::mqtt::message::{
    IN_FLIGHT, Message, Outlet, Quality, RECEIPTS_BOUND, Receipt,
};
use lauterd::publish::mqtt::{Sequence, start};
use lauterd::store::{Batch, MessageClass, NewMessage, Publisher, Store};
use rumqttc::{AsyncClient, Broker, Event, MqttOptions, Packet, PublishOptions};
use tokio::runtime::Runtime;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use paired::{Case, compare, rate, sized};
use peers::{Client, Server};

const TOPIC: &str = "lauterd/bench/tun-1/event";
const PAYLOAD: &str = r#"{"time":"2026-04-12T08:30:00.250Z","seq":4711,"event":"phase","text":"Phase sparge: runnings have fallen."}"#;
/// Rows of one commit.
const COMMIT: usize = 256;
const BARE: &str = "bare library";

fn one_thread() -> Runtime {
    let mut builder = tokio::runtime::Builder::new_current_thread();
    builder.enable_all().max_blocking_threads(2);
    builder.build().expect("a runtime")
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

/// The peers at the same window: what they are called, the client, and how many of `messages` it is given.
fn clients(messages: usize) -> Vec<(&'static str, Client, usize)> {
    let in_c = Client::in_c("mosquitto_client.c", "libmosquitto");
    let in_python = Client::in_python("paho_client.py", "paho.mqtt");
    in_c.map(|client| ("peer: libmosquitto in C", client, messages))
        .into_iter()
        .chain(in_python.map(|client| ("peer: paho in Python", client, messages / 4)))
        .collect()
}

fn mqtt() {
    let Some(broker) = Server::mosquitto() else {
        return;
    };
    let messages = sized(20_000, 300);
    let configuration = configured(broker.port);
    let directory = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a directory");
    let record = Store::open(directory.path()).expect("a record");
    let (port, window) = (broker.port.to_string(), IN_FLIGHT.to_string());
    let clients = clients(messages);
    let mut cases = vec![
        Case::new(BARE, || {
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
        })
        .beside(BARE, 0.6),
    ];
    for (name, client, messages) in &clients {
        let (port, window) = (port.as_str(), window.as_str());
        let messages = messages.to_string();
        cases.push(Case::new(name, move || {
            client.rate(&[port, &messages, window, TOPIC, PAYLOAD])
        }));
    }
    let title = format!("MQTT QoS 1, {IN_FLIGHT} in flight");
    compare(&title, "messages/s", &mut cases);
}

fn main() {
    mqtt();
    line_protocol::measure();
}

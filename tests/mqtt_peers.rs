//! Both MQTT adapters against a real broker: mosquitto, with users, restarts, a freeze and a kill.

#[allow(dead_code, reason = "shared with the whole-program tests")]
mod mosquitto;

use std::process::Command;
use std::sync::atomic::Ordering;

use lauter_core::reading::Cause;
use lauter_core::supervisor::{LinkState, Occurrence, Output};
use lauterd::broker::{Fault, FaultKind};
use lauterd::config::model::Secret;
use lauterd::publish::mqtt::message::{Message, Quality, Receipt};
use lauterd::publish::mqtt::topics::{Stamp, Topics};
use mosquitto::adapters::{Ingest, Published};
use mosquitto::{HeardMessage, Listener, Mosquitto, eventually, peer};

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
        ..Topics::new("north-yard", "tun-1")
            .message(&occurrence, stamp)
            .expect("a message")
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

/// The sequence numbers of events in the order of their first arrival, once there are `count` of them.
async fn first_heard(listener: &Listener, count: usize) -> Vec<i64> {
    let mut heard = Vec::new();
    eventually("every row at the listener", || {
        heard.clear();
        for message in listener.messages() {
            let seq = message.json()["seq"].as_i64().expect("a number");
            if !heard.contains(&seq) {
                heard.push(seq);
            }
        }
        heard.len() >= count
    })
    .await;
    heard
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

    let kind = |fault: &Fault| fault.kind;
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

    let heard = first_heard(&listener, ROWS as usize).await;
    assert_eq!(heard, (1..=ROWS).collect::<Vec<_>>());

    let state = health.borrow().clone();
    assert!(state.resets >= 1 && state.repeated > 0, "{state:?}");
    assert_eq!((state.acknowledged, state.in_flight), (ROWS as u64, 0));
    published.stop.cancel();
    published.publisher.task.await.expect("an orderly end");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_forgot_what_it_retains_is_given_it_again_as_it_was() {
    let Some(mut broker) = Mosquitto::start().await else {
        return;
    };
    let topic = "lauterd/north-yard/tun-1/alarm/stuck-bed";
    let retained = |number: i64| Message {
        topic: topic.to_owned(),
        retain: true,
        ..row(number)
    };
    let mut published = Published::start(broker.settings());
    published.connected(1).await;
    for number in 1..=2 {
        published.outlet.put(retained(number)).expect("room");
        let receipt = published.receipts.recv().await;
        assert_eq!(receipt, Some(Receipt::Acknowledged(number)));
    }
    // What it retains was not on its disk yet.
    broker.kill();
    broker.resume_from_disk().await;
    published.connected(2).await;
    let late = broker.listener("late", topic);
    eventually("the alarm", || !late.messages().is_empty()).await;
    assert_eq!(late.messages()[0].payload, retained(2).payload);
    published.stop.cancel();
    published.publisher.task.await.expect("an orderly end");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_stops_reading_is_given_up_and_gets_every_row_when_it_thaws() {
    const ROWS: i64 = 80;
    let Some(broker) = Mosquitto::start().await else {
        return;
    };
    let listener = broker.listener("historian", "lauterd/north-yard/tun-1/event");
    eventually("the historian's subscription", || listener.ready() == 1).await;
    let mut published = Published::start(broker.settings());
    published.connected(1).await;
    broker.freeze();
    // More than the sockets' buffers hold, so that writing itself comes to a halt.
    for number in 1..=ROWS {
        let mut large = row(number);
        large.payload.resize(200 * 1024, b' ');
        published.outlet.put(large).expect("room");
    }
    let health = published.publisher.health.clone();
    eventually("the connection given up", || !health.borrow().connected).await;
    broker.thaw();
    let mut receipts = Vec::new();
    while receipts.len() < ROWS as usize {
        let receipt = tokio::time::timeout(mosquitto::PATIENCE, published.receipts.recv()).await;
        receipts.push(receipt.expect("a receipt in time").expect("a receipt"));
    }
    assert_eq!(
        receipts,
        (1..=ROWS).map(Receipt::Acknowledged).collect::<Vec<_>>()
    );
    let heard = first_heard(&listener, ROWS as usize).await;
    assert_eq!(heard, (1..=ROWS).collect::<Vec<_>>());
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

//! Instruments on MQTT, heard by a client of a real broker.

use std::net::SocketAddr;
use std::time::Duration;

use simulators::play;
use simulators::play::capture::Capture;
use simulators::play::configuration::Played;
use simulators::play::recording::Recording;
use simulators::scenario::Mqtt;
use simulators::serve::{self, Options};
use simulators::{Fault, Scenario};
use tokio::net::TcpStream;
use tokio::time::timeout;

const HILL: &str = include_str!("../scenarios/hill-lager.toml");

/// Long enough for a busy machine; only a failure waits for it.
const PATIENCE: Duration = Duration::from_secs(30);

/// A broker on a free port, stopped when dropped.
struct Broker {
    process: std::process::Child,
    port: u16,
}

impl Broker {
    async fn start() -> Self {
        let port = {
            let free = std::net::TcpListener::bind("127.0.0.1:0").expect("a free port");
            free.local_addr().expect("bound").port()
        };
        let path = format!(
            "{}:/usr/sbin:/usr/local/sbin",
            std::env::var("PATH").unwrap_or_default()
        );
        let process = std::process::Command::new("mosquitto")
            .env("PATH", path)
            .args(["-p", &port.to_string()])
            .stderr(std::process::Stdio::null())
            .spawn()
            .expect("this test needs the mosquitto broker installed");
        let broker = Self { process, port };
        let listening = timeout(PATIENCE, async {
            while TcpStream::connect(("127.0.0.1", port)).await.is_err() {
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
        });
        listening.await.expect("the broker listens");
        broker
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

#[tokio::test]
async fn mqtt_instruments_publish_numbers_and_objects_and_fall_silent_with_their_link() {
    let broker = Broker::start().await;
    let mqtt = Mqtt {
        host: "127.0.0.1".to_owned(),
        port: broker.port,
    };
    let options = rumqttc::MqttOptions::new("listener", ("127.0.0.1", broker.port));
    let (listener, mut events) = rumqttc::AsyncClient::builder(options).capacity(10).build();
    listener
        .subscribe("hill/#", rumqttc::QoS::AtMostOnce)
        .await
        .expect("queued");
    let scenario = Scenario::from_toml(HILL).expect("our own scenario");
    let options = Options {
        speed: 60.0,
        modbus_tcp: Some(SocketAddr::from(([127, 0, 0, 1], 0))),
        mqtt: Some(mqtt),
        ..Options::with_seed(1)
    };
    let handle = serve::start(&scenario, options).await.expect("served");
    let heard = timeout(PATIENCE, async {
        let (mut gravity, mut temperature) = (None, None);
        while gravity.is_none() || temperature.is_none() {
            let event = events.poll().await.expect("the broker is there");
            if let rumqttc::Event::Incoming(rumqttc::Packet::Publish(message)) = event {
                let payload =
                    serde_json::from_slice::<serde_json::Value>(&message.payload).expect("JSON");
                if message.topic == "hill/lauter/refractometer" {
                    gravity = Some(payload);
                } else if message.topic == "hill/lauter/temperature" {
                    temperature = payload.as_f64();
                }
            }
        }
        (gravity.expect("heard"), temperature.expect("heard"))
    });
    let (gravity, temperature) = heard.await.expect("both topics");
    let gravity_p = gravity
        .pointer("/gravity/value")
        .and_then(serde_json::Value::as_f64);
    assert!(
        (10.0..18.0).contains(&gravity_p.expect("a number")),
        "{gravity}"
    );
    let time = gravity["time"].as_str().expect("a time");
    time.parse::<jiff::Timestamp>().expect("RFC 3339");
    assert!((150.0..185.0).contains(&temperature), "{temperature} °F");
    let fault = Fault::from_command("drop link mqtt").expect("a command");
    handle.inject(fault).await.expect("a known link");
    let silent = timeout(PATIENCE, async {
        while timeout(Duration::from_millis(700), events.poll())
            .await
            .is_ok()
        {}
    });
    silent.await.expect("no more messages");
    handle.stop().await;
}

/// A client that listens to everything below `hill/`; its loop ends when the client goes.
async fn listening(broker: &Broker) -> (rumqttc::AsyncClient, rumqttc::EventLoop) {
    let options = rumqttc::MqttOptions::new("listener", ("127.0.0.1", broker.port));
    let (listener, mut events) = rumqttc::AsyncClient::builder(options).capacity(10).build();
    listener
        .subscribe("hill/#", rumqttc::QoS::AtMostOnce)
        .await
        .expect("queued");
    let subscribed = timeout(PATIENCE, async {
        loop {
            let event = events.poll().await.expect("the broker is there");
            if matches!(event, rumqttc::Event::Incoming(rumqttc::Packet::SubAck(_))) {
                return;
            }
        }
    });
    subscribed.await.expect("it listens");
    (listener, events)
}

/// Payloads on a topic, in order, until there are enough.
async fn payloads(events: &mut rumqttc::EventLoop, topic: &str, count: usize) -> Vec<Vec<u8>> {
    let mut heard = Vec::new();
    let hearing = timeout(PATIENCE, async {
        while heard.len() < count {
            let event = events.poll().await.expect("the broker is there");
            if let rumqttc::Event::Incoming(rumqttc::Packet::Publish(message)) = event
                && message.topic == topic
            {
                heard.push(message.payload.to_vec());
            }
        }
    });
    hearing.await.expect("all of them");
    heard
}

#[tokio::test]
async fn a_recording_is_published_row_by_row_and_a_capture_byte_by_byte() {
    let broker = Broker::start().await;
    let mqtt = Mqtt {
        host: "127.0.0.1".to_owned(),
        port: broker.port,
    };
    let scenario = Scenario::from_toml(HILL).expect("our own scenario");
    let text = simulators::lauterd_files::configuration(&scenario);
    let played = Played::parse(&text).expect("the configuration");
    let options = play::Options {
        start_after: Duration::from_secs(1),
        mqtt: Some(mqtt),
        ..play::Options::default()
    };
    let rows = "elapsed_s,runnings_ph,runnings_temperature\n0,5.41,166.1\n0.5,5.42,166.2\n1,5.43,166.3\n1.5,,\n2,,\n";

    let (_client, mut events) = listening(&broker).await;
    let recording = Recording::parse(rows).expect("a recording");
    let player = play::start(played.clone(), recording, options.clone())
        .await
        .expect("it plays");
    let temperatures = payloads(&mut events, "hill/lauter/temperature", 3).await;
    assert_eq!(
        temperatures,
        [b"166.1", b"166.2", b"166.3"].map(|t| t.to_vec())
    );
    player.stop().await;

    // A payload that no instrument of ours would send, and that must come out as it was.
    let odd = "{\"capture\":1,\"time\":\"2026-04-12T08:00:00Z\",\"configuration\":\"\"}\n\
               {\"at_s\":0.2,\"link\":\"mqtt\",\"what\":\"message\",\"topic\":\"hill/lauter/ph\",\"bytes\":\"ff00226e6f\",\"retained\":false}\n\
               {\"at_s\":0.4,\"link\":\"mqtt\",\"what\":\"message\",\"topic\":\"hill/lauter/ph\",\"bytes\":\"352c34\",\"retained\":false}\n\
               {\"at_s\":9.0,\"link\":\"cellar\",\"what\":\"opened\"}\n";
    let (_client, mut events) = listening(&broker).await;
    let capture = Capture::parse(odd).expect("a capture");
    let player = play::start_capture(played, capture, options)
        .await
        .expect("it is served");
    let heard = payloads(&mut events, "hill/lauter/ph", 2).await;
    assert_eq!(heard, [vec![0xFF, 0x00, 0x22, 0x6E, 0x6F], b"5,4".to_vec()]);
    player.stop().await;
}

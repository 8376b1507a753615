//! Instruments on MQTT, heard by a client of a real broker.

use std::net::SocketAddr;
use std::time::Duration;

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

//! Points on their way into databases: from the service through the v2 write call into victoria-metrics, and the
//! very same lines into InfluxDB 1.6, whose parser is strict.

use std::sync::{Arc, Mutex};

use lauterd::runtime::Options;
use serde_json::Value;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

use super::brewhouse::{Brewhouse, begin_brew, flowing_at_once, set};
use super::http::{encode, get, request};
use super::mosquitto::eventually;
use super::peer::Peer;

/// A wire with an ear: passes everything on to a server and keeps what clients sent.
pub struct Tap {
    pub port: u16,
    sent: Arc<Mutex<Vec<Vec<u8>>>>,
}

impl Tap {
    pub async fn before(server: u16) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
        let port = listener.local_addr().expect("its address").port();
        let sent = Arc::<Mutex<Vec<Vec<u8>>>>::default();
        let shared = Arc::clone(&sent);
        tokio::spawn(async move {
            while let Ok((client, _)) = listener.accept().await {
                let Ok(server) = TcpStream::connect(("127.0.0.1", server)).await else {
                    continue;
                };
                tokio::spawn(pass(client, server, Arc::clone(&shared)));
            }
        });
        Self { port, sent }
    }

    /// Body of every request, in no order that matters.
    pub fn bodies(&self) -> Vec<String> {
        let sent = self.sent.lock().expect("no panic");
        sent.iter().flat_map(|bytes| bodies(bytes)).collect()
    }
}

async fn pass(client: TcpStream, server: TcpStream, sent: Arc<Mutex<Vec<Vec<u8>>>>) {
    let (mut from_client, mut to_client) = client.into_split();
    let (mut from_server, mut to_server) = server.into_split();
    let index = {
        let mut sent = sent.lock().expect("no panic");
        sent.push(Vec::new());
        sent.len() - 1
    };
    tokio::spawn(async move {
        // Either side may hang up.
        let _ = tokio::io::copy(&mut from_server, &mut to_client).await;
    });
    let mut chunk = vec![0; 64 * 1024];
    while let Ok(length @ 1..) = from_client.read(&mut chunk).await {
        sent.lock().expect("no panic")[index].extend_from_slice(&chunk[..length]);
        if to_server.write_all(&chunk[..length]).await.is_err() {
            return;
        }
    }
}

/// Bodies of the whole requests in what one connection carried.
fn bodies(mut bytes: &[u8]) -> Vec<String> {
    let mut bodies = Vec::new();
    while let Some(end) = bytes.windows(4).position(|four| four == b"\r\n\r\n") {
        let head = String::from_utf8_lossy(&bytes[..end]).to_ascii_lowercase();
        assert!(head.starts_with("post /api/v2/write?"), "{head}");
        let length = head
            .lines()
            .find_map(|line| line.strip_prefix("content-length:"))
            .and_then(|length| length.trim().parse::<usize>().ok())
            .unwrap_or_else(|| panic!("no length in {head}"));
        let Some(body) = bytes.get(end + 4..end + 4 + length) else {
            break;
        };
        bodies.push(String::from_utf8(body.to_vec()).expect("UTF-8"));
        bytes = &bytes[end + 4 + length..];
    }
    bodies
}

/// Series of a metric with its labels and values, also those ahead of the wall clock: the brew runs fast.
async fn series(metrics: &Peer, selector: &str) -> Vec<Value> {
    get(metrics.port, "/internal/force_flush")
        .await
        .expect("flushed");
    let target = format!(
        "/api/v1/export?start=1600000000&end=4000000000&match[]={}",
        encode(selector)
    );
    let answer = get(metrics.port, &target).await.expect("an answer");
    assert_eq!(answer.status, 200, "{}", answer.body);
    let lines = answer.body.lines();
    lines
        .map(|line| serde_json::from_str(line).expect("JSON"))
        .collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn points_arrive_and_a_strict_parser_takes_the_same_lines() {
    let (Some(metrics), Some(strict)) = (Peer::victoria_metrics().await, Peer::influxd().await)
    else {
        return;
    };
    let tap = Tap::before(metrics.port).await;
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 20.0, None).await;
    let site = brewhouse.site();
    let configuration = site.configuration(|table| {
        set(
            table,
            "influx.url",
            format!("http://127.0.0.1:{}", tap.port),
        );
        set(table, "influx.organisation", "harbour");
        set(table, "influx.bucket", "brewhouse");
        set(table, "influx.every_s", 0.5);
        set(table, "alarms.link-lost.on_delay_s", 1.0);
    });
    let options = Options {
        speed: Some(20.0),
        ..Options::default()
    };
    let (service, _) = begin_brew(&site, configuration, options).await;
    let has = |start: &str| tap.bodies().iter().any(|body| body.contains(start));
    eventually("projections", || {
        has("projection,") && has("target_volume_p50_l=")
    })
    .await;
    brewhouse.inject("drop-link").await;
    eventually("an alarm", || has("alarm,alarm=link-lost")).await;
    service.end().await;

    let lines: Vec<String> = tap
        .bodies()
        .iter()
        .flat_map(|body| body.lines().map(str::to_owned).collect::<Vec<_>>())
        .collect();
    println!("{} lines in {} requests", lines.len(), tap.bodies().len());

    for instrument in &brewhouse.handle.scenario().instruments {
        let selector = format!(
            r#"{{__name__="reading_value",site="harbour",tun="tun-1",instrument="{}"}}"#,
            instrument.id
        );
        let found = series(&metrics, &selector).await;
        assert!(!found.is_empty(), "no series of {}", instrument.id);
    }
    for name in [
        "runoff_kettle_volume_l",
        "projection_target_volume_p50_l",
        "alarm_elapsed_s",
    ] {
        let found = series(&metrics, &format!(r#"{{__name__="{name}"}}"#)).await;
        assert!(!found.is_empty(), "no series {name}");
    }

    for body in tap.bodies() {
        let written = request(
            strict.port,
            "POST",
            "/write?db=lauter&precision=ns",
            ("text/plain", &body),
        )
        .await
        .expect("an answer");
        assert_eq!(written.status, 204, "{}\n{body}", written.body);
    }
    for (measurement, field) in [
        ("runoff", "elapsed_s"),
        ("projection", "elapsed_s"),
        ("alarm", "message"),
    ] {
        let query = format!("SELECT COUNT({field}) FROM {measurement}");
        let answer = strict.query("GET", &query).await.json();
        let count = answer.pointer("/results/0/series/0/values/0/1");
        let count = count.and_then(Value::as_u64);
        let start = format!("{measurement},");
        let mut sent: Vec<&String> = lines
            .iter()
            .filter(|line| line.starts_with(&start))
            .collect();
        sent.sort();
        // A batch that was sent twice is there once.
        sent.dedup();
        assert_eq!(count, Some(sent.len() as u64), "{measurement}: {answer}");
    }
}

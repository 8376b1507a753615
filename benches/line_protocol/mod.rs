//! Line protocol into victoria-metrics, against requests whose bytes were made before.
//!
//! Both are timed from the first answer on: a service connects once and delivers for months.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use lauterd::config::model::Influx;
use lauterd::publish::influx::{DeliveryParameters, Receipt as Delivered, Row, connect};
use tokio_util::sync::CancellationToken;

use crate::paired::{Case, compare, sized};
use crate::peers::Server;

/// Points of one request.
const POINTS: usize = 500;
/// How often the points go in one round: more of them would be read from memory instead of the cache, and lines in service
/// have just been made.
const TIMES: usize = 10;
const PREPARED: &str = "limit: prepared bytes";

fn line(point: usize) -> String {
    let time_ns = 1_776_945_600_000_000_000 + point as u64 * 100_000_000;
    let value = 18.0 - 0.0001 * (point % 1000) as f64;
    format!(
        "reading,instrument=runnings_density,site=bench,status=good,tun=tun-1 value={value},standard_error=0.0123 {time_ns}"
    )
}

/// Points a second from the first answer to the last.
fn points_s(points: usize, first_answer: Option<Instant>) -> f64 {
    let elapsed = first_answer.expect("an answer").elapsed();
    (points - POINTS) as f64 / elapsed.as_secs_f64()
}

/// Requests whose bytes were made before, over one connection.
fn prepared(port: u16, requests: &[Vec<u8>]) -> f64 {
    let mut first_answer = None;
    let stream = TcpStream::connect(("127.0.0.1", port)).expect("it connects");
    stream.set_nodelay(true).expect("no delay");
    let mut writer = stream.try_clone().expect("a second handle");
    let mut reader = BufReader::new(stream);
    for request in requests.iter().cycle().take(TIMES * requests.len()) {
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
        first_answer.get_or_insert_with(Instant::now);
    }
    points_s(TIMES * POINTS * requests.len(), first_answer)
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

async fn delivered(settings: &Influx, lines: &[String]) -> f64 {
    let points = TIMES * lines.len();
    let parameters = DeliveryParameters::default();
    let (feed, publisher, mut receipts, _health) = connect(settings, parameters).expect("right");
    let stop = CancellationToken::new();
    let running = tokio::spawn(publisher.run(stop.clone()));
    let row = |point: usize| Row {
        id: i64::try_from(point).expect("an id"),
        line: &lines[point % lines.len()],
    };
    let mut first_answer = None;
    let (mut put, mut come) = (0, 0);
    while come < points {
        // As from the outbox: as many as there is room for, the others when some have gone.
        put += feed.put((put..points).map(row));
        match receipts.recv().await.expect("a receipt") {
            Delivered::Delivered(rows) => come += rows.len(),
            Delivered::SetAside { reason, .. } => panic!("set aside: {reason}"),
        }
        first_answer.get_or_insert_with(Instant::now);
    }
    let rate = points_s(points, first_answer);
    stop.cancel();
    running.await.expect("it ends");
    rate
}

pub fn measure() {
    let Some(database) = Server::victoria_metrics() else {
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
            Case::new(PREPARED, || prepared(database.port, &requests)),
            Case::new("publisher", || {
                crate::one_thread().block_on(delivered(&settings, &lines))
            })
            .beside(PREPARED, 0.8),
        ],
    );
}

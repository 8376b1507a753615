//! A server that answers as a test tells it.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use lauterd::config::model::{Influx, Secret};
use lauterd::publish::influx::{DeliveryParameters, Feed, Health, Receipt, Row, connect};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{mpsc, watch};
use tokio_util::sync::{CancellationToken, DropGuard};

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Request {
    /// Request line and headers.
    pub head: String,
    /// The body's lines.
    pub lines: Vec<String>,
}

#[derive(Clone, Debug)]
pub enum Reply {
    Status(u16, &'static str),
    /// A status with an extra header.
    Header(u16, &'static str),
    /// Take the request and never answer.
    Stall,
    /// Take the request and hang up.
    HangUp,
}

pub struct Server {
    pub url: String,
    requests: Arc<Mutex<Vec<Request>>>,
    _stop: DropGuard,
}

impl Server {
    /// `script` gets the number of the request (0 first) and its lines.
    pub async fn start(script: impl Fn(usize, &[String]) -> Reply + Send + Sync + 'static) -> Self {
        let listener = TcpListener::bind(("127.0.0.1", 0)).await.unwrap();
        let url = format!("http://{}", listener.local_addr().unwrap());
        let requests = Arc::new(Mutex::new(Vec::new()));
        let stop = CancellationToken::new();
        let script = Arc::new(script);
        let (seen, stopped) = (Arc::clone(&requests), stop.clone());
        tokio::spawn(stop.clone().run_until_cancelled_owned(async move {
            while let Ok((stream, _)) = listener.accept().await {
                let (seen, script) = (Arc::clone(&seen), Arc::clone(&script));
                let answer = answer(stream, seen, script);
                tokio::spawn(stopped.clone().run_until_cancelled_owned(answer));
            }
        }));
        Self {
            url,
            requests,
            _stop: stop.drop_guard(),
        }
    }

    pub fn requests(&self) -> Vec<Request> {
        self.requests.lock().unwrap().clone()
    }
}

async fn answer(
    mut stream: TcpStream,
    seen: Arc<Mutex<Vec<Request>>>,
    script: Arc<impl Fn(usize, &[String]) -> Reply>,
) {
    let Some(request) = read(&mut stream).await else {
        return;
    };
    let reply = {
        let mut seen = seen.lock().unwrap();
        let reply = script(seen.len(), &request.lines);
        seen.push(request);
        reply
    };
    let (status, header, body) = match reply {
        Reply::Status(status, body) => (status, "X-None: 0", body),
        Reply::Header(status, header) => (status, header, ""),
        Reply::HangUp => return,
        Reply::Stall => std::future::pending().await,
    };
    let length = body.len();
    let text = format!(
        "HTTP/1.1 {status} Scripted\r\n{header}\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n{body}"
    );
    // The publisher may have given up on it.
    let _ = stream.write_all(text.as_bytes()).await;
}

async fn read(stream: &mut TcpStream) -> Option<Request> {
    let mut bytes = Vec::new();
    loop {
        let mut buffer = [0; 4096];
        let count = stream.read(&mut buffer).await.ok()?;
        if count == 0 {
            return None;
        }
        bytes.extend_from_slice(&buffer[..count]);
        let text = String::from_utf8_lossy(&bytes);
        let Some((head, body)) = text.split_once("\r\n\r\n") else {
            continue;
        };
        let length: usize = head
            .lines()
            .find_map(|line| {
                let line = line.to_ascii_lowercase();
                line.strip_prefix("content-length: ")?.parse().ok()
            })
            .expect("the publisher sends whole bodies");
        if body.len() >= length {
            return Some(Request {
                head: head.to_owned(),
                lines: body.lines().map(str::to_owned).collect(),
            });
        }
    }
}

/// A publisher at work, with short waits.
pub struct Delivery {
    pub feed: Feed,
    pub acknowledged: mpsc::Receiver<Receipt>,
    pub health: watch::Receiver<Health>,
    _stop: DropGuard,
}

pub fn settings(url: &str) -> Influx {
    Influx {
        url: url.to_owned(),
        organisation: "north yard".to_owned(),
        bucket: "lauter".to_owned(),
        token: Some(Secret("hops-and-malt".to_owned())),
        timeout: Duration::from_secs(20),
        every: Duration::from_millis(50),
        batch: 100,
    }
}

impl Delivery {
    pub fn start(settings: &Influx) -> Self {
        let parameters = DeliveryParameters {
            first_wait: Duration::from_millis(10),
            longest_wait: Duration::from_millis(50),
            throttled_wait: Duration::from_millis(10),
            refused_wait: Duration::from_millis(10),
            ..DeliveryParameters::default()
        };
        let (feed, publisher, acknowledged, health) = connect(settings, parameters).unwrap();
        let stop = CancellationToken::new();
        tokio::spawn(publisher.run(stop.clone()));
        Self {
            feed,
            acknowledged,
            health,
            _stop: stop.drop_guard(),
        }
    }

    /// Rows 1 to `count`, with value = id.
    pub fn feed(&self, count: i64) {
        for id in 1..=count {
            let line = format!("reading,instrument=flow value={id} {id}");
            assert_eq!(self.feed.put([Row { id, line: &line }]), 1);
        }
    }

    /// Waits until this many ids have come back, and gives them sorted.
    pub async fn acknowledged(&mut self, count: usize) -> Vec<i64> {
        let mut ids = Vec::new();
        while ids.len() < count {
            match self.acknowledged.recv().await.expect("the publisher runs") {
                Receipt::Delivered(delivered) => ids.extend(delivered),
                Receipt::SetAside { id, reason } => {
                    assert_ne!(reason, "");
                    ids.push(id);
                }
            }
        }
        ids.sort_unstable();
        ids
    }

    pub async fn health(&mut self, wanted: impl FnMut(&Health) -> bool) -> Health {
        self.health.wait_for(wanted).await.unwrap().clone()
    }
}

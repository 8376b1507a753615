//! The state over HTTP: asked for over one kept connection, and sent as events to many listeners.
//!
//! The service runs as a program of its own, with ten instruments once a second and a brew under way; the state changes with
//! the watch's grid, once a second. Its processor time is what Linux says, that of the service without listeners taken off.
//! The peer is the bare library, axum, which answers with the same bytes and sends them as often. Run it pinned to one core, as benches/all does.

mod outside;
mod paired;

use std::cell::RefCell;
use std::convert::Infallible;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use axum::Router;
use axum::http::header::CONTENT_TYPE;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::routing::get;
use axum::serve::ListenerExt;
use futures::stream::unfold;
use tokio::io::{AsyncBufReadExt, AsyncWriteExt};
use tokio::net::TcpSocket;
use tokio::runtime::Runtime;
use tokio::sync::watch;

use outside::{Service, ran_s};
use paired::{Case, Limit, compare, figure, figure_beside, median, ratio, sized};

const STATE: &str = "/api/v1/tuns/bench/tun-1";
const EVENTS: &str = "/api/v1/tuns/bench/tun-1/events";
/// The service keeps no more than 96 streams, 72 of them of one address.
const LISTENERS: [usize; 3] = [1, 20, 96];
const OF_ADDRESS: usize = 48;
const WITH_LOOK: &str = "with the look that all listeners share";
const SERVICE: &str = "the service";
const BARE: &str = "peer: bare axum, the same bytes";

fn one_thread() -> Runtime {
    let mut builder = tokio::runtime::Builder::new_current_thread();
    builder.enable_all().build().expect("a runtime")
}

/// One kept connection.
struct Asking {
    reader: BufReader<TcpStream>,
    request: String,
}

impl Asking {
    fn of(port: u16, path: &str) -> Self {
        let stream = TcpStream::connect(("127.0.0.1", port)).expect("it connects");
        stream.set_nodelay(true).expect("no delay");
        Self {
            reader: BufReader::new(stream),
            request: format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n"),
        }
    }

    fn ask(&mut self) -> Vec<u8> {
        let request = self.request.as_bytes();
        self.reader.get_mut().write_all(request).expect("written");
        let (mut line, mut length) = (String::new(), None);
        self.reader.read_line(&mut line).expect("answered");
        assert!(line.starts_with("HTTP/1.1 200"), "{line}");
        while line != "\r\n" {
            line.clear();
            self.reader.read_line(&mut line).expect("answered");
            if let Some(bytes) = line.to_ascii_lowercase().strip_prefix("content-length:") {
                length = bytes.trim().parse().ok();
            }
        }
        let mut body = vec![0; length.expect("a length")];
        self.reader.read_exact(&mut body).expect("a body");
        body
    }
}

/// The library alone, on a thread of its own.
struct Bare {
    port: u16,
    schedstat: PathBuf,
}

impl Bare {
    /// It answers with `body`, and sends it as an event every so often.
    fn started(body: String, every: Duration) -> Self {
        let (sender, receiver) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            let thread = std::fs::read_link("/proc/thread-self").expect("Linux");
            one_thread().block_on(async {
                let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await;
                let listener = listener.expect("a free port");
                let port = listener.local_addr().expect("its address").port();
                let schedstat = PathBuf::from("/proc").join(thread).join("schedstat");
                sender
                    .send(Self { port, schedstat })
                    .expect("it is waited for");
                let listener =
                    listener.tap_io(|stream| stream.set_nodelay(true).expect("no delay"));
                axum::serve(listener, bare(body, every))
                    .await
                    .expect("it serves");
            });
        });
        receiver.recv().expect("it starts")
    }

    fn processor_s(&self) -> f64 {
        ran_s(self.schedstat.clone())
    }
}

fn bare(body: String, every: Duration) -> Router {
    let (sender, looks) = watch::channel(Arc::new(body.clone()));
    tokio::spawn(async move {
        let mut clock = tokio::time::interval(every);
        loop {
            clock.tick().await;
            sender.send_modify(|_| ());
        }
    });
    let state = move || {
        let body = body.clone();
        async move { ([(CONTENT_TYPE, "application/json")], body) }
    };
    let events = move || {
        let looks = looks.clone();
        async move {
            let stream = unfold(looks, |mut looks| async move {
                looks.changed().await.ok()?;
                let text = Arc::clone(&looks.borrow_and_update());
                let event = Event::default().event("state").data(text.as_str());
                Some((Ok::<_, Infallible>(event), looks))
            });
            Sse::new(stream).keep_alive(KeepAlive::new())
        }
    };
    Router::new()
        .route(STATE, get(state))
        .route(EVENTS, get(events))
}

/// Asks `count` times, gives the rate and adds the processor time of an answer, µs.
fn asked(port: u16, count: usize, ran: &dyn Fn() -> f64, spent: &RefCell<Vec<f64>>) -> f64 {
    let mut asking = Asking::of(port, STATE);
    asking.ask();
    let before_s = ran();
    let rate = paired::rate(count, || {
        for _ in 0..count {
            asking.ask();
        }
    });
    spent
        .borrow_mut()
        .push(1e6 * (ran() - before_s) / count as f64);
    rate
}

fn state(service: &Service) {
    let body = String::from_utf8(Asking::of(service.port, STATE).ask()).expect("text");
    let title = format!("State over one kept connection, {} bytes", body.len());
    let bare = Bare::started(body, Duration::from_secs(1));
    let count = sized(10_000, 50);
    let (of_bare, of_service) = (RefCell::default(), RefCell::default());
    compare(
        &title,
        "answers/s",
        &mut [
            Case::new(BARE, || {
                asked(bare.port, count, &|| bare.processor_s(), &of_bare)
            }),
            Case::new(SERVICE, || {
                asked(service.port, count, &|| service.processor_s(), &of_service)
            }),
        ],
    );
    let (of_bare, of_service) = (of_bare.into_inner(), of_service.into_inner());
    let name = "processor time of the service, an answer";
    let ratio = ratio(&of_service, &of_bare);
    figure_beside(name, median(of_service), 1, "µs", (ratio, BARE));
}

/// Reads one stream and counts its events.
async fn listen(port: u16, index: usize, come: Arc<AtomicUsize>) {
    let socket = TcpSocket::new_v4().expect("a socket");
    // Everything from 127.0.0.1 to 127.255.255.254 is this machine.
    let own = SocketAddr::from(([127, 0, 0, 1 + (index / OF_ADDRESS) as u8], 0));
    socket.bind(own).expect("an address of this machine");
    let server = SocketAddr::from(([127, 0, 0, 1], port));
    let mut stream = socket.connect(server).await.expect("it connects");
    let request = format!("GET {EVENTS} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n");
    stream.write_all(request.as_bytes()).await.expect("written");
    let mut lines = tokio::io::BufReader::new(stream).lines();
    let status = lines.next_line().await.expect("answered");
    let status = status.expect("an answer");
    assert!(status.starts_with("HTTP/1.1 200"), "{status}");
    while let Some(line) = lines.next_line().await.expect("the stream goes on") {
        if line.starts_with("event:") {
            come.fetch_add(1, Ordering::Relaxed);
        }
    }
}

/// Events a second in all, and processor time of the server a second, with so many listeners.
fn listened(port: u16, listeners: usize, seconds: f64, ran: &dyn Fn() -> f64) -> (f64, f64) {
    one_thread().block_on(async {
        let come = Arc::new(AtomicUsize::new(0));
        for index in 0..listeners {
            tokio::spawn(listen(port, index, Arc::clone(&come)));
        }
        tokio::time::sleep(Duration::from_secs(1)).await;
        let (before, before_s) = (come.load(Ordering::Relaxed), ran());
        let begun = Instant::now();
        tokio::time::sleep(Duration::from_secs_f64(seconds)).await;
        let took_s = begun.elapsed().as_secs_f64();
        let events = come.load(Ordering::Relaxed) - before;
        (events as f64 / took_s, (ran() - before_s) / took_s)
    })
}

fn fan_out(service: &Service) {
    let seconds = sized(20, 1) as f64;
    println!("\nThe state as events, ten instruments once a second");
    let ran = || service.processor_s();
    let (_, idle) = listened(service.port, 0, seconds, &ran);
    let body = String::from_utf8(Asking::of(service.port, STATE).ask()).expect("text");
    for listeners in LISTENERS {
        let (events, spent) = listened(service.port, listeners, seconds, &ran);
        let each = events / listeners as f64;
        assert!(each > 0.0, "events come");
        let bare = Bare::started(body.clone(), Duration::from_secs_f64(1.0 / each));
        let of_bare = || bare.processor_s();
        let (_, bare_idle) = listened(bare.port, 0, 1.0, &of_bare);
        let (bare_events, bare_spent) = listened(bare.port, listeners, seconds, &of_bare);
        let own_us = 1e6 * (spent - idle) / events;
        let bare_us = 1e6 * (bare_spent - bare_idle) / bare_events;
        let delivered = format!("{listeners} listeners: events delivered in all");
        figure(&delivered, events, 1, "/s", Limit::Counted("counted"));
        let name = format!("{listeners} listeners: processor time, an event and listener");
        if listeners == 1 {
            // A small difference of two: a ratio would be noise.
            figure(&name, own_us, 1, "µs", Limit::Counted(WITH_LOOK));
        } else {
            figure_beside(&name, own_us, 1, "µs", (own_us / bare_us, BARE));
        }
    }
}

fn main() {
    let service = Service::started();
    state(&service);
    fan_out(&service);
}

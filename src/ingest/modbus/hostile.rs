//! Links against devices that misbehave.
//!
//! Each test scripts a device by what it does with each request; the links run as in the service, with
//! shorter pauses. Waits end when the awaited thing happens; their limits only keep a broken build from
//! hanging.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use lauter_core::reading::{Cause, Reading, Status};
use lauter_core::supervisor::LinkState;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::mpsc::Receiver;
use tokio_util::sync::CancellationToken;

use super::testing::{crc_16_modbus, instruments, link, register};
use super::{LinkFigures, Parameters, Polling, start_links};
use crate::clock::Clock;
use crate::config::model::{ModbusPoint, Parity, Table, Transport};
use crate::ingest::{Arrival, Intake};

const PATIENCE: Duration = Duration::from_secs(30);

fn quick() -> Parameters {
    Parameters {
        backoff_first: Duration::from_millis(5),
        backoff_most: Duration::from_millis(20),
        rest_first: Duration::from_millis(200),
        rest_most: Duration::from_millis(400),
        ..Parameters::default()
    }
}

/// A request as a device sees it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Asked {
    transaction: u16,
    unit_id: u8,
    function: u8,
    address: u16,
    quantity: u16,
}

impl Asked {
    fn from_pdu(transaction: u16, unit_and_pdu: &[u8]) -> Self {
        let word = |at: usize| u16::from_be_bytes([unit_and_pdu[at], unit_and_pdu[at + 1]]);
        Self {
            transaction,
            unit_id: unit_and_pdu[0],
            function: unit_and_pdu[1],
            address: word(2),
            quantity: word(4),
        }
    }

    async fn receive_tcp(stream: &mut TcpStream) -> Option<Self> {
        let mut frame = [0; 12];
        stream.read_exact(&mut frame).await.ok()?;
        Some(Self::from_pdu(
            u16::from_be_bytes([frame[0], frame[1]]),
            &frame[6..],
        ))
    }

    async fn receive_rtu<S: AsyncRead + Unpin>(stream: &mut S) -> Option<Self> {
        let mut frame = [0; 8];
        stream.read_exact(&mut frame).await.ok()?;
        let (body, crc) = frame.split_at(6);
        assert_eq!(crc, crc_16_modbus(body).to_le_bytes());
        Some(Self::from_pdu(0, body))
    }

    /// Unit, function and as many registers as were asked for, each holding its own address plus 1000.
    fn honest_body(self) -> Vec<u8> {
        let mut body = vec![self.unit_id, self.function, 2 * self.quantity as u8];
        body.extend((0..self.quantity).flat_map(|n| (1000 + self.address + n).to_be_bytes()));
        body
    }

    fn exception_body(self, code: u8) -> Vec<u8> {
        vec![self.unit_id, self.function | 0x80, code]
    }

    fn tcp(self, body: &[u8]) -> Vec<u8> {
        let mut frame = self.transaction.to_be_bytes().to_vec();
        frame.extend([0, 0, 0, body.len() as u8]);
        frame.extend(body);
        frame
    }
}

fn rtu(body: &[u8]) -> Vec<u8> {
    let mut frame = body.to_vec();
    frame.extend(crc_16_modbus(body).to_le_bytes());
    frame
}

/// What a scripted device does with a request.
enum Act {
    Send(Vec<u8>),
    Ignore,
    Close,
}

/// Serves one connection after another on `listener`; every request goes through `script`, which is also
/// told how many requests came before it.
fn serve(
    listener: TcpListener,
    script: impl Fn(usize, Asked) -> Act + Send + Sync + 'static,
) -> Arc<Mutex<Vec<Asked>>> {
    let log: Arc<Mutex<Vec<Asked>>> = Arc::default();
    let (script, seen) = (Arc::new(script), Arc::clone(&log));
    tokio::spawn(async move {
        while let Ok((mut stream, _)) = listener.accept().await {
            let (script, seen) = (Arc::clone(&script), Arc::clone(&seen));
            tokio::spawn(async move {
                while let Some(asked) = Asked::receive_tcp(&mut stream).await {
                    let before = {
                        let mut seen = seen.lock().unwrap();
                        seen.push(asked);
                        seen.len() - 1
                    };
                    match script(before, asked) {
                        Act::Send(frame) => stream.write_all(&frame).await.unwrap_or(()),
                        Act::Ignore => {}
                        Act::Close => return,
                    }
                }
            });
        }
    });
    log
}

async fn listener() -> (TcpListener, String) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap().to_string();
    (listener, address)
}

/// One running link and everything it has handed over so far.
struct Watched {
    polling: Polling,
    arrivals: Receiver<Arrival>,
    seen: Vec<Arrival>,
    stop: CancellationToken,
}

impl Watched {
    fn start(transport: Transport, timeout_ms: u64, points: Vec<ModbusPoint>) -> Self {
        let (intake, arrivals) = Intake::channel();
        let stop = CancellationToken::new();
        let polling = start_links(
            &[link(transport, timeout_ms)],
            &instruments(points),
            &intake,
            Clock::start(None),
            quick(),
            &stop,
        );
        Self {
            polling,
            arrivals,
            seen: Vec::new(),
            stop,
        }
    }

    /// With a timeout that a loaded machine does not reach.
    fn tcp(address: &str, points: Vec<ModbusPoint>) -> Self {
        Self::tcp_within(address, 10_000, points)
    }

    fn tcp_within(address: &str, timeout_ms: u64, points: Vec<ModbusPoint>) -> Self {
        Self::start(Transport::Tcp(address.to_owned()), timeout_ms, points)
    }

    async fn next(&mut self) -> Arrival {
        let arrival = tokio::time::timeout(PATIENCE, self.arrivals.recv())
            .await
            .unwrap_or_else(|_| panic!("nothing arrived; so far {:?}", self.seen))
            .unwrap();
        self.seen.push(arrival.clone());
        arrival
    }

    async fn until(&mut self, wanted: impl Fn(&Arrival) -> bool) -> Arrival {
        loop {
            let arrival = self.next().await;
            if wanted(&arrival) {
                return arrival;
            }
        }
    }

    async fn until_value(&mut self, instrument: usize, value: f64) {
        self.until(|arrival| is_value(arrival, instrument, value))
            .await;
    }

    async fn until_cause(&mut self, instrument: usize, cause: Cause) -> Reading {
        let wanted = |arrival: &Arrival| {
            reading_of(arrival, instrument).is_some_and(|reading| reading.value == Err(cause))
        };
        match self.until(wanted).await {
            Arrival::Reading { reading, .. } => reading,
            Arrival::Link { .. } => unreachable!("a reading was asked for"),
        }
    }

    async fn until_link(&mut self, wanted: LinkState) -> String {
        let is_wanted = |a: &Arrival| matches!(a, Arrival::Link { state, .. } if *state == wanted);
        match self.until(is_wanted).await {
            Arrival::Link { detail, .. } => detail,
            Arrival::Reading { .. } => unreachable!("a link state was asked for"),
        }
    }

    /// Waits until `count` more readings have come.
    async fn readings(&mut self, count: usize) {
        for _ in 0..count {
            self.until(|arrival| matches!(arrival, Arrival::Reading { .. }))
                .await;
        }
    }

    fn count(&self, wanted: impl Fn(&Arrival) -> bool) -> usize {
        self.seen.iter().filter(|arrival| wanted(arrival)).count()
    }

    fn figures(&self) -> LinkFigures {
        self.polling.links[0].figures()
    }

    /// Every number that came for an instrument of `register(_, address)` was that register's own.
    fn assert_only_own_values(&self, addresses: &[u16]) {
        for (instrument, address) in addresses.iter().enumerate() {
            for arrival in &self.seen {
                if let Some(Ok(value)) = reading_of(arrival, instrument).map(|r| r.value) {
                    let own = f64::from(1000 + address).to_bits();
                    assert_eq!(value.to_bits(), own, "a foreign value: {arrival:?}");
                }
            }
        }
    }

    async fn stop(self) {
        self.stop.cancel();
        for task in self.polling.tasks {
            tokio::time::timeout(PATIENCE, task).await.unwrap().unwrap();
        }
    }
}

fn reading_of(arrival: &Arrival, wanted: usize) -> Option<Reading> {
    match arrival {
        Arrival::Reading {
            instrument,
            reading,
        } if *instrument == wanted => Some(*reading),
        _ => None,
    }
}

fn is_value(arrival: &Arrival, instrument: usize, value: f64) -> bool {
    reading_of(arrival, instrument).is_some_and(|reading| reading.value == Ok(value))
}

fn is_down(arrival: &Arrival) -> bool {
    matches!(
        arrival,
        Arrival::Link {
            state: LinkState::Down,
            ..
        }
    )
}

#[tokio::test]
async fn an_honest_device_is_read_with_functions_01_to_04_only() {
    let (listener, address) = listener().await;
    let log = serve(listener, |_, asked| {
        let body = if asked.function <= 2 {
            vec![asked.unit_id, asked.function, 1, 0x01]
        } else {
            asked.honest_body()
        };
        Act::Send(asked.tcp(&body))
    });
    let tables = [Table::Input, Table::Holding, Table::Discrete, Table::Coil];
    let points = tables
        .map(|table| ModbusPoint {
            table,
            ..register(1, 5)
        })
        .to_vec();
    let mut watched = Watched::tcp(&address, points);
    watched.until_link(LinkState::Up).await;
    for (instrument, value) in [1005.0, 1005.0, 1.0, 1.0].into_iter().enumerate() {
        watched.until_value(instrument, value).await;
    }
    watched.readings(20).await;
    assert_eq!(watched.count(is_down), 0);
    let mut functions: Vec<u8> = log.lock().unwrap().iter().map(|a| a.function).collect();
    functions.sort_unstable();
    functions.dedup();
    assert_eq!(functions, [1, 2, 3, 4]);
    let figures = watched.figures();
    assert_eq!(figures.state, Some(LinkState::Up));
    assert_eq!(
        (figures.timeouts, figures.faults, figures.reconnects),
        (0, 0, 0)
    );
    watched.stop().await;
}

#[tokio::test]
async fn a_bad_address_in_a_merged_read_does_not_cost_its_neighbours() {
    let (listener, address) = listener().await;
    let log = serve(listener, |_, asked| {
        let covers_bad = (asked.address..asked.address + asked.quantity).contains(&101);
        Act::Send(if covers_bad {
            asked.tcp(&asked.exception_body(0x02))
        } else {
            asked.tcp(&asked.honest_body())
        })
    });
    let addresses = [100, 101, 102];
    let points = addresses.map(|address| register(1, address)).to_vec();
    let mut watched = Watched::tcp(&address, points);
    watched.until_value(0, 1100.0).await;
    watched.until_value(2, 1102.0).await;
    let refused = watched.until_cause(1, Cause::DeviceError).await;
    assert_eq!(refused.status, Status::Failure);
    watched.readings(15).await;
    let merged = log
        .lock()
        .unwrap()
        .iter()
        .filter(|a| a.quantity == 3)
        .count();
    assert_eq!(merged, 1, "the split is remembered");
    assert_eq!(watched.count(is_down), 0);
    assert_eq!(
        watched.figures().reconnects,
        0,
        "an exception keeps the connection"
    );
    watched.stop().await;
}

#[tokio::test]
async fn a_short_reply_breaks_the_connection_and_gives_no_value() {
    let (listener, address) = listener().await;
    serve(listener, |before, asked| {
        let mut body = asked.honest_body();
        if before < 3 {
            body.truncate(body.len() - 2);
            body[2] -= 2;
        }
        Act::Send(asked.tcp(&body))
    });
    let mut watched = Watched::tcp(&address, vec![register(1, 10), register(1, 11)]);
    watched.until_cause(0, Cause::LinkLost).await;
    watched.until_cause(1, Cause::LinkLost).await;
    let detail = watched.until_link(LinkState::Down).await;
    assert!(
        detail.contains(&address) && detail.contains("10 to 11"),
        "{detail}"
    );
    watched.until_link(LinkState::Up).await;
    watched.until_value(1, 1011.0).await;
    watched.assert_only_own_values(&[10, 11]);
    assert_eq!(watched.figures().faults, 3);
    assert_eq!(watched.figures().reconnects, 3);
    watched.stop().await;
}

#[tokio::test]
async fn wrong_functions_units_transactions_and_garbage_are_never_values() {
    let (listener, address) = listener().await;
    serve(listener, |before, asked| {
        let honest = asked.honest_body();
        Act::Send(match before {
            0 => asked.tcp(&[&[asked.unit_id, 0x03], &honest[2..]].concat()),
            1 => asked.tcp(&[&[asked.unit_id + 1], &honest[1..]].concat()),
            2 => {
                let transaction = asked.transaction.wrapping_sub(1);
                Asked {
                    transaction,
                    ..asked
                }
                .tcp(&honest)
            }
            3 => b"HTTP/1.1 400 Bad Request\r\n\r\n".to_vec(),
            4 => vec![0xFF; 300],
            5 => asked.tcp(&[]),
            _ => asked.tcp(&honest),
        })
    });
    let mut watched = Watched::tcp_within(&address, 500, vec![register(1, 7)]);
    watched.until_value(0, 1007.0).await;
    watched.assert_only_own_values(&[7]);
    assert_eq!(watched.count(is_down), 1, "told once");
    assert_eq!(
        watched.count(|a| reading_of(a, 0).is_some_and(|r| r.value == Err(Cause::LinkLost))),
        1,
        "told once"
    );
    let figures = watched.figures();
    assert_eq!(figures.faults + figures.timeouts, 6);
    watched.stop().await;
}

#[tokio::test]
async fn a_reset_connection_is_opened_again() {
    let (listener, address) = listener().await;
    serve(listener, |before, asked| match before % 4 {
        3 => Act::Close,
        _ => Act::Send(asked.tcp(&asked.honest_body())),
    });
    let mut watched = Watched::tcp(&address, vec![register(1, 7)]);
    for _ in 0..3 {
        watched.until_value(0, 1007.0).await;
        watched.until_cause(0, Cause::LinkLost).await;
    }
    watched.until_value(0, 1007.0).await;
    assert_eq!(watched.figures().reconnects, 3);
    assert_eq!(
        watched.count(is_down),
        0,
        "one lost poll is not a lost link"
    );
    watched.stop().await;
}

#[tokio::test]
async fn a_connection_the_device_closes_when_idle_is_opened_again_without_a_word() {
    let (listener, address) = listener().await;
    tokio::spawn(async move {
        // A device that serves one request for each connection.
        while let Ok((mut stream, _)) = listener.accept().await {
            if let Some(asked) = Asked::receive_tcp(&mut stream).await {
                stream
                    .write_all(&asked.tcp(&asked.honest_body()))
                    .await
                    .unwrap();
            }
        }
    });
    let mut watched = Watched::tcp(&address, vec![register(1, 7)]);
    watched.readings(5).await;
    assert_eq!(watched.count(|a| is_value(a, 0, 1007.0)), 5);
    assert!(watched.figures().reconnects >= 4);
    watched.stop().await;
}

#[tokio::test]
async fn a_half_open_device_is_a_lost_link_told_once_and_never_up() {
    let (listener, address) = listener().await;
    serve(listener, |_, _| Act::Ignore);
    let mut watched = Watched::tcp_within(&address, 100, vec![register(3, 7), register(3, 20)]);
    let detail = watched.until_link(LinkState::Down).await;
    assert!(
        detail.contains(&address) && detail.contains("unit 3"),
        "{detail}"
    );
    watched.until_cause_or_seen(0).await;
    watched.until_cause_or_seen(1).await;
    let before = watched.figures().timeouts;
    while watched.figures().timeouts < before + 5 {
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    assert!(
        watched.arrivals.try_recv().is_err(),
        "everything is told once"
    );
    watched.stop().await;
}

impl Watched {
    /// Waits for the loss of an instrument unless it has been told already.
    async fn until_cause_or_seen(&mut self, instrument: usize) {
        let lost = |arrival: &Arrival| {
            reading_of(arrival, instrument).is_some_and(|r| r.value == Err(Cause::LinkLost))
        };
        if self.count(lost) == 0 {
            self.until(lost).await;
        }
    }
}

#[tokio::test]
async fn a_late_reply_is_never_the_next_registers_value() {
    let (listener, address) = listener().await;
    let late = Arc::new(AtomicUsize::new(0));
    let counted = Arc::clone(&late);
    tokio::spawn(async move {
        // Every third reply comes after the client has given up.
        let mut turn = 0;
        while let Ok((mut stream, _)) = listener.accept().await {
            while let Some(asked) = Asked::receive_tcp(&mut stream).await {
                turn += 1;
                if turn % 3 == 0 {
                    counted.fetch_add(1, Ordering::Relaxed);
                    tokio::time::sleep(Duration::from_millis(150)).await;
                }
                if stream
                    .write_all(&asked.tcp(&asked.honest_body()))
                    .await
                    .is_err()
                {
                    break;
                }
            }
        }
    });
    let addresses = [7, 20, 33];
    let points = addresses.map(|address| register(1, address)).to_vec();
    let mut watched = Watched::tcp_within(&address, 100, points);
    while late.load(Ordering::Relaxed) < 5 {
        watched.next().await;
    }
    watched.assert_only_own_values(&addresses);
    watched.stop().await;
}

/// A gateway that passes RTU frames keeps a late reply and hands it to whoever connects next.
#[tokio::test]
async fn a_late_rtu_reply_kept_by_a_gateway_is_discarded_after_the_reconnection() {
    let (listener, address) = listener().await;
    let kept = Arc::new(AtomicUsize::new(0));
    let counted = Arc::clone(&kept);
    tokio::spawn(async move {
        let mut turn = 0;
        let mut late: Option<Vec<u8>> = None;
        while let Ok((mut stream, _)) = listener.accept().await {
            if let Some(reply) = late.take() {
                tokio::time::sleep(Duration::from_millis(20)).await;
                stream.write_all(&reply).await.unwrap_or(());
                counted.fetch_add(1, Ordering::Relaxed);
            }
            while let Some(asked) = Asked::receive_rtu(&mut stream).await {
                turn += 1;
                let reply = rtu(&asked.honest_body());
                if turn % 3 == 0 {
                    late = Some(reply);
                } else if stream.write_all(&reply).await.is_err() {
                    break;
                }
            }
        }
    });
    let addresses = [7, 20, 33];
    let points = addresses.map(|address| register(1, address)).to_vec();
    let mut watched = Watched::start(Transport::RtuOverTcp(address), 100, points);
    while kept.load(Ordering::Relaxed) < 4 {
        watched.next().await;
    }
    watched.readings(3).await;
    watched.assert_only_own_values(&addresses);
    watched.stop().await;
}

/// RTU frames carry no transaction number: a reply sent twice would answer the next request.
#[tokio::test]
async fn a_doubled_rtu_reply_is_not_taken_for_the_next_registers() {
    let (listener, address) = listener().await;
    let doubled = Arc::new(AtomicUsize::new(0));
    let counted = Arc::clone(&doubled);
    tokio::spawn(async move {
        let mut turn = 0;
        while let Ok((mut stream, _)) = listener.accept().await {
            stream.set_nodelay(true).unwrap();
            while let Some(asked) = Asked::receive_rtu(&mut stream).await {
                turn += 1;
                let reply = rtu(&asked.honest_body());
                stream.write_all(&reply).await.unwrap_or(());
                if turn % 5 == 0 {
                    tokio::task::yield_now().await;
                    stream.write_all(&reply).await.unwrap_or(());
                    counted.fetch_add(1, Ordering::Relaxed);
                }
            }
        }
    });
    let addresses = [7, 20, 33];
    let points = addresses.map(|address| register(1, address)).to_vec();
    let mut watched = Watched::start(Transport::RtuOverTcp(address), 100, points);
    while doubled.load(Ordering::Relaxed) < 5 {
        watched.next().await;
    }
    watched.readings(3).await;
    watched.assert_only_own_values(&addresses);
    watched.stop().await;
}

#[tokio::test]
async fn a_device_absent_at_start_is_reported_and_found_when_it_comes() {
    let (absent, address) = listener().await;
    drop(absent);
    let mut watched = Watched::tcp(&address, vec![register(1, 7)]);
    let detail = watched.until_link(LinkState::Down).await;
    assert!(detail.contains(&address), "{detail}");
    watched.until_cause_or_seen(0).await;
    let listener = TcpListener::bind(&address).await.unwrap();
    serve(listener, |_, asked| {
        Act::Send(asked.tcp(&asked.honest_body()))
    });
    watched.until_link(LinkState::Up).await;
    watched.until_value(0, 1007.0).await;
    assert_eq!(watched.count(is_down), 1);
    watched.stop().await;
}

/// A silent unit behind a gateway, once as silence and once as the gateway's exception.
async fn one_dead_unit(dead: impl Fn(Asked) -> Act + Send + Sync + 'static) -> LinkFigures {
    let (listener, address) = listener().await;
    let alive = Arc::new(AtomicBool::new(false));
    let revived = Arc::clone(&alive);
    serve(listener, move |_, asked| {
        if asked.unit_id == 2 && !alive.load(Ordering::Relaxed) {
            dead(asked)
        } else {
            Act::Send(asked.tcp(&asked.honest_body()))
        }
    });
    let mut watched = Watched::tcp_within(
        &address,
        500,
        vec![register(1, 7), register(2, 8), register(2, 30)],
    );
    watched.until_cause(1, Cause::LinkLost).await;
    watched.until_cause_or_seen(2).await;
    for _ in 0..40 {
        watched.until_value(0, 1007.0).await;
    }
    assert_eq!(watched.count(is_down), 0, "the other unit answers");
    revived.store(true, Ordering::Relaxed);
    watched.until_value(1, 1008.0).await;
    watched.until_value(2, 1030.0).await;
    let figures = watched.figures();
    watched.stop().await;
    figures
}

#[tokio::test]
async fn a_silent_unit_behind_a_gateway_leaves_the_others_their_readings() {
    let figures = one_dead_unit(|_| Act::Ignore).await;
    assert!(figures.timeouts > 0 && figures.skipped > 0, "{figures:?}");
}

#[tokio::test]
async fn a_gateways_exception_0b_counts_as_silence_of_the_unit_and_keeps_the_connection() {
    let figures = one_dead_unit(|asked| Act::Send(asked.tcp(&asked.exception_body(0x0B)))).await;
    assert!(figures.exceptions > 0, "{figures:?}");
    assert_eq!(figures.reconnects, 0);
}

#[tokio::test]
async fn shutdown_is_prompt_whatever_the_link_is_waiting_for() {
    let (silent, silent_address) = listener().await;
    serve(silent, |_, _| Act::Ignore);
    let patient = Transport::Tcp(silent_address);
    let mut waiting = Watched::start(patient, 3_600_000, vec![register(1, 7)]);
    while waiting.figures().requests == 0 {
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    assert!(waiting.arrivals.try_recv().is_err());
    // The reply would be awaited for an hour; `stop` gives up, and fails, long before.
    waiting.stop().await;
}

/// A device on a serial line, played on the master side of a pseudo terminal. An error means that nobody
/// has the line open at the moment.
async fn serve_serial<S: AsyncRead + AsyncWrite + Unpin>(
    mut line: S,
    script: impl Fn(usize, Asked) -> Vec<u8>,
) {
    let mut before = 0;
    loop {
        if let Some(asked) = Asked::receive_rtu(&mut line).await {
            let reply = script(before, asked);
            before += 1;
            line.write_all(&reply).await.unwrap_or(());
        } else {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    }
}

#[tokio::test]
async fn a_serial_line_is_read_and_recovers_from_noise_and_foreign_replies() {
    use tokio_serial::{SerialPort, SerialStream};

    let (master, slave) = SerialStream::pair().unwrap();
    let path = slave.name().unwrap();
    drop(slave);
    tokio::spawn(serve_serial(master, |before, asked| match before {
        4 => vec![0x00, 0xFF, 0x55],
        8 => rtu(&Asked {
            unit_id: 9,
            ..asked
        }
        .honest_body()),
        12 => rtu(&[asked.unit_id, asked.function, 2, 0x12]),
        _ => rtu(&asked.honest_body()),
    }));
    let transport = Transport::Rtu {
        path,
        baud: 115_200,
        parity: Parity::None,
        stop_bits: 1,
    };
    let addresses = [7, 20];
    let points = addresses.map(|address| register(1, address)).to_vec();
    let mut watched = Watched::start(transport, 50, points);
    while watched.figures().requests < 20 {
        watched.next().await;
    }
    watched.readings(2).await;
    watched.assert_only_own_values(&addresses);
    assert!(watched.figures().reconnects >= 3);
    watched.stop().await;
}

#[tokio::test]
async fn an_absent_serial_port_is_named() {
    let transport = Transport::Rtu {
        path: "/dev/no-such-port".to_owned(),
        baud: 9600,
        parity: Parity::Even,
        stop_bits: 1,
    };
    let mut watched = Watched::start(transport, 50, vec![register(1, 7)]);
    let detail = watched.until_link(LinkState::Down).await;
    assert!(detail.contains("/dev/no-such-port"), "{detail}");
    watched.stop().await;
}

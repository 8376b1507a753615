//! Modbus polling: the whole ingest path against a bare loop of its library, raw sockets, libmodbus in C and pymodbus.
//!
//! Run it pinned to one core (`taskset -c 0`, as benches/all does): two cores hide what a round trip costs. The device
//! is one thread that answers every request with the same two registers.

mod paired;
mod peers;

use std::collections::HashSet;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::time::{Duration, Instant};

use lauter_core::reading::{Instrument, Measures};
use lauter_core::units::Unit;
use lauterd::clock::{Clock, Start};
use lauterd::config::model::{
    ByteOrder, ConfiguredInstrument, ModbusLink, ModbusPoint, Source, Table, Transport, ValueType,
};
use lauterd::ingest::modbus::{Parameters, start_links};
use lauterd::ingest::{ARRIVALS_BOUND, Arrival, Intake};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::runtime::Runtime;
use tokio_modbus::client::{Client as _, tcp};
use tokio_modbus::slave::Slave;
use tokio_modbus::{Request, Response};
use tokio_util::sync::CancellationToken;

use paired::{Case, Limit, compare, figure, is_tiny, rate, sized};
use peers::Client;

/// A request has 12 bytes: header, function, address, quantity. The answer to two registers has 13.
const REQUEST: usize = 12;
const ANSWER: usize = 13;

const BARE: &str = "bare loop of tokio-modbus";
const LIBMODBUS: &str = "peer: libmodbus in C";

/// All devices: one thread, any number of connections.
fn devices() -> SocketAddr {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let address = listener.local_addr().expect("its address");
    std::thread::spawn(move || one_thread().block_on(serve(listener)));
    address
}

async fn serve(listener: TcpListener) {
    listener.set_nonblocking(true).expect("non-blocking");
    let listener = tokio::net::TcpListener::from_std(listener).expect("a listener");
    while let Ok((mut stream, _)) = listener.accept().await {
        stream.set_nodelay(true).expect("no delay");
        tokio::spawn(async move {
            let mut request = [0; REQUEST];
            while stream.read_exact(&mut request).await.is_ok() {
                let [first, second, _, _, _, _, unit, function, ..] = request;
                let answer = [
                    first, second, 0, 0, 0, 7, unit, function, 4, 0x41, 0x90, 0, 0,
                ];
                if stream.write_all(&answer).await.is_err() {
                    break;
                }
            }
        });
    }
}

fn one_thread() -> Runtime {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime")
}

fn raw(address: SocketAddr, reads: usize) -> f64 {
    let mut stream = TcpStream::connect(address).expect("it connects");
    stream.set_nodelay(true).expect("no delay");
    let mut answer = [0; ANSWER];
    rate(reads, || {
        for read in 0..reads as u16 {
            let [high, low] = read.to_be_bytes();
            let request = [high, low, 0, 0, 0, 6, 1, 4, 0, 0, 0, 2];
            stream.write_all(&request).expect("written");
            stream.read_exact(&mut answer).expect("answered");
        }
    })
}

/// The library's own loop: a task for each device.
fn bare(address: SocketAddr, count: usize, reads: usize) -> f64 {
    one_thread().block_on(async {
        let mut clients = Vec::new();
        for _ in 0..count {
            let stream = tokio::net::TcpStream::connect(address).await.expect("it connects");
            stream.set_nodelay(true).expect("no delay");
            clients.push(tcp::attach_slave(stream, Slave(1)));
        }
        let started = Instant::now();
        let tasks: Vec<_> = clients
            .into_iter()
            .map(|mut client| {
                tokio::spawn(async move {
                    for _ in 0..reads / count {
                        let request = Request::ReadInputRegisters(0, 2);
                        let answer = client.call(request).await.expect("answered");
                        assert!(matches!(answer, Ok(Response::ReadInputRegisters(two)) if two.len() == 2));
                    }
                })
            })
            .collect();
        for task in tasks {
            task.await.expect("it ends");
        }
        (reads / count * count) as f64 / started.elapsed().as_secs_f64()
    })
}

fn instrument(index: usize, every: Duration) -> ConfiguredInstrument {
    ConfiguredInstrument {
        instrument: Instrument {
            id: format!("flow-{index}"),
            measures: Measures::RunoffFlow,
            unit: Unit::LitrePerMinute,
            span: None,
            temperature: None,
            low: Some(0.0),
            high: Some(200.0),
            stale_after_s: 10.0,
            zero: 0.0,
            link: Some(format!("link-{index}")),
        },
        source: Source::Modbus(ModbusPoint {
            link: index,
            unit_id: 1,
            table: Table::Input,
            address: 0,
            value_type: ValueType::F32,
            byte_order: ByteOrder::Abcd,
            scale: 1.0,
            offset: 0.0,
            every,
            status: None,
        }),
    }
}

/// The ingest path on one thread, from the register to the runtime's channel, until `reads` readings have come: how many
/// a second, the opening of the links left out as in the bare loop. With a period of a microsecond every poll is due, so
/// that the rate is what it can do. Who takes them is a task, as the watch is.
fn ingest(address: SocketAddr, count: usize, reads: usize, every: Duration) -> f64 {
    one_thread()
        .block_on(async move { tokio::spawn(taken(address, count, reads, every)).await })
        .expect("it ends")
}

async fn taken(address: SocketAddr, count: usize, reads: usize, every: Duration) -> f64 {
    let link = |index| ModbusLink {
        name: format!("link-{index}"),
        transport: Transport::Tcp(address.to_string()),
        timeout: Duration::from_secs(2),
    };
    let links: Vec<_> = (0..count).map(link).collect();
    let instruments: Vec<_> = (0..count).map(|index| instrument(index, every)).collect();
    let (intake, mut arrivals) = Intake::channel();
    let stop = CancellationToken::new();
    let polling = start_links(
        &links,
        &instruments,
        &intake,
        Clock::start(&Start::default()),
        Parameters::default(),
        &stop,
    );
    let (mut come, mut heard) = (0, HashSet::new());
    let mut started = Instant::now();
    let mut waiting = Vec::new();
    while come < reads {
        // All that wait at once, as the watch takes them.
        arrivals.recv_many(&mut waiting, ARRIVALS_BOUND).await;
        for arrival in waiting.drain(..) {
            let Arrival::Reading {
                instrument,
                reading,
            } = arrival
            else {
                continue;
            };
            assert_eq!(reading.value, Ok(18.0));
            if heard.len() == count {
                come += 1;
            } else if heard.insert(instrument) && heard.len() == count {
                // Every link is open by now.
                started = Instant::now();
            }
        }
    }
    let rate = come as f64 / started.elapsed().as_secs_f64();
    stop.cancel();
    for task in polling.tasks {
        assert!(task.await.is_err_and(|end| end.is_cancelled()));
    }
    assert_eq!(intake.refused(), 0, "readings were refused");
    rate
}

fn ingested(address: SocketAddr, count: usize, reads: usize) -> f64 {
    ingest(address, count, reads, Duration::from_micros(1))
}

/// The peers: what they are called, the client, and how many of `reads` it is given. One in Python takes its time.
fn clients(reads: usize) -> Vec<(&'static str, Client, usize)> {
    let in_c = Client::in_c("libmodbus_client.c", "libmodbus");
    let in_python = Client::in_python("pymodbus_client.py", "pymodbus");
    in_c.map(|client| (LIBMODBUS, client, reads))
        .into_iter()
        .chain(in_python.map(|client| ("peer: pymodbus in Python", client, reads / 8)))
        .collect()
}

/// CPU time of the calling thread, s.
fn thread_cpu_s() -> f64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").expect("Linux");
    let ran_ns: f64 = text
        .split(' ')
        .next()
        .and_then(|ns| ns.parse().ok())
        .expect("a number");
    ran_ns / 1e9
}

fn one_device(address: SocketAddr, reads: usize) {
    let clients = clients(reads);
    let mut cases = vec![
        Case::new("limit: raw blocking sockets", || raw(address, reads)),
        Case::new(BARE, || bare(address, 1, reads)),
        Case::new("ingest, register to channel", || {
            ingested(address, 1, reads)
        })
        .beside(BARE, 0.90)
        .beside(LIBMODBUS, 1.0),
    ];
    let port = address.port().to_string();
    for (name, client, reads) in &clients {
        let arguments = [port.clone(), reads.to_string()];
        cases.push(Case::new(name, move || {
            client.rate(&arguments.each_ref().map(String::as_str))
        }));
    }
    compare("Modbus TCP, one device", "reads/s", &mut cases);
}

fn main() {
    let address = devices();
    let reads = sized(40_000, 512);
    one_device(address, reads);
    for count in [64, 256] {
        compare(
            &format!("Modbus TCP, {count} devices on one thread"),
            "reads/s",
            &mut [
                Case::new(BARE, || bare(address, count, reads)),
                Case::new("ingest, register to channel", || {
                    ingested(address, count, reads)
                })
                .beside(BARE, 0.85),
            ],
        );
    }
    let seconds = if is_tiny() { 1 } else { 8 };
    let (before_s, started) = (thread_cpu_s(), Instant::now());
    ingest(address, 256, 2560 * seconds, Duration::from_millis(100));
    let share = (thread_cpu_s() - before_s) / started.elapsed().as_secs_f64();
    println!();
    figure(
        "256 devices ten times a second: share of one core",
        100.0 * share,
        1,
        "%",
        Limit::AtMost(8.0),
    );
}

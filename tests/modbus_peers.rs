//! The Modbus ingest against devices that others wrote: pymodbus and libmodbus, over TCP, RTU over TCP and
//! RTU on a pseudo terminal. Every number type comes in every byte order and must arrive bit for bit.
//!
//! A peer that is not installed is reported and skipped; with LAUTERD_PEERS=1 its absence is a failure.
//! LAUTERD_PYTHON names the Python interpreter that has pymodbus (default: python3).

use std::io::{BufRead, BufReader};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::time::Duration;

use lauter_core::reading::{Cause, Instrument, Measures};
use lauter_core::units::Unit;
use lauterd::clock::{Clock, Start};
use lauterd::config::model::{
    ByteOrder, ConfiguredInstrument, ModbusLink, ModbusPoint, Parity, Source, Table, Transport,
    ValueType,
};
use lauterd::ingest::modbus::{Parameters, start_links};
use lauterd::ingest::{Arrival, Intake};
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio_serial::{SerialPort, SerialStream};
use tokio_util::sync::CancellationToken;

const INSTALL_PYMODBUS: &str = "python3 -m venv DIR && DIR/bin/pip install 'pymodbus==3.11.4' 'pyserial==3.5', then \
     set LAUTERD_PYTHON=DIR/bin/python3";
const INSTALL_LIBMODBUS: &str = "apt-get install gcc pkg-config libmodbus-dev";

/// Long enough for any machine; waits end when the awaited thing happens.
const PATIENCE: Duration = Duration::from_secs(60);

fn peers() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/peers/modbus")
}

/// Says that a peer is missing and how to install it; fails if the peers are demanded.
fn missing(peer: &str, install: &str) {
    let demanded = std::env::var("LAUTERD_PEERS").is_ok_and(|value| value == "1");
    let notice = format!("{peer} is not installed; to install it: {install}");
    assert!(!demanded, "LAUTERD_PEERS=1, but {notice}");
    eprintln!("SKIPPED: {notice}");
}

fn succeeds(command: &mut Command) -> bool {
    command
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success())
}

/// A peer's process, ended with the test.
struct Peer(Child);

impl Peer {
    /// Starts the peer and waits until it says that it is ready.
    fn start(mut command: Command) -> Self {
        let mut child = command.stdout(Stdio::piped()).spawn().unwrap();
        let mut said = String::new();
        let output = child.stdout.take().unwrap();
        let peer = Self(child);
        BufReader::new(output).read_line(&mut said).unwrap();
        assert_eq!(said.trim(), "ready", "the peer did not start: {command:?}");
        peer
    }
}

impl Drop for Peer {
    fn drop(&mut self) {
        self.0.kill().ok();
        self.0.wait().ok();
    }
}

fn pymodbus(kind: &str, place: &str) -> Option<Peer> {
    pymodbus_program("pymodbus_server.py", &[kind, place])
}

fn pymodbus_program(program: &str, arguments: &[&str]) -> Option<Peer> {
    let python = std::env::var("LAUTERD_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    if !succeeds(Command::new(&python).args(["-c", "import pymodbus.server, serial"])) {
        missing("pymodbus", INSTALL_PYMODBUS);
        return None;
    }
    let mut command = Command::new(python);
    command.arg(peers().join(program)).args(arguments);
    Some(Peer::start(command))
}

fn libmodbus(kind: &str, place: &str) -> Option<Peer> {
    let Some(program) = libmodbus_program() else {
        missing("libmodbus", INSTALL_LIBMODBUS);
        return None;
    };
    let mut command = Command::new(program);
    command.args([kind, place]);
    Some(Peer::start(command))
}

/// The compiled C peer, or nothing if there is no compiler or library.
fn libmodbus_program() -> Option<&'static Path> {
    static PROGRAM: OnceLock<Option<PathBuf>> = OnceLock::new();
    let build = || {
        let flags = Command::new("pkg-config")
            .args(["--cflags", "--libs", "libmodbus"])
            .output()
            .ok()
            .filter(|output| output.status.success())?;
        let flags = String::from_utf8(flags.stdout).unwrap();
        if !succeeds(Command::new("cc").arg("--version")) {
            return None;
        }
        let program = Path::new(env!("CARGO_TARGET_TMPDIR")).join("libmodbus_server");
        let built = Command::new("cc")
            .args(["-Wall", "-Wextra", "-Werror", "-O1", "-o"])
            .arg(&program)
            .arg(peers().join("libmodbus_server.c"))
            .args(flags.split_whitespace())
            .status()
            .unwrap();
        assert!(built.success(), "the libmodbus peer does not compile");
        Some(program)
    };
    PROGRAM.get_or_init(build).as_deref()
}

fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    listener.local_addr().unwrap().port()
}

/// Two pseudo terminals joined like a serial cable; gives back their paths.
fn serial_cable() -> [String; 2] {
    let end = || {
        let (master, slave) = SerialStream::pair().unwrap();
        let path = slave.name().unwrap();
        (tokio::io::split(master), path)
    };
    let ((one_in, one_out), one) = end();
    let ((other_in, other_out), other) = end();
    tokio::spawn(carry(one_in, other_out));
    tokio::spawn(carry(other_in, one_out));
    [one, other]
}

/// Carries bytes for ever. A read fails while nobody has the far end open.
async fn carry(mut from: impl AsyncRead + Unpin, mut to: impl AsyncWrite + Unpin) {
    let mut bytes = [0; 256];
    loop {
        match from.read(&mut bytes).await {
            Ok(count) if count > 0 => to.write_all(&bytes[..count]).await.unwrap_or(()),
            _ => tokio::time::sleep(Duration::from_millis(5)).await,
        }
    }
}

/// What an instrument must show: the very number, or a refusal by the device.
type Expected = Result<f64, Cause>;

const ORDERS: [ByteOrder; 4] = [
    ByteOrder::Abcd,
    ByteOrder::Cdab,
    ByteOrder::Badc,
    ByteOrder::Dcba,
];

/// In the order of their addresses: type, registers it takes, value. The peers state the same values in
/// their own language.
fn values() -> [(ValueType, u16, f64); 8] {
    [
        (ValueType::U16, 1, 65244.0),
        (ValueType::I16, 1, -12345.0),
        (ValueType::U32, 2, 3735928559.0),
        (ValueType::I32, 2, -1234567890.0),
        (ValueType::F32, 2, f64::from(1048.6437_f32)),
        (ValueType::U64, 4, 81985529216486895_u64 as f64),
        (ValueType::I64, 4, -81985529216486895_i64 as f64),
        (ValueType::F64, 4, 0.1),
    ]
}

fn point(table: Table, address: u16, value_type: ValueType, byte_order: ByteOrder) -> ModbusPoint {
    ModbusPoint {
        link: 0,
        unit_id: 1,
        table,
        address,
        value_type,
        byte_order,
        scale: 1.0,
        offset: 0.0,
        every: Duration::from_millis(200),
        status: None,
    }
}

/// Everything a peer serves. The last input register lies beyond its table, so that the merged read is
/// refused and its neighbours must be read on their own.
fn points() -> Vec<(ModbusPoint, Expected)> {
    let mut points = Vec::new();
    let mut address = 0;
    for byte_order in ORDERS {
        for (value_type, registers, value) in values() {
            for table in [Table::Input, Table::Holding] {
                points.push((point(table, address, value_type, byte_order), Ok(value)));
            }
            address += registers;
        }
    }
    let beyond = point(Table::Input, address, ValueType::U16, ByteOrder::Abcd);
    points.push((beyond, Err(Cause::DeviceError)));
    for (address, coil) in (0..).zip("1011001110001111".chars()) {
        let on = if coil == '1' { 1.0 } else { 0.0 };
        let bit = |table| point(table, address, ValueType::Bit, ByteOrder::Abcd);
        points.push((bit(Table::Coil), Ok(on)));
        points.push((bit(Table::Discrete), Ok(1.0 - on)));
    }
    points
}

fn instrument(number: usize, point: ModbusPoint) -> ConfiguredInstrument {
    ConfiguredInstrument {
        instrument: Instrument {
            id: format!("point-{number}"),
            measures: Measures::RunoffFlow,
            unit: Unit::LitrePerMinute,
            span: None,
            temperature: None,
            low: None,
            high: None,
            stale_after_s: 10.0,
            zero: 0.0,
            link: Some("peer".to_owned()),
        },
        source: Source::Modbus(point),
    }
}

/// Polls until every point has given two readings, each of them right.
async fn read_everything(transport: Transport) {
    let points = points();
    let instruments: Vec<_> = points
        .iter()
        .enumerate()
        .map(|(number, (point, _))| instrument(number, point.clone()))
        .collect();
    let link = ModbusLink {
        name: "peer".to_owned(),
        transport,
        timeout: Duration::from_secs(2),
    };
    let (intake, mut arrivals) = Intake::channel();
    let stop = CancellationToken::new();
    let polling = start_links(
        &[link],
        &instruments,
        &intake,
        Clock::start(&Start::default()),
        Parameters::default(),
        &stop,
    );
    let mut right = vec![0_u32; points.len()];
    while right.iter().any(|count| *count < 2) {
        let arrival = tokio::time::timeout(PATIENCE, arrivals.recv())
            .await
            .unwrap_or_else(|_| panic!("silence; {:?}", polling.links[0].figures()));
        match arrival.unwrap() {
            Arrival::Reading {
                instrument,
                reading,
            } => {
                let (point, expected) = &points[instrument];
                let bits = |value: Expected| value.map(f64::to_bits);
                assert_eq!(bits(reading.value), bits(*expected), "{point:?}");
                right[instrument] += 1;
            }
            Arrival::Link { state, detail, .. } => eprintln!("{state:?}: {detail}"),
        }
    }
    let figures = polling.links[0].figures();
    assert_eq!((figures.faults, figures.reconnects), (0, 0), "{figures:?}");
    stop.cancel();
    for task in polling.tasks {
        let end = task.await;
        assert!(end.is_err_and(|end| end.is_cancelled()), "ended by itself");
    }
}

fn rtu(path: String) -> Transport {
    Transport::Rtu {
        path,
        baud: 115_200,
        parity: Parity::None,
        stop_bits: 1,
    }
}

#[tokio::test]
async fn pymodbus_over_tcp_is_read_bit_for_bit() {
    let port = free_port();
    if let Some(_peer) = pymodbus("tcp", &port.to_string()) {
        read_everything(Transport::Tcp(format!("127.0.0.1:{port}"))).await;
    }
}

#[tokio::test]
async fn pymodbus_over_rtu_in_tcp_is_read_bit_for_bit() {
    let port = free_port();
    if let Some(_peer) = pymodbus("rtu-over-tcp", &port.to_string()) {
        read_everything(Transport::RtuOverTcp(format!("127.0.0.1:{port}"))).await;
    }
}

#[tokio::test]
async fn pymodbus_on_a_serial_line_is_read_bit_for_bit() {
    let [ours, theirs] = serial_cable();
    if let Some(_peer) = pymodbus("rtu", &theirs) {
        read_everything(rtu(ours)).await;
    }
}

#[tokio::test]
async fn libmodbus_over_tcp_is_read_bit_for_bit() {
    let port = free_port();
    if let Some(_peer) = libmodbus("tcp", &port.to_string()) {
        read_everything(Transport::Tcp(format!("127.0.0.1:{port}"))).await;
    }
}

#[tokio::test]
async fn libmodbus_on_a_serial_line_is_read_bit_for_bit() {
    let [ours, theirs] = serial_cable();
    if let Some(_peer) = libmodbus("rtu", &theirs) {
        read_everything(rtu(ours)).await;
    }
}

/// `lauterd probe` on a device of which only the address is known.
fn probed(port: u16, arguments: &[&str]) -> std::process::Output {
    Command::new(env!("CARGO_BIN_EXE_lauterd"))
        .arg("probe")
        .args(arguments)
        .args(["--tcp", &format!("127.0.0.1:{port}")])
        .env_remove("LAUTERD_PYTHON")
        .env_remove("LAUTERD_PEERS")
        .output()
        .unwrap()
}

#[tokio::test]
async fn a_probe_finds_an_unknown_value_in_every_order_and_writes_a_table_that_is_right() {
    let port = free_port();
    let Some(_peer) = pymodbus("tcp", &port.to_string()) else {
        return;
    };
    let units = probed(port, &["units", "--first", "1", "--last", "1"]);
    assert!(units.status.success(), "{units:?}");
    assert!(String::from_utf8_lossy(&units.stdout).contains("unit   1  answers"));
    // The device ends at register 79 and refuses what lies beyond.
    let range = [
        "registers",
        "--from",
        "0",
        "--count",
        "120",
        "--expect",
        "1048.6..1048.7",
    ];
    let found = probed(port, &range);
    let text = String::from_utf8(found.stdout).unwrap();
    assert!(
        text.starts_with("80 registers read from unit 1\n"),
        "{text}"
    );
    let floats: Vec<Vec<&str>> = text
        .lines()
        .map(|line| line.split_whitespace().collect::<Vec<_>>())
        .filter(|cells| cells.get(4) == Some(&"f32"))
        .collect();
    let expected = points()
        .into_iter()
        .map(|(point, _)| point)
        .filter(|point| point.value_type == ValueType::F32 && point.table == Table::Input)
        .map(|point| {
            (
                point.address.to_string(),
                lauterd::config::spelt(point.byte_order),
            )
        });
    for (address, order) in expected {
        assert!(
            floats
                .iter()
                .any(|cells| cells[1] == "*" && cells[2] == address && cells[5] == order),
            "{address} {order}: {text}"
        );
    }
    let table = text.split("paste:\n\n").nth(1).unwrap();
    let table = table.split("\nThen hold").next().unwrap();
    let file = tempfile::NamedTempFile::with_suffix(".toml").unwrap();
    let rest =
        "[site]\nname = \"a\"\n[tun]\nname = \"b\"\nbed_area_m2 = 7\n[kettle]\ncapacity_l = 7000\n";
    let thermometer = "[[instrument]]\nid = \"t\"\nmeasures = \"runnings-temperature\"\nunit = \"degC\"\nlow = 0\n\
                       high = 110\n";
    let density = table.replacen("# temperature = \"\"", "temperature = \"t\"", 1);
    std::fs::write(file.path(), format!("{rest}{thermometer}{density}")).unwrap();
    let checked = lauterd::config::load_with(file.path(), &lauterd::config::Surroundings::none());
    let configuration = checked.unwrap_or_else(|errors| panic!("{errors}: {table}"));
    assert_eq!(configuration.instruments[1].instrument.id, "new_instrument");
}

#[tokio::test]
async fn a_probe_one_address_off_shows_the_neighbours_and_a_watch_says_what_stands_and_what_moves()
{
    let port = free_port();
    let Some(_peer) = pymodbus("tcp", &port.to_string()) else {
        return;
    };
    let (point, _) = points()
        .into_iter()
        .find(|(point, _)| {
            point.table == Table::Input && point.value_type == ValueType::F32 && point.address > 0
        })
        .expect("a float behind the first register");
    // As a manual that counts from 1 would have it.
    let from = (point.address + 1).to_string();
    let found = probed(
        port,
        &[
            "registers",
            "--from",
            &from,
            "--count",
            "1",
            "--expect",
            "1048.6..1048.7",
            "--watch",
            "2",
        ],
    );
    let text = String::from_utf8(found.stdout).unwrap();
    let at = point.address.to_string();
    let marked = |line: &str| {
        let cells: Vec<&str> = line.split_whitespace().collect();
        cells.get(1) == Some(&"*") && cells.get(2) == Some(&at.as_str()) && cells[3] == from
    };
    assert!(text.lines().any(marked), "{text}");
    assert!(
        text.lines()
            .any(|line| line.trim_start().starts_with("2 s  ")),
        "{text}"
    );
    assert!(!text.contains('\x1b'), "{text}");

    // By quantity alone.
    let by_quantity = probed(
        port,
        &[
            "registers",
            "--from",
            &at,
            "--count",
            "2",
            "--measures",
            "runnings-gravity",
        ],
    );
    let text = String::from_utf8(by_quantity.stdout).unwrap();
    assert!(text.contains("lie within 970 to 1130"), "{text}");
    assert!(text.lines().any(marked), "{text}");
}

/// Unit, table, quantity, and where the instrument's number stands: what tests/peers/modbus/pymodbus_skid.py keeps to itself.
type Place<'a> = (&'a str, &'a str, &'a str, (u16, ValueType, ByteOrder, f64));

const SKID: [Place<'_>; 6] = [
    (
        "7",
        "holding",
        "runnings-temperature",
        (252, ValueType::I16, ByteOrder::Abcd, 0.1),
    ),
    (
        "7",
        "holding",
        "runnings-gravity",
        (246, ValueType::F32, ByteOrder::Cdab, 1.0),
    ),
    (
        "11",
        "input",
        "runnings-ph",
        (8, ValueType::I16, ByteOrder::Abcd, 0.01),
    ),
    (
        "23",
        "input",
        "runoff-flow",
        (40, ValueType::I32, ByteOrder::Abcd, 0.001),
    ),
    (
        "23",
        "input",
        "kettle-volume",
        (50, ValueType::F32, ByteOrder::Abcd, 1.0),
    ),
    (
        "23",
        "input",
        "bed-pressure-drop",
        (56, ValueType::I16, ByteOrder::Abcd, 0.01),
    ),
];

/// A brew in which everything stands: quantity, the skid's own name for it, its value.
const STANDING: [(&str, &str, &str); 6] = [
    ("runnings-gravity", "runnings_density", "1048.993"),
    ("runnings-temperature", "runnings_temperature", "74.5"),
    ("runnings-ph", "runnings_ph", "5.02"),
    ("runoff-flow", "runoff_flow", "73.009"),
    ("kettle-volume", "kettle_level", "131.493"),
    ("bed-pressure-drop", "bed_pressure_drop", "1.05"),
];

#[tokio::test]
async fn a_skid_that_nobody_has_described_is_found_and_its_configuration_written() {
    let directory = tempfile::tempdir().unwrap();
    let (brew, displays) = (
        directory.path().join("RUN.csv"),
        directory.path().join("displays"),
    );
    let columns = STANDING.map(|(_, column, _)| column).join(",");
    let row = format!("{}\n", STANDING.map(|(.., value)| value).join(","));
    std::fs::write(&brew, format!("{columns}\n{}", row.repeat(200))).unwrap();
    let port = free_port();
    let place = format!("127.0.0.1:{port}");
    let [brew, displays] = [brew, displays].map(|path| path.display().to_string());
    let Some(_peer) = pymodbus_program("pymodbus_skid.py", &[&place, &brew, &displays]) else {
        return;
    };
    // This library answers for units that are not there as a gateway does.
    let units = probed(port, &["units", "--last", "40"]);
    let units = String::from_utf8(units.stdout).unwrap();
    assert_eq!(
        units,
        "unit   7  answers\nunit  11  answers\nunit  23  answers\n"
    );
    let nobody = probed(port, &["units", "--first", "30", "--last", "40"]);
    assert_eq!(nobody.status.code(), Some(69), "{nobody:?}");
    assert!(
        String::from_utf8_lossy(&nobody.stderr).contains("line behind it"),
        "{nobody:?}"
    );

    let tun = directory.path().join("tun-1.toml");
    let begun =
        "[site]\nname = \"a\"\n[tun]\nname = \"b\"\nbed_area_m2 = 7\n[kettle]\ncapacity_l = 7000\n";
    std::fs::write(&tun, begun).unwrap();
    let shown = std::fs::read_to_string(&displays).unwrap();
    for (unit, table, measures, _) in SKID {
        let column = STANDING.iter().find(|row| row.0 == measures).unwrap().1;
        let shows = shown
            .lines()
            .find_map(|line| line.strip_prefix(column))
            .unwrap();
        let mut arguments = vec![
            "registers",
            "--unit",
            unit,
            "--table",
            table,
            "--count",
            "300",
        ];
        arguments.extend([
            "--expect",
            shows.trim(),
            "--id",
            measures,
            "--measures",
            measures,
        ]);
        let file = tun.to_str().unwrap();
        arguments.extend(["--into", file]);
        if measures == "runnings-gravity" {
            arguments.extend(["--temperature", "runnings-temperature"]);
        }
        let added = probed(port, &arguments);
        assert!(added.status.success(), "{added:?}");
        let again = probed(port, &arguments);
        assert_eq!(again.status.code(), Some(64), "{again:?}");
    }
    let configuration = lauterd::config::load_with(&tun, &lauterd::config::Surroundings::none());
    let configuration = configuration.unwrap_or_else(|errors| panic!("{errors}"));
    assert_eq!(configuration.modbus_links.len(), 1);
    for ((.., expected), configured) in SKID.iter().zip(&configuration.instruments) {
        let Source::Modbus(point) = &configured.source else {
            panic!("{configured:?}");
        };
        let found = (
            point.address,
            point.value_type,
            point.byte_order,
            point.scale,
        );
        assert_eq!(found, *expected, "{}", configured.instrument.id);
    }
    let nothing = [
        "registers",
        "--unit",
        "23",
        "--expect",
        "-7",
        "--id",
        "x",
        "--measures",
        "runoff-flow",
    ];
    let nothing = [nothing.as_slice(), &["--into", tun.to_str().unwrap()]].concat();
    let nothing = probed(port, &nothing);
    assert_eq!(nothing.status.code(), Some(65), "{nothing:?}");
}

#[test]
fn a_probe_of_nothing_says_what_to_look_at() {
    let port = free_port();
    let nobody = probed(port, &["registers"]);
    assert_eq!(nobody.status.code(), Some(69), "{nobody:?}");
    assert!(String::from_utf8_lossy(&nobody.stderr).contains("check the device"));
    let reversed = probed(port, &["registers", "--expect", "20..8"]);
    assert_eq!(reversed.status.code(), Some(64), "{reversed:?}");
}

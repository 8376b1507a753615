//! A served brewhouse, read by clients that know nothing of it but the scenario's register map.

use std::net::SocketAddr;
use std::time::Duration;

use simulators::serve::{self, Handle, Options};
use simulators::{Fault, Scenario};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tokio::time::timeout;
use tokio_modbus::client::{Context, rtu, tcp};
use tokio_modbus::prelude::{Reader as _, SlaveContext as _, Writer as _};
use tokio_modbus::{ExceptionCode, Slave};

const ORCHARD: &str = include_str!("../scenarios/orchard-ale-channel.toml");
const SMALL: &str = include_str!("../scenarios/small-rtu.toml");

/// Long enough for a busy machine; only a failure waits for it.
const PATIENCE: Duration = Duration::from_secs(30);

fn free_port() -> SocketAddr {
    SocketAddr::from(([127, 0, 0, 1], 0))
}

async fn orchard(speed: f64) -> Handle {
    let scenario = Scenario::from_toml(ORCHARD).expect("our own scenario");
    let options = Options {
        speed,
        modbus_tcp: Some(free_port()),
        ..Options::with_seed(7)
    };
    serve::start(&scenario, options).await.expect("served")
}

async fn client(handle: &Handle, unit: u8) -> Context {
    let address = handle.modbus_tcp().expect("a TCP link");
    tcp::connect_slave(address, Slave(unit))
        .await
        .expect("connected")
}

async fn words(context: &mut Context, address: u16, count: u16) -> Vec<u16> {
    let answer = timeout(PATIENCE, context.read_input_registers(address, count)).await;
    answer
        .expect("in time")
        .expect("sent")
        .expect("no exception")
}

fn float(words: &[u16]) -> f64 {
    f64::from(f32::from_bits(
        u32::from(words[0]) << 16 | u32::from(words[1]),
    ))
}

/// Waits until the brewhouse has reached this time.
async fn reach(handle: &Handle, elapsed_s: f64) {
    let mut snapshots = handle.watch();
    let reached = snapshots.wait_for(|snapshot| snapshot.truth.elapsed_s >= elapsed_s);
    timeout(PATIENCE, reached)
        .await
        .expect("in time")
        .expect("still served");
}

#[tokio::test]
async fn a_modbus_client_reads_the_instruments_as_the_scenario_lays_them_out() {
    let handle = orchard(600.0).await;
    reach(&handle, 1200.0).await;
    let mut density = client(&handle, 3).await;
    let value = float(&words(&mut density, 100, 2).await);
    assert!((1030.0..1060.0).contains(&value), "{value} kg/m3");
    assert_eq!(words(&mut density, 110, 1).await, [0]);
    let mut flow = client(&handle, 6).await;
    let swapped = words(&mut flow, 0, 2).await;
    let value = float(&[swapped[1], swapped[0]]);
    assert!((40.0..80.0).contains(&value), "{value} L/min");
    let total = words(&mut flow, 2, 2).await;
    assert!((500..6000).contains(&(u32::from(total[0]) << 16 | u32::from(total[1]))));
    let mut ph = client(&handle, 4).await;
    let ph_words = ph
        .read_holding_registers(20, 1)
        .await
        .expect("sent")
        .expect("answered");
    assert!((450..620).contains(&ph_words[0]), "{ph_words:?}");
    let mut switches = client(&handle, 1).await;
    let bits = switches
        .read_discrete_inputs(0, 2)
        .await
        .expect("sent")
        .expect("answered");
    assert_eq!(bits.len(), 2);
    handle.stop().await;
}

#[tokio::test]
async fn what_a_device_must_not_do_is_refused_with_its_exception() {
    let handle = orchard(1.0).await;
    let mut context = client(&handle, 3).await;
    let too_many = context.read_input_registers(0, 126).await.expect("sent");
    assert_eq!(too_many, Err(ExceptionCode::IllegalDataValue));
    let unknown = context.read_input_registers(90, 2).await.expect("sent");
    assert_eq!(unknown, Err(ExceptionCode::IllegalDataAddress));
    let wrong_table = context.read_holding_registers(100, 2).await.expect("sent");
    assert_eq!(wrong_table, Err(ExceptionCode::IllegalDataAddress));
    let write = context.write_single_register(100, 1).await.expect("sent");
    assert_eq!(write, Err(ExceptionCode::IllegalFunction));
    context.set_slave(Slave(99));
    let nobody = context.read_input_registers(100, 2).await.expect("sent");
    assert_eq!(nobody, Err(ExceptionCode::GatewayTargetDevice));
    handle.stop().await;
}

#[tokio::test]
async fn a_silent_instrument_answers_with_a_device_failure_and_its_status_register_still_reads() {
    let handle = orchard(60.0).await;
    for command in [
        "dropout runnings_density",
        "status runnings_density status=failure",
    ] {
        let fault = Fault::from_command(command).expect("a command");
        handle.inject(fault).await.expect("a known instrument");
    }
    let now_s = handle.truth().elapsed_s;
    reach(&handle, now_s + 10.0).await;
    let mut context = client(&handle, 3).await;
    let value = context.read_input_registers(100, 2).await.expect("sent");
    assert_eq!(value, Err(ExceptionCode::ServerDeviceFailure));
    assert_eq!(words(&mut context, 110, 1).await, [1]);
    assert!(
        words(&mut context, 102, 2).await.len() == 2,
        "the neighbour still answers"
    );
    handle.stop().await;
}

#[tokio::test]
async fn a_dropped_link_closes_connections_and_refuses_new_ones_until_it_is_restored() {
    let handle = orchard(60.0).await;
    let mut context = client(&handle, 3).await;
    words(&mut context, 102, 2).await;
    let drop_link = Fault::from_command("drop link skid").expect("a command");
    handle.inject(drop_link).await.expect("a known link");
    let broken = timeout(PATIENCE, async {
        while context.read_input_registers(102, 2).await.is_ok() {}
    });
    broken.await.expect("the connection is closed");
    let address = handle.modbus_tcp().expect("a TCP link");
    let mut refused = TcpStream::connect(address)
        .await
        .expect("the port still listens");
    let closed = timeout(PATIENCE, refused.read(&mut [0; 8]))
        .await
        .expect("in time");
    assert!(matches!(closed, Ok(0) | Err(_)));
    let restore = Fault::from_command("restore link skid").expect("a command");
    handle.inject(restore).await.expect("a known link");
    let again = timeout(PATIENCE, async {
        loop {
            let mut context = client(&handle, 3).await;
            if let Ok(Ok(words)) = context.read_input_registers(102, 2).await {
                return words;
            }
        }
    });
    assert_eq!(again.await.expect("answers again").len(), 2);
    handle.stop().await;
}

#[tokio::test]
async fn the_configuration_of_a_served_scenario_names_the_port_it_is_served_on() {
    let handle = orchard(1.0).await;
    let address = handle.modbus_tcp().expect("a TCP link");
    let configuration = simulators::lauterd_files::configuration(handle.scenario());
    assert!(
        configuration.contains(&format!("tcp = \"{address}\"")),
        "{configuration}"
    );
    handle.stop().await;
}

#[tokio::test]
async fn rtu_frames_over_tcp_are_answered_too() {
    let mut scenario = Scenario::from_toml(ORCHARD).expect("our own scenario");
    scenario.modbus_links[0].tcp = None;
    scenario.modbus_links[0].rtu_over_tcp = Some("127.0.0.1:0".to_owned());
    let handle = serve::start(&scenario, Options::with_seed(7))
        .await
        .expect("served");
    let (_, address) = handle.tcp_links()[0].clone();
    let stream = TcpStream::connect(address).await.expect("connected");
    let mut context = rtu::attach_slave(stream, Slave(3));
    let value = float(&words(&mut context, 100, 2).await);
    assert!((1030.0..1060.0).contains(&value), "{value} kg/m3");
    handle.stop().await;
}

#[tokio::test]
async fn a_stopped_brewhouse_has_let_go_of_its_port() {
    let handle = orchard(1.0).await;
    let address = handle.modbus_tcp().expect("a TCP link");
    handle.stop().await;
    tokio::net::TcpListener::bind(address)
        .await
        .expect("free again");
}

#[tokio::test]
async fn junk_on_a_tcp_connection_leaves_the_others_alone() {
    let handle = orchard(1.0).await;
    let mut context = client(&handle, 3).await;
    let mut junk = TcpStream::connect(handle.modbus_tcp().expect("a link"))
        .await
        .expect("connected");
    junk.write_all(&[0xA5; 600]).await.expect("sent");
    assert_eq!(words(&mut context, 102, 2).await.len(), 2);
    handle.stop().await;
}

async fn small(speed: f64) -> Handle {
    let scenario = Scenario::from_toml(SMALL).expect("our own scenario");
    let options = Options {
        speed,
        rtu: Some("pty".to_owned()),
        ..Options::with_seed(5)
    };
    serve::start(&scenario, options).await.expect("served")
}

fn serial(handle: &Handle) -> tokio_serial::SerialStream {
    let (_, path) = &handle.serial_links()[0];
    tokio_serial::SerialStream::open(&tokio_serial::new(path, 19_200)).expect("opened")
}

#[tokio::test]
async fn a_serial_client_reads_the_instruments_and_a_missing_unit_stays_silent() {
    let handle = small(60.0).await;
    let mut context = rtu::attach_slave(serial(&handle), Slave(3));
    let value = float(&words(&mut context, 100, 2).await);
    assert!((1020.0..1070.0).contains(&value), "{value} kg/m3");
    context.set_slave(Slave(77));
    let silence = context.read_input_registers(100, 2);
    assert!(timeout(Duration::from_millis(300), silence).await.is_err());
    handle.stop().await;
}

#[tokio::test]
async fn the_serial_server_answers_again_after_junk_on_the_line() {
    let handle = small(1.0).await;
    let mut line = serial(&handle);
    line.write_all(&[0x5A; 700]).await.expect("sent");
    line.flush().await.expect("sent");
    drop(line);
    let answered = timeout(PATIENCE, async {
        loop {
            // A client that lost an answer opens the line again, as every careful one does.
            let mut context = rtu::attach_slave(serial(&handle), Slave(3));
            let asked = context.read_input_registers(102, 2);
            if let Ok(Ok(Ok(words))) = timeout(Duration::from_millis(300), asked).await {
                return words;
            }
        }
    });
    assert_eq!(answered.await.expect("answers again").len(), 2);
    handle.stop().await;
}

#[tokio::test]
async fn the_run_ends_after_its_target_and_the_instruments_go_on_answering() {
    let handle = orchard(100_000.0).await;
    let mut snapshots = handle.watch();
    let finished = snapshots.wait_for(|snapshot| snapshot.finished);
    let snapshot = timeout(PATIENCE, finished)
        .await
        .expect("in time")
        .expect("served")
        .clone();
    assert!(snapshot.crossings.target.is_some());
    let now_s = handle.truth().elapsed_s;
    reach(&handle, now_s + 60.0).await;
    assert!(
        handle.truth().flow_l_min.abs() < f64::EPSILON,
        "the pump has stopped"
    );
    let mut context = client(&handle, 3).await;
    assert_eq!(words(&mut context, 102, 2).await.len(), 2);
    handle.stop().await;
}

#[tokio::test]
async fn addresses_that_cannot_be_given_are_named() {
    let scenario = Scenario::from_toml(SMALL).expect("our own scenario");
    let options = Options {
        modbus_tcp: Some(free_port()),
        ..Options::with_seed(1)
    };
    let message = serve::start(&scenario, options)
        .await
        .expect_err("refused")
        .to_string();
    assert_eq!(
        message,
        "the scenario has no Modbus TCP link to give this address to"
    );
    let options = Options {
        rtu: Some("/dev/no-such-device".to_owned()),
        ..Options::with_seed(1)
    };
    let message = serve::start(&scenario, options)
        .await
        .expect_err("refused")
        .to_string();
    assert!(
        message.contains("modbus_link \"serial\": cannot open /dev/no-such-device"),
        "{message}"
    );
}

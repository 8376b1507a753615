//! The program as people run it, measured from outside.
//!
//! Owns a running service with ten instruments once a second and a brew under way, the device it reads, and what
//! Linux says of a process. `BENCH_PROGRAM` names the program; without it, it is the one that cargo has built for the bench.

#![allow(dead_code, reason = "each bench uses what it needs")]

use std::fmt::Write as _;
use std::fs;
use std::io::{Read, Write as _};
use std::net::{TcpListener, TcpStream};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

use tempfile::TempDir;

/// Id and measurement, unit, low, high, value.
const INSTRUMENTS: [(&str, &str, &str, f64, f64, f32); 10] = [
    ("density", "runnings-gravity", "degP", -1.0, 35.0, 18.0),
    (
        "temperature",
        "runnings-temperature",
        "degC",
        0.0,
        110.0,
        75.0,
    ),
    ("ph", "runnings-ph", "pH", 2.0, 10.0, 5.4),
    ("turbidity", "runnings-turbidity", "EBC", 0.0, 2000.0, 20.0),
    ("flow", "runoff-flow", "L/min", -5.0, 200.0, 58.0),
    ("total", "runoff-total", "L", -1.0, 1e7, 100.0),
    ("sparge", "sparge-flow", "L/min", -5.0, 200.0, 58.0),
    ("level", "kettle-volume", "L", -50.0, 8000.0, 100.0),
    ("gravity", "kettle-gravity", "degP", -1.0, 35.0, 18.0),
    ("pressure", "bed-pressure-drop", "kPa", -1.0, 20.0, 1.1),
];

const PLAN: &str = r#"brew = "bench"
recipe = "Harbour Stout"
grist_kg = 980.0
target_gravity_p = 12.4
planned_volume_l = 5200.0
runoff_minutes = 90.0
gravity_floor_p = 3.0
ph_ceiling = 6.0
ph_basis = "process"
"#;

pub fn program() -> PathBuf {
    let built = || env!("CARGO_BIN_EXE_lauterd").into();
    std::env::var_os("BENCH_PROGRAM").map_or_else(built, PathBuf::from)
}

/// The program with a command, but none of the settings of another service that runs here.
pub fn command(arguments: &[&str]) -> Command {
    let mut command = Command::new(program());
    command.args(arguments).stderr(Stdio::null());
    for (name, _) in std::env::vars_os() {
        if name.to_string_lossy().starts_with("LAUTERD_") {
            command.env_remove(name);
        }
    }
    command
}

/// Answers reads of input registers with the instruments' values and a little noise, 12 bytes a request.
fn device() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let port = listener.local_addr().expect("its address").port();
    let turn = Arc::new(AtomicU32::new(0));
    std::thread::spawn(move || {
        for stream in listener.incoming().flatten() {
            let turn = Arc::clone(&turn);
            std::thread::spawn(move || answer(stream, &turn));
        }
    });
    port
}

fn answer(mut stream: TcpStream, turn: &AtomicU32) {
    stream.set_nodelay(true).expect("no delay");
    let mut request = [0; 12];
    while stream.read_exact(&mut request).is_ok() {
        let [
            first,
            second,
            _,
            _,
            _,
            _,
            unit,
            function,
            _,
            address,
            _,
            count,
        ] = request;
        let noise = turn.fetch_add(7919, Ordering::Relaxed) % 1000;
        let mut answer = vec![
            first,
            second,
            0,
            0,
            0,
            3 + 2 * count,
            unit,
            function,
            2 * count,
        ];
        for index in (address..address + count).step_by(2) {
            let (.., value) = INSTRUMENTS[usize::from(index / 2)];
            let value = value * (1.0 + 1e-6 * noise as f32);
            answer.extend(value.to_be_bytes());
        }
        if stream.write_all(&answer).is_err() {
            break;
        }
    }
}

/// A service; ended with the bench.
pub struct Service {
    child: Child,
    pub port: u16,
    _directory: TempDir,
}

impl Drop for Service {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

impl Service {
    pub fn started() -> Self {
        let directory =
            tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a directory on the disk");
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let port = listener.local_addr().expect("its address").port();
        drop(listener);
        let mut text = format!(
            "[site]\nname = \"bench\"\n[tun]\nname = \"tun-1\"\nbed_area_m2 = 7.0\n[kettle]\ncapacity_l = 7000.0\n\
             [store]\ndirectory = \"{}/store\"\n[web]\nlisten = \"127.0.0.1:{port}\"\n\
             [[modbus_link]]\nname = \"skid\"\ntcp = \"127.0.0.1:{}\"\n",
            directory.path().display(),
            device()
        );
        for (index, (id, measures, unit, low, high, _)) in INSTRUMENTS.iter().enumerate() {
            let address = 2 * index;
            write!(
                text,
                "[[instrument]]\nid = \"{id}\"\nmeasures = \"{measures}\"\nunit = \"{unit}\"\nlow = {low:.1}\nhigh = {high:.1}\n\
                 [instrument.modbus]\nlink = \"skid\"\nunit_id = 1\ntable = \"input\"\naddress = {address}\ntype = \"f32\"\n"
            )
            .expect("memory takes it");
        }
        let config = directory.path().join("tun.toml").display().to_string();
        let plan = directory.path().join("plan.toml").display().to_string();
        fs::write(&config, text).expect("its configuration is written");
        fs::write(&plan, PLAN).expect("its plan is written");
        let child = command(&["run", "--config", &config]).spawn();
        let service = Self {
            child: child.expect("the service starts"),
            port,
            _directory: directory,
        };
        let begun = Instant::now();
        while TcpStream::connect(("127.0.0.1", port)).is_err() {
            let waited = begun.elapsed();
            assert!(waited < Duration::from_secs(20), "the service answers");
            std::thread::sleep(Duration::from_millis(20));
        }
        let begin = ["brew", "start", "--config", &config, "--plan", &plan];
        let begun = command(&begin).stdout(Stdio::null()).status();
        assert!(begun.expect("it runs").success(), "the brew begins");
        std::thread::sleep(Duration::from_secs(2));
        service
    }

    /// Processor time of all its threads so far, s.
    pub fn processor_s(&self) -> f64 {
        let tasks = fs::read_dir(format!("/proc/{}/task", self.child.id())).expect("Linux");
        tasks
            .flatten()
            .map(|task| ran_s(task.path().join("schedstat")))
            .sum()
    }
}

/// Processor time of one thread by its file `schedstat`, s; nothing for one that has ended meanwhile.
pub fn ran_s(schedstat: PathBuf) -> f64 {
    let text = fs::read_to_string(schedstat).unwrap_or_default();
    let ran_ns = text.split(' ').next().and_then(|ns| ns.parse().ok());
    ran_ns.unwrap_or(0.0) / 1e9
}

/// Runs a program to its end and gives the most memory that was resident, MiB, as seen every millisecond.
pub fn peak_mib(command: &mut Command) -> f64 {
    let mut child = command.stdout(Stdio::null()).spawn().expect("it starts");
    let status = format!("/proc/{}/status", child.id());
    let mut peak_kib = 0.0_f64;
    let ended = loop {
        let text = fs::read_to_string(&status).unwrap_or_default();
        let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        let kib = line.and_then(|line| line.trim().split(' ').next()?.parse().ok());
        peak_kib = peak_kib.max(kib.unwrap_or(0.0));
        if let Some(ended) = child.try_wait().expect("it is ours") {
            break ended;
        }
        std::thread::sleep(Duration::from_millis(1));
    };
    assert!(ended.success(), "the program fails: {ended}");
    peak_kib / 1024.0
}

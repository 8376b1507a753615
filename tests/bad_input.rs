//! What people get wrong, and what the program says to it: the exit code, what is at fault, and what to do.
//!
//! `cargo test --test bad_input -- --nocapture` prints the list with every message in full.

use std::fs;
use std::io::Read;
use std::net::TcpListener;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use simulators::record::record;
use simulators::{Scenario, lauterd_files};
use tempfile::TempDir;

/// One mistake: files are changed by replacing a text by another once, then the program is called in their
/// directory.
struct Mistake {
    what: &'static str,
    /// File, text in it, text instead.
    change: Option<(&'static str, &'static str, &'static str)>,
    /// Beside those of a right replay, or instead of them when they begin with a command.
    arguments: &'static [&'static str],
    code: i32,
    says: &'static [&'static str],
}

const fn mistake(
    what: &'static str,
    change: (&'static str, &'static str, &'static str),
    code: i32,
    says: &'static [&'static str],
) -> Mistake {
    Mistake {
        what,
        change: Some(change),
        arguments: &[],
        code,
        says,
    }
}

const fn call(
    what: &'static str,
    arguments: &'static [&'static str],
    code: i32,
    says: &'static [&'static str],
) -> Mistake {
    Mistake {
        what,
        change: None,
        arguments,
        code,
        says,
    }
}

const TUN: &str = "tun.toml";
const PLAN: &str = "plan.toml";
const RUN: &str = "RUN.csv";
const SAMPLES: &str = "samples.csv";
const ROW: &str = "ROW\n";

/// Each with what its message must name: the file, its line, the key or column, and what is allowed or to be done.
const MISTAKES: &[Mistake] = &[
    mistake(
        "configuration: unknown key",
        (TUN, "bed_area_m2", "bed_aera_m2"),
        78,
        &["tun.toml:", "tun.bed_aera_m2", "did you mean bed_area_m2?"],
    ),
    mistake(
        "configuration: value out of range",
        (TUN, "bed_area_m2 = 6.2", "bed_area_m2 = -6.2"),
        78,
        &["tun.toml:", "tun.bed_area_m2", "-6.2", "0.01 to 500"],
    ),
    mistake(
        "configuration: wrong unit",
        (TUN, "unit = \"kg/m3\"", "unit = \"L/min\""),
        78,
        &["tun.toml:", "runnings_density", "L/min", "kg/m3, degP"],
    ),
    mistake(
        "configuration: duplicate id",
        (TUN, "id = \"runoff_total\"", "id = \"runoff_flow\""),
        78,
        &["tun.toml:", "runoff_flow", "an id stands once"],
    ),
    mistake(
        "configuration: missing compensation",
        (TUN, "temperature = \"runnings_temperature\"\n", ""),
        78,
        &["tun.toml:", "runnings_density", "temperature: is missing"],
    ),
    mistake(
        "configuration: compensation by what is no instrument",
        (
            TUN,
            "temperature = \"runnings_temperature\"",
            "temperature = \"mash\"",
        ),
        78,
        &["tun.toml:", "mash", "runnings_temperature"],
    ),
    mistake(
        "configuration: not TOML",
        (TUN, "[tun]", "[tun"),
        78,
        &["tun.toml:", "not TOML"],
    ),
    mistake(
        "data: not a number",
        (RUN, ROW, "9,abc,74,5,1,1,1,5,1,0,0\n"),
        65,
        &["RUN.csv:6", "runnings_density", "abc", "must be a number"],
    ),
    mistake(
        "data: wrong cell count",
        (RUN, ROW, "9,1049\n"),
        65,
        &["RUN.csv:6", "2 cells", "11", "give every column a cell"],
    ),
    mistake(
        "data: time going back",
        (RUN, ROW, "1.5,1049,74,5,1,1,1,5,1,0,0\n"),
        65,
        &["RUN.csv:6", "back from 3 s to 1.5 s", "in time order"],
    ),
    mistake(
        "data: time is no number",
        (RUN, ROW, "soon,1049,74,5,1,1,1,5,1,0,0\n"),
        65,
        &["RUN.csv:6", "elapsed_s", "soon", "number of seconds"],
    ),
    mistake(
        "data: unknown column",
        (RUN, "runoff_flow", "wort_flow"),
        65,
        &["RUN.csv:1", "wort_flow", "there are runnings_density"],
    ),
    mistake(
        "data: column twice",
        (RUN, "runoff_total", "runoff_flow"),
        65,
        &["RUN.csv:1", "runoff_flow", "twice"],
    ),
    mistake(
        "data: no time column",
        (RUN, "elapsed_s", "seconds"),
        65,
        &["RUN.csv:1", "seconds", "elapsed_s or time"],
    ),
    mistake(
        "data: wall-clock time that is none",
        (RUN, "elapsed_s", "time"),
        65,
        &["RUN.csv:2", "RFC 3339", "2026-04-12T08:30:00.250Z"],
    ),
    call(
        "data: empty file",
        &["replay", "--config", TUN, "--plan", PLAN, "--data", "empty"],
        65,
        &["empty: the file is empty", "elapsed_s or time"],
    ),
    call(
        "data: header alone",
        &[
            "replay",
            "--config",
            TUN,
            "--plan",
            PLAN,
            "--data",
            "header.csv",
        ],
        65,
        &["header.csv", "no rows"],
    ),
    call(
        "data: missing file",
        &[
            "replay", "--config", TUN, "--plan", PLAN, "--data", "gone.csv",
        ],
        66,
        &["gone.csv", "no such file", "check its name"],
    ),
    call(
        "data: a directory",
        &["replay", "--config", TUN, "--plan", PLAN, "--data", "."],
        74,
        &["it is a directory", "name a file"],
    ),
    call(
        "configuration: missing file",
        &[
            "replay",
            "--config",
            "gone.toml",
            "--plan",
            PLAN,
            "--data",
            RUN,
        ],
        66,
        &["gone.toml", "no such file"],
    ),
    call(
        "plan: missing file",
        &[
            "replay",
            "--config",
            TUN,
            "--plan",
            "gone.toml",
            "--data",
            RUN,
        ],
        66,
        &["gone.toml", "no such file"],
    ),
    call(
        "samples: missing file",
        &["--samples", "gone.csv"],
        66,
        &["gone.csv", "no such file"],
    ),
    mistake(
        "plan: unknown key",
        (PLAN, "recipe", "receipt"),
        65,
        &["plan.toml:", "receipt", "unknown key"],
    ),
    mistake(
        "plan: missing key",
        (PLAN, "grist_kg = 980.0\n", ""),
        65,
        &["plan.toml", "grist_kg", "is missing"],
    ),
    mistake(
        "plan: out of range",
        (PLAN, "target_gravity_p = 14.6", "target_gravity_p = 146.0"),
        65,
        &["plan.toml:", "target_gravity_p", "146", "1 to 35"],
    ),
    mistake(
        "plan: not a number",
        (PLAN, "grist_kg = 980.0", "grist_kg = \"980\""),
        65,
        &["plan.toml:", "grist_kg", "number"],
    ),
    mistake(
        "samples: place",
        (SAMPLES, ROW, "600,tank,12,,\n"),
        65,
        &["samples.csv:2", "tank", "runnings or kettle"],
    ),
    mistake(
        "samples: not a number",
        (SAMPLES, ROW, "600,kettle,heavy,,\n"),
        65,
        &["samples.csv:2", "gravity_p", "heavy", "-2 to 35"],
    ),
    mistake(
        "samples: nothing in it",
        (SAMPLES, ROW, "600,kettle,,,\n"),
        65,
        &["samples.csv:2", "give gravity_p, ph or volume_l"],
    ),
    mistake(
        "samples: no time",
        (SAMPLES, ROW, ",kettle,12,,\n"),
        65,
        &["samples.csv:2", "elapsed_s is empty", "give the seconds"],
    ),
    mistake(
        "samples: unknown column",
        (SAMPLES, "place", "where"),
        65,
        &["samples.csv:1", "where", "there are elapsed_s, place"],
    ),
    call(
        "store: a file",
        &["--store", "header.csv"],
        74,
        &["header.csv", "a file stands there", "name a directory"],
    ),
    call(
        "store: below a file",
        &["--store", "header.csv/store"],
        74,
        &["header.csv/store", "name a directory"],
    ),
    call(
        // Not even root can make a directory there.
        "store: directory that cannot be written",
        &["--store", "/sys/lauterd-store"],
        74,
        &["/sys/lauterd-store", "the right to write there"],
    ),
    call(
        "store: no database",
        &["--store", "foreign"],
        74,
        &["foreign/", "not a database", "start with an empty one"],
    ),
    call(
        "results: into a missing directory",
        &["--results", "gone/lines.jsonl"],
        74,
        &["gone/lines.jsonl", "cannot be written", "name a file"],
    ),
    call(
        "results: a directory",
        &["--results", "."],
        74,
        &[".: cannot be written", "name a file"],
    ),
    call("no command", &[], 64, &["Usage", "replay"]),
    call("unknown command", &["watch"], 64, &["watch", "--help"]),
    call(
        "unknown flag",
        &["replay", "--cofnig", TUN],
        64,
        &["--cofnig", "--config"],
    ),
    call(
        "missing flags",
        &["replay", "--config", TUN],
        64,
        &["--plan", "--data"],
    ),
    call(
        "run: missing configuration",
        &["run", "--config", "gone.toml"],
        66,
        &["gone.toml", "no such file"],
    ),
    call(
        "run: instruments that are read from nowhere",
        &["run", "--config", TUN],
        78,
        &[TUN, "runnings_density", "add [instrument.modbus]"],
    ),
];

fn scenario() -> Scenario {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"));
    let path = path.join("simulators/scenarios/orchard-ale-channel.toml");
    let text = fs::read_to_string(path).expect("the scenario is there");
    let mut scenario = Scenario::from_toml(&text).expect("the scenario is right");
    scenario.run.longest_s = 600.0;
    scenario
}

/// Right files, with a place for one more row in both CSV files.
fn files() -> TempDir {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = |name: &str| directory.path().join(name);
    let read = |name: &str| fs::read_to_string(path(name)).expect("the file");
    let write = |name: &str, text: &str| fs::write(path(name), text).expect("written");
    let scenario = scenario();
    record(&scenario, scenario.seed, directory.path()).expect("it is recorded");
    write(TUN, &read("config.toml"));
    let run = read(RUN);
    let rows: Vec<&str> = run.lines().take(5).collect();
    write(RUN, &format!("{}\n{ROW}", rows.join("\n")));
    write("header.csv", &format!("{}\n", rows[0]));
    write(
        SAMPLES,
        &format!("elapsed_s,place,gravity_p,ph,volume_l\n{ROW}"),
    );
    write("empty", "");
    fs::create_dir(path("foreign")).expect("a directory");
    write(
        &format!("foreign/{}", lauterd::store::FILE_NAME),
        "not a database at all, but longer than a hundred bytes, so that it is not taken for one that was cut off",
    );
    directory
}

fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lauterd"));
    for (name, _) in std::env::vars_os() {
        if name.to_string_lossy().starts_with("LAUTERD_") {
            command.env_remove(name);
        }
    }
    command.env_remove("RUST_LOG").env_remove("JOURNAL_STREAM");
    command
}

fn made(mistake: &Mistake) -> Output {
    let directory = files();
    let mut files: Vec<(&str, String)> = [TUN, PLAN, RUN, SAMPLES]
        .map(|name| {
            let path = directory.path().join(name);
            (name, fs::read_to_string(path).expect("the file"))
        })
        .into();
    if let Some((file, found, instead)) = mistake.change {
        let (_, text) = files
            .iter_mut()
            .find(|(name, _)| *name == file)
            .expect("a file");
        assert!(
            text.contains(found),
            "{}: no {found} in {file}",
            mistake.what
        );
        *text = text.replacen(found, instead, 1);
    }
    for (name, text) in files {
        let text = text.replace(ROW, "");
        fs::write(directory.path().join(name), text).expect("written");
    }
    let right = ["replay", "--config", TUN, "--plan", PLAN, "--data", RUN];
    let mut command = program();
    command.current_dir(directory.path());
    let whole_call = mistake
        .arguments
        .first()
        .is_none_or(|first| !first.starts_with("--"));
    if mistake.change.is_some() || !whole_call {
        command.args(right);
    }
    if matches!(mistake.change, Some((SAMPLES, ..))) {
        command.args(["--samples", SAMPLES]);
    }
    command.args(mistake.arguments);
    command.output().expect("the binary runs")
}

#[test]
fn every_mistake_is_answered_with_its_code_what_is_at_fault_and_what_to_do() {
    let mut failures = Vec::new();
    for mistake in MISTAKES {
        let output = made(mistake);
        let message = String::from_utf8(output.stderr).expect("UTF-8");
        let code = output.status.code().unwrap_or(-1);
        println!("- {} (exit {code}):\n{}", mistake.what, indented(&message));
        if code != mistake.code {
            failures.push(format!(
                "{}: exit code {code}, not {}",
                mistake.what, mistake.code
            ));
        }
        for part in mistake.says {
            if !message.contains(part) {
                failures.push(format!("{}: no \"{part}\" in {message}", mistake.what));
            }
        }
        if message.contains("panicked") {
            failures.push(format!("{}: a panic: {message}", mistake.what));
        }
    }
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}

#[test]
fn the_files_are_right_where_nothing_was_changed() {
    let right = call("nothing", &["--samples", SAMPLES], 0, &[]);
    let output = made(&right);
    let message = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{message}");
    assert!(!output.stdout.is_empty());
}

/// The live scenario's configuration with its own ports and record.
fn live(directory: &TempDir, modbus_port: u16, web_port: u16) {
    let mut scenario = scenario();
    scenario.modbus_links[0].tcp = Some(format!("127.0.0.1:{modbus_port}"));
    scenario.web_listen = format!("127.0.0.1:{web_port}");
    let text = lauterd_files::configuration(&scenario);
    fs::write(directory.path().join("live.toml"), text).expect("written");
}

#[test]
fn a_port_that_another_program_holds_is_named_with_the_key_to_change() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let taken = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let port = taken.local_addr().expect("its address").port();
    live(&directory, 1, port);
    let output = program()
        .current_dir(directory.path())
        .args(["run", "--config", "live.toml"])
        .output()
        .expect("the binary runs");
    let message = String::from_utf8_lossy(&output.stderr);
    println!("- run: port in use (exit 69):\n{}", indented(&message));
    assert_eq!(output.status.code(), Some(69), "{message}");
    for part in [&format!("127.0.0.1:{port}"), "in use", "listen in [web]"] {
        assert!(message.contains(part), "{part} in {message}");
    }
}

#[test]
fn a_link_that_cannot_be_reached_is_named_with_its_address_and_the_service_goes_on() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let free = || {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        listener.local_addr().expect("its address").port()
    };
    let modbus_port = free();
    live(&directory, modbus_port, free());
    let mut process = program()
        .current_dir(directory.path())
        .args(["run", "--config", "live.toml"])
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the binary runs");
    let mut log = process.stderr.take().expect("a log");
    let address = format!("127.0.0.1:{modbus_port}");
    let mut heard = String::new();
    let mut chunk = [0; 4096];
    while !(heard.contains(&address) && heard.contains("skid") && heard.contains("link-lost")) {
        let length = log.read(&mut chunk).expect("the log");
        assert!(length > 0, "it ended: {heard}");
        heard.push_str(&String::from_utf8_lossy(&chunk[..length]));
    }
    let going_on = process.try_wait().expect("its state").is_none();
    process.kill().expect("it is killed");
    process.wait().expect("it ends");
    println!(
        "- run: link that cannot be reached (goes on):\n{}",
        indented(&heard)
    );
    assert!(going_on, "{heard}");
}

fn indented(message: &str) -> String {
    let lines: Vec<String> = message.lines().map(|line| format!("    {line}")).collect();
    lines.join("\n")
}

//! What people get wrong, and what the program says to it: the exit code, what is at fault, and what to do.
//!
//! `cargo test --test bad_input -- --nocapture` prints the list with every message in full.

#[path = "bad_input/mistakes.rs"]
mod mistakes;

use std::fs;
use std::io::Read;
use std::net::TcpListener;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use mistakes::{MISTAKES, Mistake, PLAN, ROW, RUN, SAMPLES, TUN, call};
use simulators::record::record;
use simulators::{Scenario, lauterd_files};
use tempfile::TempDir;

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

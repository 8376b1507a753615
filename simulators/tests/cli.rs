//! The `simulators` program as a user meets it: commands, messages, exit codes.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

fn simulators() -> Command {
    Command::new(env!("CARGO_BIN_EXE_simulators"))
}

fn scenario(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("scenarios")
        .join(name)
}

fn run(arguments: &[&str]) -> Output {
    simulators().args(arguments).output().expect("started")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("UTF-8")
}

#[test]
fn a_drawn_scenario_passes_the_check() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let drawn = run(&["draw", "--seed", "42"]);
    assert_eq!(drawn.status.code(), Some(0));
    let file = directory.path().join("drawn.toml");
    std::fs::write(&file, &drawn.stdout).expect("written");
    let checked = run(&["check", file.to_str().expect("a path")]);
    assert_eq!(checked.status.code(), Some(0), "{}", text(&checked.stderr));
    assert!(text(&checked.stdout).contains("drawn-42 is fine"));
}

#[test]
fn check_names_file_key_and_line_of_every_wrong_scenario() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let good = std::fs::read_to_string(scenario("small-rtu.toml")).expect("readable");
    let write = |name: &str, wrong: String| {
        let file = directory.path().join(name);
        std::fs::write(&file, wrong).expect("written");
        file.to_str().expect("a path").to_owned()
    };
    let first = write("first.toml", good.replace("cells = 24", "cells = 240"));
    let second = write("second.toml", good.replace("peclet =", "pecklet ="));
    let checked = run(&["check", &first, &second]);
    assert_eq!(checked.status.code(), Some(78));
    let message = text(&checked.stderr);
    assert!(message.contains("first.toml"), "{message}");
    assert!(
        message.contains("bed.cells: is 240; allowed is 2 to 60"),
        "{message}"
    );
    assert!(message.contains("second.toml"), "{message}");
    assert!(message.contains("pecklet"), "{message}");
}

#[test]
fn a_missing_file_and_a_wrong_command_have_their_exit_codes() {
    assert_eq!(
        run(&["check", "no-such-scenario.toml"]).status.code(),
        Some(66)
    );
    assert_eq!(run(&["brew"]).status.code(), Some(64));
    assert_eq!(run(&["--help"]).status.code(), Some(0));
}

#[test]
fn record_writes_what_a_replay_reads() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let into = directory.path().join("brew");
    let recorded = run(&[
        "record",
        scenario("small-rtu.toml").to_str().expect("a path"),
        "--seed",
        "9",
        "--into",
        into.to_str().expect("a path"),
    ]);
    assert_eq!(
        recorded.status.code(),
        Some(0),
        "{}",
        text(&recorded.stderr)
    );
    for name in [
        "RUN.csv",
        "samples.csv",
        "truth.csv",
        "truth.json",
        "config.toml",
        "plan.toml",
    ] {
        assert!(into.join(name).is_file(), "{name}");
    }
    let truth = std::fs::read_to_string(into.join("truth.json")).expect("readable");
    let truth: serde_json::Value = serde_json::from_str(&truth).expect("JSON");
    assert!(
        truth["crossings"]["target"]["volume_l"].is_number(),
        "{truth}"
    );
}

/// A running `simulators serve`, ended when dropped.
struct Served(Child);

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn the_console_takes_commands_and_says_what_it_did_not_understand() {
    let child = simulators()
        .args(["serve", "--modbus-tcp", "127.0.0.1:0", "--speed", "60"])
        .arg(scenario("orchard-ale-channel.toml"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("started");
    let mut served = Served(child);
    let mut answers = BufReader::new(served.0.stdout.take().expect("piped")).lines();
    let mut input = served.0.stdin.take().expect("piped");
    let mut next = || answers.next().expect("a line").expect("readable");
    assert!(next().starts_with("link skid: Modbus on 127.0.0.1:"));
    assert!(next().contains("type help"));
    for (line, answer) in [
        (
            "channel share=0.4 over_s=120",
            "channel share=0.4 over_s=120",
        ),
        ("stir", "\"stir\" is not a command"),
        ("freeze nothing", "no instrument \"nothing\""),
        (
            "current runnings_ph ma=3.5",
            "\"runnings_ph\" is no current loop; those of this scenario are: ",
        ),
        ("channel share=2", "share is 2; allowed is 0.05 to 0.95"),
        ("truth", "\"runnings_gravity_p\":"),
    ] {
        writeln!(input, "{line}").expect("sent");
        let said = next();
        assert!(said.contains(answer), "{line}: {said}");
    }
}

#[test]
fn serve_until_finished_ends_by_itself_and_leaves_the_truth() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let truth = directory.path().join("truth.jsonl");
    let child = simulators()
        .args([
            "serve",
            "--modbus-tcp",
            "127.0.0.1:0",
            "--speed",
            "50000",
            "--until-finished",
        ])
        .args([Path::new("--truth"), &truth])
        .arg(scenario("orchard-ale-channel.toml"))
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .expect("started");
    let mut served = Served(child);
    let status = served.0.wait().expect("ended");
    assert_eq!(status.code(), Some(0));
    let mut said = String::new();
    let mut out = served.0.stdout.take().expect("piped");
    out.read_to_string(&mut said).expect("readable");
    let lines = std::fs::read_to_string(&truth).expect("readable");
    let last: serde_json::Value =
        serde_json::from_str(lines.lines().last().expect("a line")).expect("JSON");
    assert_eq!(last["finished"], true, "{last}\n{said}");
    assert!(
        last["crossings"]["target"]["elapsed_s"].is_number(),
        "{last}"
    );
}

#[test]
fn faults_come_from_another_terminal_while_three_transports_are_served_at_once() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let config = directory.path().join("tun.toml");
    let child = simulators()
        .args([
            "serve",
            "--modbus-tcp",
            "127.0.0.1:0",
            "--control",
            "127.0.0.1:0",
        ])
        // Nobody listens there: instruments that publish do not keep the others from being served.
        .args(["--mqtt", "127.0.0.1:9"])
        .args([Path::new("--write-config"), &config])
        .arg(scenario("three-makes.toml"))
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("started");
    let mut served = Served(child);
    let mut said = BufReader::new(served.0.stdout.take().expect("piped")).lines();
    let mut next = || said.next().expect("a line").expect("readable");
    let tcp = next();
    let tcp = tcp
        .strip_prefix("link skid: Modbus on ")
        .expect("a TCP link");
    let line = next();
    let line = line
        .strip_prefix("link line: Modbus RTU on ")
        .expect("a serial line");
    assert!(Path::new(line).exists(), "{line}");
    let control = loop {
        if let Some(address) = next().strip_prefix("control on ") {
            break address.to_owned();
        }
    };
    let written = std::fs::read_to_string(&config).expect("the configuration");
    for part in [tcp, line] {
        assert!(written.contains(part), "{part}: {written}");
    }
    let inject = |command: &str| run(&["inject", "--at", &control, command]);
    let frozen = inject("freeze runoff_flow for_s=60");
    assert_eq!(frozen.status.code(), Some(0), "{}", text(&frozen.stderr));
    assert!(text(&frozen.stdout).contains("freeze runoff_flow for_s=60"));
    assert!(text(&inject("truth").stdout).contains("\"kettle_volume_l\":"));
    let unknown = inject("freeze nothing");
    assert_eq!(unknown.status.code(), Some(64));
    assert!(
        text(&unknown.stderr).contains("its instruments are"),
        "{}",
        text(&unknown.stderr)
    );
    drop(served);
    assert_eq!(inject("truth").status.code(), Some(69));
}

#[test]
fn a_recording_without_a_fitting_configuration_is_refused_with_what_to_do() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = |name: &str| directory.path().join(name).display().to_string();
    let write = |name: &str, content: &str| std::fs::write(path(name), content).expect("written");
    write("RUN.csv", "elapsed_s,flow\n0,60\n1,61\n");
    let config = run(&[
        "config",
        scenario("hill-lager.toml").to_str().expect("a path"),
    ]);
    write("hill.toml", &text(&config.stdout));
    let play = |words: &[&str]| {
        let played = run(&[&["play"], words].concat());
        (played.status.code(), text(&played.stderr))
    };
    let (code, message) = play(&[&path("RUN.csv")]);
    assert_eq!(code, Some(64), "{message}");
    assert!(message.contains("--config"), "{message}");
    let (code, message) = play(&[&path("RUN.csv"), "--config", &path("hill.toml")]);
    assert_eq!(code, Some(65), "{message}");
    assert!(message.contains("its columns are: flow"), "{message}");
    write(
        "recorded.toml",
        "[[instrument]]\nid = \"flow\"\nmeasures = \"runoff-flow\"\nunit = \"L/min\"\n",
    );
    let (code, message) = play(&[&path("RUN.csv"), "--config", &path("recorded.toml")]);
    assert_eq!(code, Some(78), "{message}");
    assert!(message.contains("nobody could read them"), "{message}");
    write("RUN.csv", "elapsed_s,runnings_ph\n0,5.4\n1,5.4\n");
    let (code, message) = play(&[&path("RUN.csv"), "--config", &path("hill.toml")]);
    assert_eq!(code, Some(64), "{message}");
    assert!(message.contains("Not the site's"), "{message}");
    write("RUN.csv", "elapsed_s,runnings_ph\n0,high\n");
    let (code, message) = play(&[&path("RUN.csv"), "--config", &path("hill.toml")]);
    assert_eq!(code, Some(65), "{message}");
    assert!(message.contains("line 2: runnings_ph"), "{message}");
}

#[test]
fn a_taken_port_is_named_with_its_link() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").expect("a free port");
    let address = taken.local_addr().expect("bound").to_string();
    let file = scenario("orchard-ale-channel.toml");
    let refused = run(&[
        "serve",
        file.to_str().expect("a path"),
        "--modbus-tcp",
        &address,
    ]);
    assert_eq!(refused.status.code(), Some(69));
    let message = text(&refused.stderr);
    assert!(
        message.contains("modbus_link \"skid\"") && message.contains(&address),
        "{message}"
    );
}

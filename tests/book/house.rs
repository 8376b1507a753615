//! A house to run a page's commands in, as they are written.
//!
//! Owns namespaces of its own (files, network, processes), so that the book's addresses and directories are free in it:
//! the device at 192.0.2.10:502, the page at 127.0.0.1:8780, /etc/lauterd. In it stand a simulated brewhouse and, unless the
//! page starts them itself, a service and a brew. What is provoked before an alarm is acknowledged stands here as well.
//!
//! Both go thirty times faster than life: waiting for a delay is no part of the book.

use std::fs;
use std::io::{BufRead as _, BufReader, Write as _};
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use tempfile::TempDir;

use super::blocks::{Block, commands, words};

/// How long something that must come is waited for, s.
const PATIENCE_S: u32 = 60;

/// Commands that ask no service, or are one.
const NO_SERVICE: [&str; 9] = [
    "calc",
    "check-config",
    "commission",
    "demo",
    "probe",
    "record",
    "replay",
    "token",
    "user",
];

pub struct House {
    shell: Child,
    orders: ChildStdin,
    answers: BufReader<ChildStdout>,
    directory: TempDir,
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The simulators' program of this build.
fn simulators() -> PathBuf {
    let beside = Path::new(env!("CARGO_BIN_EXE_lauterd")).with_file_name("simulators");
    if !beside.exists() {
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let built = Command::new(cargo)
            .args(["build", "--quiet", "--locked", "--package", "simulators"])
            .current_dir(root())
            .status();
        assert!(
            built.is_ok_and(|status| status.success()),
            "the simulators are built"
        );
    }
    beside
}

/// Puts a file system over another and brings the loopback up; `$1` is the house's directory.
const FOUNDATIONS: &str = "
set -e
mount --make-rprivate /
mount -t proc proc /proc
for place in etc var/lib; do
    mkdir -p \"$1/over/$place\" \"$1/beside/$place\"
    mount -t overlay overlay -o \"lowerdir=/$place,upperdir=$1/over/$place,workdir=$1/beside/$place\" \"/$place\"
done
ip link set lo up
ip address add 192.0.2.10/32 dev lo
mkdir -p /etc/lauterd
rm -rf /var/lib/lauterd
cd \"$1/site\"
set +e
";

fn unshare() -> Command {
    let mut command = Command::new("unshare");
    command.args(["--mount", "--net", "--pid", "--fork", "--kill-child"]);
    command
}

/// Whether this machine lets a house be built.
pub fn can_be_built() -> Result<(), String> {
    let directory = tempfile::tempdir().map_err(|error| error.to_string())?;
    fs::create_dir(directory.path().join("site")).map_err(|error| error.to_string())?;
    let tried = unshare()
        .args(["bash", "-c", FOUNDATIONS, "bash"])
        .arg(directory.path())
        .output();
    match tried {
        Ok(output) if output.status.success() => Ok(()),
        Ok(output) => Err(format!(
            "namespaces need root, unshare and ip: {}",
            String::from_utf8_lossy(&output.stderr).trim()
        )),
        Err(error) => Err(format!("unshare: {error}")),
    }
}

/// A program in front of another.
fn wrapper(file: &Path, text: &str) {
    fs::write(file, format!("#!/bin/bash\n{text}\n")).unwrap();
    fs::set_permissions(file, fs::Permissions::from_mode(0o755)).unwrap();
}

impl House {
    /// For a page with these blocks.
    pub fn build(blocks: &[&Block]) -> Self {
        let directory = tempfile::tempdir().unwrap();
        let here = directory.path();
        let (site, bin) = (here.join("site"), here.join("bin"));
        for made in [&site, &bin] {
            fs::create_dir(made).unwrap();
        }
        for folder in ["config", "simulators"] {
            std::os::unix::fs::symlink(root().join(folder), site.join(folder)).unwrap();
        }
        let (lauterd, simulators) = (env!("CARGO_BIN_EXE_lauterd"), simulators());
        let simulators = simulators.display();
        // The demonstration is the book's slowest command; it can be told to hurry, and a service that it is in a hurry.
        let faster =
            "case $1 in run) set -- \"$@\" --speed 30 ;; demo) set -- \"$@\" --speed 400 ;; esac";
        wrapper(
            &bin.join("lauterd"),
            &format!("{faster}\nexec {lauterd} \"$@\""),
        );
        wrapper(
            &bin.join("simulators"),
            &format!("exec {simulators} \"$@\""),
        );
        wrapper(
            &bin.join("cargo"),
            "[ \"$1 $2\" = 'run --release' ] || exit 64\nshift 2\n\
             program=lauterd\n[ \"$1\" != -p ] || { program=$2; shift 2; }\n\
             [ \"$1\" = -- ] || exit 64\nshift\nexec $program \"$@\"",
        );
        let mut shell = unshare();
        // Settings of the tests would be taken for those of the service.
        for (name, _) in std::env::vars_os() {
            if name.to_string_lossy().starts_with("LAUTERD_") {
                shell.env_remove(name);
            }
        }
        let mut shell = shell
            .args(["bash", "-c", &format!("{FOUNDATIONS}\nexec bash"), "bash"])
            .arg(here)
            .env(
                "PATH",
                format!("{}:{}", bin.display(), std::env::var("PATH").unwrap()),
            )
            .env("HOME", here)
            .env_remove("JOURNAL_STREAM")
            .env_remove("NOTIFY_SOCKET")
            .env_remove("RUST_LOG")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let orders = shell.stdin.take().unwrap();
        let answers = BufReader::new(shell.stdout.take().unwrap());
        let mut house = Self {
            shell,
            orders,
            answers,
            directory,
        };
        house.furnish(blocks);
        house
    }

    /// Files, brewhouse, service and brew, as far as the page does not bring them.
    fn furnish(&mut self, blocks: &[&Block]) {
        let lines: Vec<String> = blocks
            .iter()
            .flat_map(|block| commands(&block.text))
            .collect();
        let has = |part: &str| lines.iter().any(|line| line.contains(part));
        let scenario = root().join("tests/book/brewhouse.toml");
        let scenario = scenario.display();
        self.must(&format!(
            "simulators config {scenario} | sed '/^\\[web\\]/,$d' >tun-1.toml"
        ));
        self.must(&format!("simulators config --plan {scenario} >plan.toml"));
        // Near enough to be told of from the first minute on, and with users to be added to.
        self.must("printf '\\n[projection]\\nstop_ahead_s = 3600.0\\n' >>tun-1.toml");
        self.must("printf '\\n[web]\\nusers_file = \"/etc/lauterd/users.toml\"\\n' | cat tun-1.toml - >/etc/lauterd/lauterd.toml");
        self.must("echo 'a password for the book' >password");
        if has("RUN.csv") || has("samples.csv") {
            self.must(&format!("simulators record {scenario} --into recorded"));
            self.must("cp recorded/RUN.csv recorded/samples.csv .");
        }
        if has("192.0.2.20") {
            self.broker();
        }
        self.must("mkfifo faults own-faults");
        self.must(&format!(
            "simulators serve {scenario} --speed 30 <faults >brewhouse.log 2>&1 & exec 9>faults"
        ));
        self.await_success(
            "the brewhouse answers",
            "bash -c ': </dev/tcp/192.0.2.10/502' 2>/dev/null",
        );
        let asks = |line: &String| {
            let words = words(line);
            words.first().is_some_and(|program| program == "lauterd")
                && !NO_SERVICE.contains(&words.get(1).map_or("", String::as_str))
        };
        let serves_itself = has("-- serve") || has("simulators serve") || has("simulators play");
        if serves_itself || !lines.iter().any(asks) {
            return;
        }
        self.service("lauterd run --config tun-1.toml");
        if !has("lauterd brew start") {
            self.must("lauterd brew start --plan plan.toml");
            self.flows();
        }
    }

    /// Runs a command of the book. Fails with what it said.
    pub fn run(&mut self, line: &str) -> Result<(), String> {
        let words = words(line);
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        match words.as_slice() {
            ["lauterd", "run", ..] | ["cargo", "run", "--release", "--", "run", ..] => {
                // Without the remark that may follow.
                self.service(&words.join(" "));
                return Ok(());
            }
            [
                "cargo",
                "run",
                "--release",
                "-p",
                "simulators",
                "--",
                "serve",
                ..,
            ]
            | ["simulators", "serve" | "play", ..] => {
                self.brewhouse(&words.join(" "));
                return Ok(());
            }
            ["lauterd", "alarms", "acknowledge" | "shelve", alarm, ..] => {
                self.provoke(alarm, &words);
            }
            ["lauterd", "user", "add", ..] => return self.alone(line, "password"),
            ["lauterd", "probe", ..] if words.contains(&"--into") => {
                // The page begins the tun's configuration with it; this house has one already, with these instruments.
                return self.alone(
                    &line.replace("--into tun-1.toml", "--into begun.toml"),
                    "/dev/null",
                );
            }
            _ => {}
        }
        self.alone(line, "/dev/null")?;
        if words.starts_with(&["lauterd", "brew", "start"])
            && self.directory.path().join("site/plan.toml").exists()
            && words.contains(&"plan.toml")
        {
            self.flows();
        }
        Ok(())
    }

    /// The book's broker at 192.0.2.20, with an instrument that publishes.
    fn broker(&mut self) {
        self.must("ip address add 192.0.2.20/32 dev lo");
        self.must("printf 'listener 1883 192.0.2.20\\nallow_anonymous true\\n' >broker.conf");
        self.must("mosquitto -c broker.conf >broker.log 2>&1 &");
        self.await_success(
            "the broker answers",
            "bash -c ': </dev/tcp/192.0.2.20/1883' 2>/dev/null",
        );
        self.must(
            "while sleep 1; do mosquitto_pub -h 192.0.2.20 -t cellar/flow -m '{\"flow\":60.1}'; done \
             >/dev/null 2>&1 &",
        );
    }

    /// Starts a brewhouse of the page's own in the place of the one before.
    fn brewhouse(&mut self, line: &str) {
        self.must("[ -z \"$own\" ] || { kill $own; wait $own; }");
        self.must(": >own-brewhouse.log");
        self.must(&format!(
            "{line} <own-faults >own-brewhouse.log 2>&1 & own=$!; exec 8>own-faults"
        ));
        self.await_success(
            "it serves",
            "! kill -0 $own || grep -q 'Modbus on' own-brewhouse.log",
        );
    }

    /// Starts a service in the place of the one before.
    fn service(&mut self, line: &str) {
        self.must("[ -z \"$service\" ] || { kill $service; wait $service; }");
        self.must(": >service.log");
        self.must(&format!("{line} >service.log 2>&1 </dev/null & service=$!"));
        self.await_success(
            "the service answers",
            "! kill -0 $service || grep -q 'listening on http://' service.log",
        );
    }

    /// Waits until wort has run into the kettle.
    fn flows(&mut self) {
        self.await_success(
            "wort flows",
            "lauterd status | grep -qE 'stop-point|Stop-point'",
        );
    }

    /// Makes an alarm come that somebody is about to act on, if it does not come by itself.
    fn provoke(&mut self, alarm: &str, words: &[&str]) {
        let instrument = words.iter().position(|word| *word == "--instrument");
        let instrument = instrument.and_then(|place| words.get(place + 1));
        match (alarm, instrument) {
            ("instrument-fault", Some(id)) => self.must(&format!("echo 'dropout {id}' >&9")),
            ("stuck-bed", _) => self.must("sleep 10; echo 'compaction factor=60 over_s=120' >&9"),
            _ => {}
        }
        let about = instrument.copied().unwrap_or_default();
        self.await_success(
            alarm,
            &format!("lauterd status | grep -A3 -- {alarm} | grep -q -- '{about}'"),
        );
    }

    fn must(&mut self, line: &str) {
        if let Err(words) = self.told(line, "/dev/null") {
            panic!("{line}: {words}");
        }
    }

    fn await_success(&mut self, what: &str, line: &str) {
        let times = PATIENCE_S * 2;
        let line = format!(
            "for i in {{1..{times}}}; do if {line}; then true; break; else sleep 0.5; false; fi; done"
        );
        if let Err(words) = self.told(&line, "/dev/null") {
            let status = self.told("lauterd status; tail -n 5 *.log; false", "/dev/null");
            panic!("never came: {what}: {words}\n{}", status.unwrap_err());
        }
    }

    /// Runs a command of the book by itself, and not for ever.
    fn alone(&mut self, line: &str, input: &str) -> Result<(), String> {
        let order = format!("set -euo pipefail\n{line}\n");
        fs::write(self.directory.path().join("order"), order).unwrap();
        self.told(&format!("timeout {PATIENCE_S} bash ../order"), input)
    }

    /// Runs a line in the house's shell; fails with its words if its status is not nought.
    fn told(&mut self, line: &str, input: &str) -> Result<(), String> {
        let order = format!("{{ {line}\n}} >../said 2>&1 <{input}; echo \"status $?\"\n");
        self.orders.write_all(order.as_bytes()).unwrap();
        let mut answer = String::new();
        self.answers.read_line(&mut answer).unwrap();
        if answer == "status 0\n" {
            return Ok(());
        }
        let said = fs::read(self.directory.path().join("said")).unwrap_or_default();
        let said = String::from_utf8_lossy(&said);
        Err(format!("{}: {}", answer.trim(), said.trim()))
    }
}

impl Drop for House {
    fn drop(&mut self) {
        // unshare takes its child with it, and that everything in the house.
        let _ = self.shell.kill();
        let _ = self.shell.wait();
    }
}

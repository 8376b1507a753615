//! A recorded run in a temporary directory, the program run on it, and the lines it writes.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;
use simulators::record::{Outcome, record};
use simulators::{Crossing, Scenario};
use tempfile::TempDir;

/// A scenario of the simulators, by its name.
pub fn scenario(name: &str) -> Scenario {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("simulators/scenarios")
        .join(format!("{name}.toml"));
    let text = fs::read_to_string(path).expect("the scenario is there");
    Scenario::from_toml(&text).expect("the scenario is right")
}

/// What the simulator recorded, and what was true.
pub struct Recorded {
    directory: TempDir,
    pub outcome: Outcome,
}

impl Recorded {
    /// The scenario's own brew.
    pub fn of(name: &str) -> Self {
        Self::scenario(&scenario(name))
    }

    pub fn scenario(scenario: &Scenario) -> Self {
        let directory = tempfile::tempdir().expect("a temporary directory");
        let outcome = record(scenario, scenario.seed, directory.path()).expect("it is recorded");
        Self { directory, outcome }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    pub fn read(&self, name: &str) -> String {
        fs::read_to_string(self.path(name)).expect("the file is there")
    }

    pub fn write(&self, name: &str, text: &str) {
        fs::write(self.path(name), text).expect("the file is written");
    }

    /// The true crossing of the start-of-boil gravity.
    pub fn target(&self) -> Crossing {
        self.outcome.crossings.target.expect("it is crossed")
    }

    /// The program on this run; the lines go to standard output.
    pub fn replay(&self) -> Replay<'_> {
        Replay {
            recorded: self,
            config: "config.toml",
            data: "RUN.csv",
            more: Vec::new(),
        }
    }
}

/// A call of `lauterd replay` that can still be changed.
pub struct Replay<'a> {
    recorded: &'a Recorded,
    config: &'a str,
    data: &'a str,
    more: Vec<String>,
}

impl<'a> Replay<'a> {
    pub fn config(mut self, name: &'a str) -> Self {
        self.config = name;
        self
    }

    pub fn data(mut self, name: &'a str) -> Self {
        self.data = name;
        self
    }

    /// An option whose value is a file in the run's directory.
    pub fn with(mut self, option: &str, name: &str) -> Self {
        self.more.push(option.to_owned());
        self.more
            .push(self.recorded.path(name).display().to_string());
        self
    }

    pub fn output(&self) -> Output {
        Command::new(env!("CARGO_BIN_EXE_lauterd"))
            .arg("replay")
            .arg("--config")
            .arg(self.recorded.path(self.config))
            .arg("--plan")
            .arg(self.recorded.path("plan.toml"))
            .arg("--data")
            .arg(self.recorded.path(self.data))
            .args(&self.more)
            .output()
            .expect("the binary runs")
    }

    /// The text of the lines, as it was printed.
    pub fn text(&self) -> String {
        let output = self.output();
        let errors = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(0), "{errors}");
        assert_eq!(errors, "", "nothing to complain about");
        String::from_utf8(output.stdout).expect("UTF-8")
    }

    pub fn lines(&self) -> Lines {
        Lines::of(&self.text())
    }
}

/// The lines of a replay.
pub struct Lines(pub Vec<Value>);

impl Lines {
    pub fn of(text: &str) -> Self {
        let line = |text: &str| serde_json::from_str(text).expect("a JSON object a line");
        Self(text.lines().map(line).collect())
    }

    pub fn of_kind(&self, kind: &str) -> Vec<&Value> {
        self.0.iter().filter(|line| line["kind"] == kind).collect()
    }

    pub fn summary(&self) -> &Value {
        let summaries = self.of_kind("summary");
        assert_eq!(summaries.len(), 1, "one summary");
        summaries[0]
    }

    pub fn stop_volume_l(&self) -> f64 {
        number(self.summary(), "/stop_volume_l")
    }

    /// Elapsed seconds at which an alarm was annunciated.
    pub fn annunciated(&self, alarm: &str) -> Vec<f64> {
        self.of_kind("alarm")
            .into_iter()
            .filter(|line| line["alarm"] == alarm && line["to"] == "unacknowledged")
            .map(|line| number(line, "/elapsed_s"))
            .collect()
    }
}

/// A number that must be there.
pub fn number(line: &Value, pointer: &str) -> f64 {
    let value = line.pointer(pointer).and_then(Value::as_f64);
    value.unwrap_or_else(|| panic!("no number at {pointer} in {line}"))
}

/// Fails unless both agree to within a share of the second.
pub fn assert_within(what: &str, found: f64, expected: f64, share: f64) {
    let error = found / expected - 1.0;
    assert!(
        error.abs() <= share,
        "{what}: {found:.2} for {expected:.2}, {:+.3} %",
        100.0 * error
    );
}

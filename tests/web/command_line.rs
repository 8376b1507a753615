//! The built binary, run as people type its commands.

use std::fs;
use std::io::Write as _;
use std::path::PathBuf;
use std::process::{Command, Output, Stdio};

use crate::brewhouse::Brewhouse;
use crate::invented::plan;

/// What a command came to.
#[derive(Debug)]
pub struct Outcome {
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
}

impl From<Output> for Outcome {
    fn from(output: Output) -> Self {
        Self {
            code: output.status.code(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }
}

impl Outcome {
    #[track_caller]
    pub fn done(&self) -> &str {
        assert_eq!(self.code, Some(0), "{self:?}");
        assert_eq!(self.err, "");
        &self.out
    }

    /// The words on standard error, after checking the code; nothing goes to standard output.
    #[track_caller]
    pub fn failed(&self, code: i32) -> &str {
        assert_eq!(self.code, Some(code), "{self:?}");
        assert_eq!(self.out, "");
        &self.err
    }
}

pub fn lauterd(arguments: &[&str]) -> Outcome {
    Command::new(env!("CARGO_BIN_EXE_lauterd"))
        .args(arguments)
        .env("TZ", "UTC")
        .output()
        .expect("the binary runs")
        .into()
}

/// With `answers` at its standard input.
pub fn lauterd_told(arguments: &[&str], answers: &str) -> Outcome {
    let mut child = Command::new(env!("CARGO_BIN_EXE_lauterd"))
        .args(arguments)
        .env("TZ", "UTC")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the binary runs");
    let mut input = child.stdin.take().expect("a pipe");
    input.write_all(answers.as_bytes()).unwrap();
    drop(input);
    child.wait_with_output().expect("it ends").into()
}

impl Brewhouse {
    /// A command against this service.
    pub fn command(&self, arguments: &[&str]) -> Outcome {
        let url = format!("http://{}", self.address);
        lauterd(&[arguments, &["--url", &url]].concat())
    }

    pub fn write(&self, name: &str, text: &str) -> PathBuf {
        let path = self.directory.path().join(name);
        fs::write(&path, text).unwrap();
        path
    }

    pub fn plan_file(&self, brew: &str) -> String {
        let text = toml::to_string(&plan(brew)).unwrap();
        self.write("plan.toml", &text).display().to_string()
    }
}

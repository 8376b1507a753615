//! A database server in a process of its own, on a free port, with its data in a temporary directory.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use tempfile::TempDir;

use super::brewhouse::free_port;
use super::http::{self, Answer, encode, get};
use super::mosquitto::peer;

pub struct Peer {
    process: Child,
    pub port: u16,
    start: (PathBuf, Vec<String>, &'static str),
    _directory: TempDir,
}

impl Peer {
    /// None, after a notice, where the program is not installed.
    async fn start(
        name: &str,
        ready: &'static str,
        arguments: impl FnOnce(&Path, u16) -> Vec<String>,
    ) -> Option<Self> {
        let program = peer(name)?;
        let directory = tempfile::tempdir().expect("a temporary directory");
        let port = free_port();
        let arguments = arguments(directory.path(), port);
        let started = Self {
            process: spawn(&program, &arguments),
            port,
            start: (program, arguments, ready),
            _directory: directory,
        };
        started.answers().await;
        Some(started)
    }

    async fn answers(&self) {
        let (program, _, ready) = &self.start;
        for _ in 0..600 {
            if let Ok(answer) = get(self.port, ready).await
                && matches!(answer.status, 200 | 204)
            {
                return;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        panic!("{} does not answer on {ready}", program.display());
    }

    pub fn id(&self) -> u32 {
        self.process.id()
    }

    /// Ends in order, keeping its data.
    pub fn stop(&mut self) {
        let sent = Command::new("kill")
            .arg(self.process.id().to_string())
            .status();
        assert!(sent.expect("kill runs").success());
        self.process.wait().expect("it ends");
    }

    /// Starts again on its data.
    pub async fn resume(&mut self) {
        let (program, arguments, _) = &self.start;
        self.process = spawn(program, arguments);
        self.answers().await;
    }

    pub async fn influxd() -> Option<Self> {
        let arguments = |directory: &Path, port: u16| {
            let root = directory.display();
            let configuration = format!(
                "reporting-disabled = true\nbind-address = \"127.0.0.1:{rpc}\"\n\
                 [meta]\ndir = \"{root}/meta\"\n\
                 [data]\ndir = \"{root}/data\"\nwal-dir = \"{root}/wal\"\n\
                 [monitor]\nstore-enabled = false\n\
                 [http]\nbind-address = \"127.0.0.1:{port}\"\n",
                rpc = free_port()
            );
            let file = directory.join("influxdb.conf");
            fs::write(&file, configuration).expect("its configuration");
            vec!["-config".to_owned(), file.display().to_string()]
        };
        let started = Self::start("influxd", "/ping", arguments).await?;
        let made = started.query("POST", "CREATE DATABASE lauter").await;
        assert_eq!(made.status, 200, "{}", made.body);
        Some(started)
    }

    pub async fn victoria_metrics() -> Option<Self> {
        Self::start("victoria-metrics", "/health", |directory, port| {
            vec![
                format!("-storageDataPath={}", directory.join("data").display()),
                format!("-httpListenAddr=127.0.0.1:{port}"),
                "-retentionPeriod=100y".to_owned(),
            ]
        })
        .await
    }

    /// A query in InfluxQL.
    pub async fn query(&self, method: &str, query: &str) -> Answer {
        let target = format!("/query?db=lauter&epoch=ns&q={}", encode(query));
        let answer = http::request(self.port, method, &target, ("text/plain", "")).await;
        answer.expect("an answer")
    }
}

fn spawn(program: &Path, arguments: &[String]) -> Child {
    Command::new(program)
        .args(arguments)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("it starts")
}

impl Drop for Peer {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

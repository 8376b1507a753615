//! A database server in a process of its own, on a free port, with its data in a temporary directory.

use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use tempfile::TempDir;

use super::brewhouse::free_port;
use super::http::{self, Answer, encode, get};
use super::mosquitto::peer;

pub struct Peer {
    process: Child,
    pub port: u16,
    _directory: TempDir,
}

impl Peer {
    /// None, after a notice, where the program is not installed.
    async fn start(
        name: &str,
        ready: &str,
        arguments: impl FnOnce(&Path, u16) -> Vec<String>,
    ) -> Option<Self> {
        let program = peer(name)?;
        let directory = tempfile::tempdir().expect("a temporary directory");
        let port = free_port();
        let process = Command::new(program)
            .args(arguments(directory.path(), port))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("it starts");
        let started = Self {
            process,
            port,
            _directory: directory,
        };
        for _ in 0..600 {
            if let Ok(answer) = get(port, ready).await
                && matches!(answer.status, 200 | 204)
            {
                return Some(started);
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        panic!("{name} does not answer on {ready}");
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

impl Drop for Peer {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

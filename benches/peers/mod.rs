//! Programs by others that benches are held against: clients in C and in Python, a broker, a database.
//!
//! Owns how they are found, built, started and ended. What is not installed is named and left out. Must not know what is
//! measured.

#![allow(dead_code, reason = "each bench uses what it needs")]

use std::ffi::OsString;
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use tempfile::TempDir;

use crate::paired::left_out;

fn directory() -> TempDir {
    tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a directory")
}

fn source(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("benches/peers")
        .join(file)
}

/// A program that does so much of something and prints how many a second it did.
pub struct Client {
    command: Vec<OsString>,
    _built: Option<TempDir>,
}

impl Client {
    /// Builds a client in C against `library`, by the name that pkg-config has for it.
    pub fn in_c(file: &str, library: &str) -> Option<Self> {
        let built = directory();
        let program = built.path().join("client");
        let flags = Command::new("pkg-config")
            .args(["--cflags", "--libs", library])
            .output()
            .ok()
            .filter(|output| output.status.success());
        let Some(flags) = flags else {
            left_out(&format!("{library} in C"), "not installed");
            return None;
        };
        let done = Command::new("cc")
            .args(["-O2", "-Wall", "-Wextra", "-Werror", "-o"])
            .arg(&program)
            .arg(source(file))
            .args(String::from_utf8_lossy(&flags.stdout).split_whitespace())
            .status();
        assert!(done.expect("a C compiler").success(), "{file} is not built");
        Some(Self {
            command: vec![program.into_os_string()],
            _built: Some(built),
        })
    }

    /// A client in Python, by the first interpreter that has `module`: that of benches/peers/requirements.txt, that of
    /// the tests, the system's.
    pub fn in_python(file: &str, module: &str) -> Option<Self> {
        let target = Path::new(env!("CARGO_TARGET_TMPDIR")).parent()?;
        let own = ["bench-venv", "peers-venv"].map(|venv| target.join(venv).join("bin/python3"));
        let has_it = |interpreter: &PathBuf| {
            Command::new(interpreter)
                .args(["-c", &format!("import {module}")])
                .stderr(Stdio::null())
                .status()
                .is_ok_and(|status| status.success())
        };
        let mut interpreters = own.into_iter().chain([PathBuf::from("python3")]);
        let Some(interpreter) = interpreters.find(has_it) else {
            left_out(&format!("{module} in Python"), "not installed");
            return None;
        };
        Some(Self {
            command: vec![interpreter.into(), source(file).into()],
            _built: None,
        })
    }

    /// Runs it once and gives the rate that it prints.
    pub fn rate(&self, arguments: &[&str]) -> f64 {
        let output = Command::new(&self.command[0])
            .args(&self.command[1..])
            .args(arguments)
            .stderr(Stdio::inherit())
            .output()
            .expect("the peer runs");
        let text = String::from_utf8_lossy(&output.stdout);
        text.trim().parse().expect("the peer prints its rate")
    }
}

/// A server, ended with the bench.
pub struct Server {
    child: Child,
    pub port: u16,
    _directory: TempDir,
}

impl Drop for Server {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

pub fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    listener.local_addr().expect("its address").port()
}

impl Server {
    fn start(name: &str, arguments: impl FnOnce(&Path, u16) -> Vec<String>) -> Option<Self> {
        let directory = directory();
        let port = free_port();
        let arguments = arguments(directory.path(), port);
        let places = ["/usr/sbin", "/usr/bin"].map(|place| PathBuf::from(place).join(name));
        let Some(program) = places.into_iter().find(|path| path.exists()) else {
            left_out(name, "not installed");
            return None;
        };
        let child = Command::new(program)
            .args(arguments)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("it starts");
        let server = Self {
            child,
            port,
            _directory: directory,
        };
        let begun = Instant::now();
        while TcpStream::connect(("127.0.0.1", port)).is_err() {
            assert!(
                begun.elapsed() < Duration::from_secs(20),
                "{name} does not answer"
            );
            std::thread::sleep(Duration::from_millis(20));
        }
        Some(server)
    }

    pub fn mosquitto() -> Option<Self> {
        Self::start("mosquitto", |directory, port| {
            let file = directory.join("mosquitto.conf");
            let text = format!(
                "listener {port} 127.0.0.1\nallow_anonymous true\nset_tcp_nodelay true\nuser root\n"
            );
            std::fs::write(&file, text).expect("its configuration is written");
            vec!["-c".to_owned(), file.display().to_string()]
        })
    }

    pub fn victoria_metrics() -> Option<Self> {
        Self::start("victoria-metrics", |directory, port| {
            vec![
                format!("-storageDataPath={}", directory.join("data").display()),
                format!("-httpListenAddr=127.0.0.1:{port}"),
                "-retentionPeriod=100y".to_owned(),
            ]
        })
    }
}

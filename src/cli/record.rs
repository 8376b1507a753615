//! `lauterd record`: every byte between the service's adapters and the instruments, with its time, into a file.
//!
//! Owns the file's form. The instruments are read exactly as the service reads them; the readings themselves are thrown
//! away. `simulators play` serves the same bytes again at a desk.

use std::fs::{File, OpenOptions};
use std::io::{BufWriter, Write as _};
use std::path::PathBuf;
use std::time::Duration;

use clap::Args;
use lauter_core::reading::Moment;
use serde::Serialize;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::text::print;
use crate::clock::{self, Clock, Start};
use crate::config::{self, Configuration};
use crate::exit::{Failure, Kind};
use crate::ingest::{self, Intake};
use crate::runtime::stop_on_signals;
use crate::tap::{Passed, Tap, Tapped};

/// Records the raw bytes of every link and the raw messages of every topic, with their times
///
/// The instruments are read as the service reads them; nothing is written to any. On a serial line nobody else may be
/// master meanwhile: stop the service first. The file ends at its limit, after --for, or with Ctrl-C. It holds the
/// configuration as well, which names no secret; play it at a desk with `simulators play FILE`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  lauterd record --config tun-1.toml --to fault.capture --for 600
  simulators play fault.capture --write-config desk.toml      at the desk, then: lauterd run --config desk.toml")]
pub struct Arguments {
    /// Configuration of the tun
    #[arg(long, value_name = "FILE")]
    config: PathBuf,
    /// File to write; it must not be there yet
    #[arg(long, value_name = "FILE")]
    to: PathBuf,
    /// Ends after so long; without it with Ctrl-C
    #[arg(long = "for", value_name = "SECONDS", value_parser = clap::value_parser!(u32).range(1..=2_592_000))]
    lasting: Option<u32>,
    /// Ends when the file has grown to this, MiB
    #[arg(long, value_name = "MIB", default_value_t = 256, value_parser = clap::value_parser!(u64).range(1..=65_536))]
    limit: u64,
}

/// First line of the file.
#[derive(Serialize)]
struct Head<'a> {
    /// Version of the form.
    capture: u32,
    /// When it began.
    time: String,
    configuration: &'a str,
}

/// Every further line.
#[derive(Serialize)]
struct Entry<'a> {
    /// Seconds since it began.
    at_s: f64,
    link: &'a str,
    what: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    topic: Option<&'a str>,
    /// Hexadecimal.
    #[serde(skip_serializing_if = "Option::is_none")]
    bytes: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    retained: Option<bool>,
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    let configuration = config::load(&arguments.config)?;
    let faults: Vec<String> = configuration
        .check_live()
        .iter()
        .map(ToString::to_string)
        .collect();
    if !faults.is_empty() {
        return Err(Failure::new(Kind::Configuration, faults.join("\n")));
    }
    let text = std::fs::read_to_string(&arguments.config).map_err(|error| {
        let path = arguments.config.display();
        Failure::new(Kind::NoInput, format!("{path}: cannot be read: {error}"))
    })?;
    let mut capture = Capture::create(arguments, &text)?;
    let runtime = tokio::runtime::Runtime::new()
        .map_err(|error| Failure::new(Kind::Io, format!("threads cannot be started: {error}")))?;
    let ended = runtime.block_on(record(&configuration, arguments, &mut capture));
    runtime.shutdown_timeout(Duration::from_millis(200));
    let ended = ended?;
    capture.finish()?;
    print(&format!("{}\n{}\n", ended, capture.told()))
}

async fn record(
    configuration: &Configuration,
    arguments: &Arguments,
    capture: &mut Capture,
) -> Result<&'static str, Failure> {
    let clock = Clock::start(&Start::default());
    let stop = CancellationToken::new();
    stop_on_signals(stop.clone())
        .map_err(|error| Failure::new(Kind::Io, format!("signals cannot be taken: {error}")))?;
    let (tap, mut tapped) = Tap::channel(clock);
    let (intake, mut arrivals) = Intake::channel();
    let intake = intake.tapped(tap.clone());
    let started = clock.now();
    let polling = ingest::modbus::start(configuration, &intake, clock, &stop);
    let subscription = ingest::mqtt::start(configuration, intake, clock, stop.clone());
    let lasting = arguments
        .lasting
        .map(|seconds| Duration::from_secs(u64::from(seconds)));
    let over = async {
        match lasting {
            Some(lasting) => tokio::time::sleep(lasting).await,
            None => std::future::pending().await,
        }
    };
    tokio::pin!(over);
    let ended = loop {
        tokio::select! {
            () = &mut over => break "The time is over.",
            () = stop.cancelled() => break "Stopped.",
            // Readings are of no interest here; they are taken so that nobody waits.
            Some(_) = arrivals.recv() => {}
            Some(passed) = tapped.recv() => {
                if !capture.take(&passed, started)? {
                    break "The file has reached its limit; the recording ends here.";
                }
            }
        }
    };
    stop.cancel();
    for task in polling.tasks {
        let _ = task.await;
    }
    if let Some((task, _)) = subscription {
        let _ = task.await;
    }
    capture.rest(&mut tapped, started)?;
    capture.missed = tap.refused();
    Ok(ended)
}

/// The file as it grows.
struct Capture {
    path: PathBuf,
    file: BufWriter<File>,
    written: u64,
    limit: u64,
    frames: u64,
    messages: u64,
    missed: u64,
}

impl Capture {
    fn create(arguments: &Arguments, configuration: &str) -> Result<Self, Failure> {
        let path = arguments.to.clone();
        // What was once captured may be all that is left of a fault: it is never written over.
        let file = OpenOptions::new().write(true).create_new(true).open(&path);
        let file = file.map_err(|error| {
            let path = path.display();
            Failure::new(
                Kind::Io,
                format!("{path}: cannot be made: {error}; name a new file"),
            )
        })?;
        let mut capture = Self {
            path,
            file: BufWriter::new(file),
            written: 0,
            limit: arguments.limit * 1024 * 1024,
            frames: 0,
            messages: 0,
            missed: 0,
        };
        let head = Head {
            capture: 1,
            time: format!("{:.3}", clock::wall_now()),
            configuration,
        };
        capture.line(&head)?;
        Ok(capture)
    }

    /// False when the file is full.
    fn take(&mut self, tapped: &Tapped, started: Moment) -> Result<bool, Failure> {
        let mut entry = Entry {
            at_s: tapped.at.since(started),
            link: &tapped.link,
            what: "opened",
            topic: None,
            bytes: None,
            retained: None,
        };
        match &tapped.passed {
            Passed::Opened => {}
            Passed::Closed => entry.what = "closed",
            Passed::Sent(bytes) => {
                entry.what = "sent";
                entry.bytes = Some(hexadecimal(bytes));
            }
            Passed::Received(bytes) => {
                entry.what = "received";
                entry.bytes = Some(hexadecimal(bytes));
                self.frames += 1;
            }
            Passed::Message {
                topic,
                payload,
                retained,
            } => {
                entry.what = "message";
                entry.topic = Some(topic);
                entry.bytes = Some(hexadecimal(payload));
                entry.retained = Some(*retained);
                self.messages += 1;
            }
        }
        self.line(&entry)?;
        Ok(self.written < self.limit)
    }

    /// What was on its way when it ended, as far as there is room.
    fn rest(
        &mut self,
        tapped: &mut mpsc::Receiver<Tapped>,
        started: Moment,
    ) -> Result<(), Failure> {
        while self.written < self.limit
            && let Ok(passed) = tapped.try_recv()
        {
            self.take(&passed, started)?;
        }
        Ok(())
    }

    fn line(&mut self, line: &impl Serialize) -> Result<(), Failure> {
        let mut text = serde_json::to_vec(line).unwrap_or_default();
        text.push(b'\n');
        self.written += text.len() as u64;
        let written = self.file.write_all(&text);
        written.map_err(|error| self.failed(&error))
    }

    fn finish(&mut self) -> Result<(), Failure> {
        let flushed = self.file.flush();
        flushed.map_err(|error| self.failed(&error))
    }

    fn failed(&self, error: &std::io::Error) -> Failure {
        let path = self.path.display();
        Failure::new(Kind::Io, format!("{path}: cannot be written: {error}"))
    }

    fn told(&self) -> String {
        let missed = if self.missed > 0 {
            format!(" {} chunks found no room and are missing.", self.missed)
        } else {
            String::new()
        };
        format!(
            "{} replies and {} messages, {:.1} KiB in {}.{missed}",
            self.frames,
            self.messages,
            self.written as f64 / 1024.0,
            self.path.display()
        )
    }
}

fn hexadecimal(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    let mut text = String::with_capacity(2 * bytes.len());
    for byte in bytes {
        let _ = write!(text, "{byte:02x}");
    }
    text
}

//! The file that a recording grows into, line by line.
//!
//! Owns its form: a head with the configuration, then what passed, in hexadecimal. `simulators play` reads it.

use std::collections::BTreeMap;
use std::fs::{File, OpenOptions};
use std::io::{BufWriter, Write as _};
use std::path::{Path, PathBuf};

use lauter_core::reading::Moment;
use serde::Serialize;
use tokio::sync::mpsc;

use crate::clock;
use crate::exit::{Failure, Kind};
use crate::tap::{Passed, Tapped};

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

/// The file as it grows.
pub struct Capture {
    path: PathBuf,
    file: BufWriter<File>,
    written: u64,
    limit: u64,
    /// What came in on each link.
    heard: BTreeMap<String, Heard>,
}

/// What came in on one link.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Heard {
    /// Chunks of bytes from devices.
    pub replies: u64,
    pub messages: u64,
}

impl Capture {
    /// Ends when it has grown to `limit` bytes.
    pub fn create(path: &Path, limit: u64, configuration: &str) -> Result<Self, Failure> {
        let path = path.to_owned();
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
            limit,
            heard: BTreeMap::new(),
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
    pub fn take(&mut self, tapped: &Tapped, started: Moment) -> Result<bool, Failure> {
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
                self.heard(&tapped.link).replies += 1;
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
                self.heard(&tapped.link).messages += 1;
            }
        }
        self.line(&entry)?;
        Ok(self.written < self.limit)
    }

    /// What was on its way when it ended, as far as there is room.
    pub fn rest(
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

    pub fn finish(&mut self) -> Result<(), Failure> {
        let flushed = self.file.flush();
        flushed.map_err(|error| self.failed(&error))
    }

    fn failed(&self, error: &std::io::Error) -> Failure {
        let path = self.path.display();
        Failure::new(Kind::Io, format!("{path}: cannot be written: {error}"))
    }

    fn heard(&mut self, link: &str) -> &mut Heard {
        self.heard.entry(link.to_owned()).or_default()
    }

    pub fn heard_on(&self, link: &str) -> Heard {
        self.heard.get(link).copied().unwrap_or_default()
    }

    /// How large it is and where.
    pub fn told(&self) -> String {
        let size_kib = self.written as f64 / 1024.0;
        format!("{size_kib:.1} KiB in {}", self.path.display())
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

//! `lauterd record`: every byte between the service's adapters and the instruments, with its time, into a file.
//!
//! Owns when it ends and what is told of each link. The instruments are read exactly as the service reads them; the
//! readings themselves are thrown away. `simulators play` serves the same bytes again at a desk.

mod capture;

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::PathBuf;
use std::time::Duration;

use clap::Args;
use lauter_core::supervisor::LinkState;
use tokio_util::sync::CancellationToken;

use self::capture::{Capture, Heard};
use super::beside::{Beside, Links, links_in_use};
use super::text::print;
use crate::clock::{Clock, Start};
use crate::config::{self, Configuration};
use crate::exit::{Failure, Kind};
use crate::ingest::{Arrival, Intake};
use crate::runtime::stop_on_signals;
use crate::tap::Tap;

/// Records the raw bytes of every link and the raw messages of every topic, with their times
///
/// The instruments are read as the service reads them; nothing is written to any. The service may run on beside it over
/// TCP and at the broker. A serial line has one master: stop the service first. The file ends at its limit, after --for, or
/// with Ctrl-C. It holds the configuration as well, which names no secret; play it at a desk with `simulators play FILE`.
/// Ends with 69 when a link gave nothing; the file then holds what the others gave.
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
    let limit = arguments.limit * 1024 * 1024;
    let mut capture = Capture::create(&arguments.to, limit, &text)?;
    let runtime = tokio::runtime::Runtime::new()
        .map_err(|error| Failure::new(Kind::Io, format!("threads cannot be started: {error}")))?;
    let recorded = runtime.block_on(record(&configuration, arguments.lasting, &mut capture));
    runtime.shutdown_timeout(Duration::from_millis(200));
    let recorded = recorded?;
    capture.finish()?;
    let links: Vec<Recorded<'_>> = links_in_use(&configuration)
        .into_iter()
        .map(|name| Recorded {
            name,
            heard: capture.heard_on(name),
            fault: recorded.fault_of(name),
        })
        .collect();
    let missed = match recorded.missed {
        0 => String::new(),
        missed => format!("{missed} chunks found no room and are missing.\n"),
    };
    print(&format!(
        "{}\n{}{missed}{}\n",
        recorded.ended,
        told(&links),
        capture.told()
    ))?;
    silent(&links)
}

/// How a recording went.
struct Outcome {
    /// Why it ended.
    ended: &'static str,
    links: Links,
    /// Chunks that found no room.
    missed: u64,
}

impl Outcome {
    /// Why a link was not to be had at the end.
    fn fault_of(&self, link: &str) -> Option<&str> {
        match self.links.get(link) {
            Some((LinkState::Down, why)) => Some(why),
            _ => None,
        }
    }
}

async fn record(
    configuration: &Configuration,
    lasting_s: Option<u32>,
    capture: &mut Capture,
) -> Result<Outcome, Failure> {
    let clock = Clock::start(&Start::default());
    let stop = CancellationToken::new();
    stop_on_signals(stop.clone())
        .map_err(|error| Failure::new(Kind::Io, format!("signals cannot be taken: {error}")))?;
    let (tap, mut tapped) = Tap::channel(clock);
    let (intake, mut arrivals) = Intake::channel();
    let started = clock.now();
    let intake = intake.tapped(tap.clone());
    let beside = Beside::start(configuration, "record", intake, clock, &stop);
    let over = async {
        match lasting_s {
            Some(seconds) => tokio::time::sleep(Duration::from_secs(u64::from(seconds))).await,
            None => std::future::pending().await,
        }
    };
    tokio::pin!(over);
    let mut links = Links::new();
    let ended = loop {
        tokio::select! {
            () = &mut over => break "The time is over.",
            () = stop.cancelled() => break "Stopped.",
            Some(arrival) = arrivals.recv() => note(&arrival, &mut links),
            Some(passed) = tapped.recv() => {
                if !capture.take(&passed, started)? {
                    break "The file has reached its limit; the recording ends here.";
                }
            }
        }
    };
    beside.end().await;
    capture.rest(&mut tapped, started)?;
    Ok(Outcome {
        ended,
        links,
        missed: tap.refused(),
    })
}

/// Readings are of no interest here. A link that fails is told at once: whoever waits for an hour should know in time that
/// there is nothing to wait for.
fn note(arrival: &Arrival, links: &mut Links) {
    let Arrival::Link {
        name,
        state,
        detail,
    } = arrival
    else {
        return;
    };
    // Nobody may be reading standard error; the recording goes on.
    let _ = writeln!(std::io::stderr(), "{name}: {detail}");
    links.insert(name.clone(), (*state, detail.clone()));
}

/// One link as it was recorded.
struct Recorded<'a> {
    name: &'a str,
    heard: Heard,
    /// Why it was not to be had at the end.
    fault: Option<&'a str>,
}

impl Recorded<'_> {
    fn is_silent(&self) -> bool {
        self.heard == Heard::default()
    }
}

/// A line for each link. Writing to a string cannot fail.
fn told(links: &[Recorded<'_>]) -> String {
    let mut page = String::new();
    for link in links {
        let Heard { replies, messages } = link.heard;
        let came = match (replies, messages) {
            (0, 0) => "nothing".to_owned(),
            (0, messages) => format!("{messages} messages"),
            (replies, _) => format!("{replies} replies"),
        };
        let why = link
            .fault
            .map_or_else(String::new, |why| format!("; at the end: {why}"));
        let _ = writeln!(page, "{}: {came}{why}", link.name);
    }
    page
}

fn silent(links: &[Recorded<'_>]) -> Result<(), Failure> {
    let names: Vec<&str> = links
        .iter()
        .filter(|link| link.is_silent())
        .map(|link| link.name)
        .collect();
    if names.is_empty() {
        return Ok(());
    }
    Err(Failure::new(
        Kind::Unavailable,
        format!(
            "nothing came on {}: the recording does not have it. Check that the devices are on and that nobody else holds \
             the line, or record for longer",
            names.join(", ")
        ),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_link_that_gave_nothing_is_named_with_its_reason_and_fails_the_recording() {
        let heard = Heard {
            replies: 12,
            messages: 0,
        };
        let link = |name, heard, fault| Recorded { name, heard, fault };
        let links = [
            link("skid", heard, None),
            link("panel", Heard::default(), Some("/dev/ttyUSB0 is locked")),
        ];
        let page = told(&links);
        assert_eq!(
            page,
            "skid: 12 replies\npanel: nothing; at the end: /dev/ttyUSB0 is locked\n"
        );
        let failure = silent(&links).expect_err("a silent link");
        assert_eq!(failure.kind, Kind::Unavailable);
        assert!(failure.message.contains("panel"), "{failure}");
        assert!(silent(&links[..1]).is_ok());
    }
}

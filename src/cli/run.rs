//! `lauterd run`: the service.

use std::path::PathBuf;
use std::time::Duration;

use clap::Args;

use crate::config;
use crate::exit::{Failure, Kind};
use crate::logging;
use crate::runtime::{HandedOver, Options, Signals, serve};

/// Runs the service: one tun for each configuration file.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  lauterd run --config /etc/lauterd/tun-1.toml
  lauterd run --config tun-1.toml --config tun-2.toml
Then start a brew:  lauterd brew start --config tun-1.toml --plan plan.toml
Read the files again:   systemctl reload lauterd  (or SIGHUP): taken whole, or not at all
Log level: RUST_LOG=debug lauterd run ...")]
pub struct Arguments {
    /// Configuration of a tun; may stand several times.
    #[arg(long, value_name = "FILE", default_value = "/etc/lauterd/lauterd.toml")]
    config: Vec<PathBuf>,
    /// Seconds of the watch in one real second, for a simulated brewhouse that runs as fast (simulators serve --speed).
    #[arg(long, value_name = "FACTOR", value_parser = speed)]
    speed: Option<f64>,
}

/// Long queries, password checks and name look-ups at a time; further ones wait. Own choice: the look-ups of broker and
/// database may both hang, and two are left for the page.
const BLOCKING_THREADS: usize = 4;

/// Tasks that are run before it is looked what has arrived and which timer has gone off, and before what the record's thread
/// has answered. With the runtime's own numbers, 61 and 31, an alarm would wait for hundreds of devices' answers at two
/// places. Own choice: a look costs about a microsecond, as a task does.
const LOOK_EVERY_TASKS: u32 = 8;
const ANSWERS_EVERY_TASKS: u32 = 2;

fn speed(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(speed) if (1.0..=600.0).contains(&speed) => Ok(speed),
        _ => Err("allowed is 1 to 600".to_owned()),
    }
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    logging::start();
    let handed_over = HandedOver::take()?;
    let load = || config::load_all(&arguments.config).map_err(Failure::from);
    // One thread does all the waiting: polling, the watch, publishing, the page. The record has its own, and a few more
    // come and go for long queries and passwords.
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .max_blocking_threads(BLOCKING_THREADS)
        .thread_keep_alive(Duration::from_secs(1))
        .event_interval(LOOK_EVERY_TASKS)
        .global_queue_interval(ANSWERS_EVERY_TASKS)
        .build()
        .map_err(|error| Failure::new(Kind::Io, format!("threads cannot be started: {error}")))?;
    let options = Options {
        speed: arguments.speed,
        handed_over,
        ..Options::default()
    };
    let outcome = runtime.block_on(async {
        let signals = Signals::listen()
            .map_err(|error| Failure::new(Kind::Io, format!("signals cannot be taken: {error}")))?;
        Box::pin(serve(load, options, &signals)).await
    });
    runtime.shutdown_timeout(Duration::from_millis(100));
    outcome
}

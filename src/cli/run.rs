//! `lauterd run`: the service.

use std::path::PathBuf;

use clap::Args;

use crate::config;
use crate::exit::{Failure, Kind};
use crate::logging;
use crate::runtime::{Options, Service, stop_on_signals};

/// Runs the service: one tun for each configuration file.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  lauterd run --config /etc/lauterd/tun-1.toml
  lauterd run --config tun-1.toml --config tun-2.toml
Then start a brew:  lauterd brew start --config tun-1.toml --plan plan.toml
Log level: RUST_LOG=debug lauterd run ...")]
pub struct Arguments {
    /// Configuration of a tun; may stand several times.
    #[arg(long, value_name = "FILE", default_value = "/etc/lauterd/lauterd.toml")]
    config: Vec<PathBuf>,
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    logging::start();
    let configurations = config::load_all(&arguments.config)?;
    let runtime = tokio::runtime::Runtime::new()
        .map_err(|error| Failure::new(Kind::Io, format!("threads cannot be started: {error}")))?;
    let outcome = runtime.block_on(async {
        let service = Service::start(configurations, Options::default()).await?;
        stop_on_signals(service.stopper())
            .map_err(|error| Failure::new(Kind::Io, format!("signals cannot be taken: {error}")))?;
        for tun in &service.tuns {
            tracing::info!("watching {}/{}", tun.site, tun.tun);
        }
        for address in &service.listening {
            let encrypted = service.encrypted.contains(address);
            let scheme = if encrypted { "https" } else { "http" };
            tracing::info!("listening on {scheme}://{address}");
        }
        service.watch_over().await;
        service.end().await;
        Ok(())
    });
    runtime.shutdown_timeout(std::time::Duration::from_millis(200));
    outcome
}

//! `simulators play`: a recorded brew as live instruments, or captured bytes as they were.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::time::Duration;

use crate::play::capture::Capture;
use crate::play::configuration::Played as Configuration;
use crate::play::recording::Recording;
use crate::play::{self, Options, PlayError};
use crate::scenario;
use clap::Args;

use super::serve::{broker, live, stop_signal, write_file};
use super::{Failure, print};

/// Plays a recorded brew as live instruments, over Modbus and MQTT as in a configuration.
///
/// The file is RUN.csv of `lauterd brew export` or of `simulators record`; or a capture of `lauterd record`, which is
/// served byte for byte, its faults included. Every link is served on this machine, whatever its address in the
/// configuration; write the configuration for it with --write-config. It ends with the recording.
#[derive(Debug, Args)]
pub struct Play {
    /// The recording: RUN.csv, or a capture.
    recording: PathBuf,
    /// lauterd's configuration of the tun: which instrument is read where. A capture brings its own.
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    /// Recorded seconds in a second.
    #[arg(long, default_value_t = 1.0)]
    speed: f64,
    /// Real seconds before it begins to run; its first row is shown meanwhile.
    #[arg(long, value_name = "S", default_value_t = 0.0)]
    start_after: f64,
    /// Address of the first Modbus TCP link; the others follow on the next ports. Without it free ports are taken.
    #[arg(long, value_name = "ADDR")]
    listen: Option<SocketAddr>,
    /// Broker for the instruments that publish; never the site's.
    #[arg(long, value_name = "HOST:PORT", value_parser = broker)]
    mqtt: Option<scenario::Mqtt>,
    /// Writes the configuration with the addresses really served.
    #[arg(long, value_name = "FILE")]
    write_config: Option<PathBuf>,
}

/// What is played.
enum Played {
    Brew(Configuration, Recording),
    Bytes(Configuration, Box<Capture>),
}

pub fn run(arguments: &Play) -> Result<(), Failure> {
    let capture = Capture::load(&arguments.recording)?;
    let played = match (capture, &arguments.config) {
        (Some(capture), Some(path)) => Played::Bytes(Configuration::load(path)?, Box::new(capture)),
        (Some(capture), None) => {
            let configuration = Configuration::parse(&capture.configuration);
            let configuration = configuration.map_err(|fault| PlayError::Configuration {
                path: arguments.recording.clone(),
                fault,
            })?;
            Played::Bytes(configuration, Box::new(capture))
        }
        (None, Some(path)) => {
            let recording = Recording::load(&arguments.recording)?;
            Played::Brew(Configuration::load(path)?, recording)
        }
        (None, None) => {
            let words = "a recorded brew needs the configuration of its tun: --config FILE";
            return Err(Failure::Refused(words.to_owned()));
        }
    };
    live()?.block_on(play(arguments, played))
}

async fn play(arguments: &Play, played: Played) -> Result<(), Failure> {
    let options = Options {
        speed: arguments.speed,
        start_after: Duration::try_from_secs_f64(arguments.start_after).unwrap_or_default(),
        listen: arguments.listen,
        mqtt: arguments.mqtt.clone(),
    };
    let (lasts_s, player) = match played {
        Played::Brew(configuration, recording) => (
            recording.ends_s() - recording.begins_s(),
            play::start(configuration, recording, options).await?,
        ),
        Played::Bytes(configuration, capture) => (
            capture.ends_s,
            play::start_capture(configuration, *capture, options).await?,
        ),
    };
    let minutes = lasts_s / 60.0;
    for (link, address) in player.tcp_links() {
        print(&format!("link {link}: Modbus on {address}"));
    }
    for (link, path) in player.serial_links() {
        print(&format!("link {link}: Modbus RTU on {path}"));
    }
    if let Some(path) = &arguments.write_config {
        write_file(path, &player.configuration())?;
    }
    print(&format!("{minutes:.1} min are played"));
    let mut position = player.watch();
    tokio::select! {
        stopped = stop_signal() => stopped.map_err(Failure::Runtime)?,
        // It fails only once the player has gone.
        _ = position.wait_for(|position| position.is_over) => {}
    }
    player.stop().await;
    Ok(())
}

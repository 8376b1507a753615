//! Recorded brews and captured bytes as live instruments.
//!
//! Owns the pace: where in the recording the present is. Instruments come from lauterd's own configuration, so that a
//! service that reads them cannot tell them from the real ones. The clock is read here and in `serve` alone.

pub mod capture;
pub mod configuration;
pub mod recording;
mod wire;

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::{Instant, MissedTickBehavior};

use crate::scenario::{ModbusLink, Mqtt, Parity};
use crate::serve::serial::Port;
use crate::serve::servers::{Servers, Shown, bind};
use crate::serve::{ServeError, check_speed};
use capture::{Capture, Framing};
use configuration::Played;
use recording::Recording;
use wire::Wire;

/// Steps of the recording, s, and the shortest and longest tick: fine enough that a poll finds the row of its moment.
const STEP_S: f64 = 0.25;
const SHORTEST_TICK: Duration = Duration::from_millis(2);
const LONGEST_TICK: Duration = Duration::from_millis(50);

/// How a recording is played.
#[derive(Clone, Debug)]
pub struct Options {
    /// Recorded seconds in a second.
    pub speed: f64,
    /// Real time before it begins to run; the first row is shown from the start.
    pub start_after: Duration,
    /// Address of the first Modbus TCP link; the others follow on the next ports. Without it free ports are taken.
    pub listen: Option<SocketAddr>,
    /// Broker of the instruments that publish; never taken from the configuration.
    pub mqtt: Option<Mqtt>,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            speed: 1.0,
            start_after: Duration::ZERO,
            listen: None,
            mqtt: None,
        }
    }
}

/// Why a recording could not be played.
#[derive(Debug, thiserror::Error)]
pub enum PlayError {
    #[error("{}: {source}; name a file that can be read", path.display())]
    NoInput {
        path: PathBuf,
        source: std::io::Error,
    },
    #[error("{}: {fault}", path.display())]
    Configuration { path: PathBuf, fault: String },
    #[error("{}: {fault}", path.display())]
    Data { path: PathBuf, fault: String },
    #[error(
        "{0} publish over MQTT: name a broker for them with --mqtt. Not the site's: whoever listens there would take \
         the recording for the present"
    )]
    NoBroker(String),
    #[error("no instrument of the configuration is in the recording; its columns are: {0}")]
    NothingToPlay(String),
    #[error(
        "no recorded instrument has modbus or mqtt in the configuration, so nobody could read them: name the tun's own, \
         or one from `simulators config`"
    )]
    NoWayToRead,
    #[error(transparent)]
    Serve(#[from] ServeError),
}

impl PlayError {
    /// After the convention of BSD sysexits.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::NoInput { .. } => 66,
            Self::Configuration { .. } | Self::NoWayToRead => 78,
            Self::Data { .. } | Self::NothingToPlay(_) => 65,
            Self::NoBroker(_) | Self::Serve(ServeError::Speed(_)) => 64,
            Self::Serve(_) => 69,
        }
    }
}

/// A recording that is being played. Dropping it stops everything.
#[derive(Debug)]
pub struct Player {
    servers: Servers,
    played: Played,
    position: watch::Receiver<Position>,
}

/// Where it has got to.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Position {
    /// The recording's own clock, s.
    pub elapsed_s: f64,
    pub is_over: bool,
}

impl Player {
    /// The configuration with the addresses that are really served.
    pub fn configuration(&self) -> String {
        self.played.text()
    }

    /// Bound address of each TCP link, by its name.
    pub fn tcp_links(&self) -> &[(String, SocketAddr)] {
        &self.servers.tcp
    }

    /// Path a client opens for each serial link, by its name.
    pub fn serial_links(&self) -> &[(String, String)] {
        &self.servers.serial
    }

    pub fn watch(&self) -> watch::Receiver<Position> {
        self.position.clone()
    }

    /// Ends all servers and waits until they have let go of their ports.
    pub async fn stop(mut self) {
        self.servers.stop().await;
    }
}

/// Starts playing. All listeners are bound when this returns.
pub async fn start(
    mut played: Played,
    recording: Recording,
    options: Options,
) -> Result<Player, PlayError> {
    check_speed(options.speed)?;
    recording.check(&played.instruments)?;
    let instruments = played.instruments.clone();
    let (show, shown) = watch::channel(Arc::new(
        recording.shown(&instruments, recording.begins_s()),
    ));
    let (tell, position) = watch::channel(Position::default());
    let mut servers = Servers::new(shown);
    played.redirect(options.listen);
    for index in 0..played.links.len() {
        let served = servers.link(&instruments, &played.links[index]).await?;
        played.links[index] = served;
    }
    let publishing = instruments.iter().filter(|i| i.mqtt.is_some());
    let publishing: Vec<&str> = publishing.map(|i| i.id.as_str()).collect();
    if !publishing.is_empty() {
        let broker = options
            .mqtt
            .clone()
            .ok_or_else(|| PlayError::NoBroker(publishing.join(", ")))?;
        servers.publish("recording", &instruments, &broker);
        played.broker = Some(broker);
    }
    let stop = servers.shared.stop.clone();
    let pace = Pace {
        speed: options.speed,
        start_after: options.start_after,
    };
    servers.tasks.spawn(async move {
        let playing = pace.play(
            recording.begins_s(),
            recording.ends_s(),
            |elapsed_s, is_over| {
                show.send_replace(Arc::new(if is_over {
                    Shown::silent(&instruments)
                } else {
                    recording.shown(&instruments, elapsed_s)
                }));
                tell.send_replace(Position { elapsed_s, is_over });
            },
        );
        stop.run_until_cancelled(playing).await;
    });
    Ok(Player {
        servers,
        played,
        position,
    })
}

/// Starts serving captured bytes. All listeners are bound when this returns.
pub async fn start_capture(
    mut played: Played,
    capture: Capture,
    options: Options,
) -> Result<Player, PlayError> {
    check_speed(options.speed)?;
    let capture = Arc::new(capture);
    let (_, shown) = watch::channel(Arc::new(Shown::default()));
    let (tell, position) = watch::channel(Position::default());
    let mut servers = Servers::new(shown);
    played.redirect(options.listen);
    for link in &mut played.links {
        let wire = Wire {
            capture: Arc::clone(&capture),
            link: link.name.clone(),
            framing: if link.tcp.is_some() {
                Framing::Tcp
            } else {
                Framing::Serial
            },
            position: position.clone(),
        };
        captured_link(&mut servers, link, wire).await?;
    }
    if !capture.messages.is_empty() {
        let broker = options
            .mqtt
            .clone()
            .ok_or_else(|| PlayError::NoBroker("captured messages".to_owned()))?;
        played.broker = Some(broker.clone());
        let stop = servers.shared.stop.clone();
        let publishing = wire::publish(Arc::clone(&capture), broker, position.clone());
        servers.tasks.spawn(async move {
            stop.run_until_cancelled(publishing).await;
        });
    }
    let pace = Pace {
        speed: options.speed,
        start_after: options.start_after,
    };
    let stop = servers.shared.stop.clone();
    servers.tasks.spawn(async move {
        let playing = pace.play(0.0, capture.ends_s, |elapsed_s, is_over| {
            tell.send_replace(Position { elapsed_s, is_over });
        });
        stop.run_until_cancelled(playing).await;
    });
    Ok(Player {
        servers,
        played,
        position,
    })
}

/// Serves one link of a capture, and puts its real address into it.
async fn captured_link(
    servers: &mut Servers,
    link: &mut ModbusLink,
    wire: Wire,
) -> Result<(), ServeError> {
    let stop = servers.shared.stop.clone();
    let name = link.name.clone();
    if let Some(place) = link.tcp.as_mut().or(link.rtu_over_tcp.as_mut()) {
        let (listener, bound) = bind(&name, place).await?;
        *place = bound.to_string();
        servers.tcp.push((name, bound));
        servers.tasks.spawn(async move {
            stop.run_until_cancelled(wire.listen(listener)).await;
        });
        return Ok(());
    }
    let mut port = Port::open(link, "pty").map_err(|source| ServeError::Serial {
        link: name.clone(),
        path: "pty".to_owned(),
        source,
    })?;
    link.rtu = Some(port.client_path().to_owned());
    // A pseudo-terminal has no parity bit, and opening one with parity fails.
    link.parity = Some(Parity::None);
    servers.serial.push((name, port.client_path().to_owned()));
    servers.tasks.spawn(async move {
        // A pseudo-terminal whose client has gone fails once and serves the next one.
        let serving = async {
            loop {
                let _ = wire.serve(port.stream()).await;
                tokio::time::sleep(LONGEST_TICK).await;
            }
        };
        stop.run_until_cancelled(serving).await;
    });
    Ok(())
}

/// How fast the recording's time passes.
#[derive(Clone, Copy, Debug)]
struct Pace {
    speed: f64,
    start_after: Duration,
}

impl Pace {
    /// Tells the recorded moment that is now, again and again, and at the end that it is over. The moment is always
    /// computed from the start, so that a late tick is caught up by the next.
    async fn play(self, begins_s: f64, ends_s: f64, mut tell: impl FnMut(f64, bool)) {
        let tick = Duration::from_secs_f64(STEP_S / self.speed);
        let mut ticks = tokio::time::interval(tick.clamp(SHORTEST_TICK, LONGEST_TICK));
        ticks.set_missed_tick_behavior(MissedTickBehavior::Skip);
        let start = Instant::now() + self.start_after;
        loop {
            ticks.tick().await;
            let passed = Instant::now().saturating_duration_since(start);
            let elapsed_s = begins_s + passed.as_secs_f64() * self.speed;
            if elapsed_s > ends_s {
                break;
            }
            tell(elapsed_s, false);
        }
        tell(ends_s, true);
        std::future::pending::<()>().await;
    }
}

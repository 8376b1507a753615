//! `simulators serve`: the live brewhouse with its console.
//!
//! Commands come as lines on standard input, answers go to standard output. The end of the input is not the end of
//! the brewhouse, so that it can run without a terminal.

use std::fs::File;
use std::io::{BufRead as _, IsTerminal as _, Write};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;

use crate::serve::{self, Handle, Options, ServeError, Snapshot};
use crate::{Fault, Scenario, fault, lauterd_files, scenario};
use clap::Args;
use tokio::sync::mpsc;

use super::control::{self, Asked};
use super::{Failure, print};

/// Command lines that may wait.
const WAITING_LINES: usize = 16;

/// How a scenario is served.
#[derive(Debug, Args)]
pub struct Serve {
    /// Scenario: a file, or the name of one that is built in.
    pub scenario: PathBuf,
    /// Simulated seconds in a second.
    #[arg(long, default_value_t = 1.0)]
    speed: f64,
    /// Seed of all randomness; without it the scenario's own.
    #[arg(long)]
    seed: Option<u64>,
    /// Address of the first Modbus TCP link; port 0 takes a free one.
    #[arg(long, value_name = "ADDR")]
    modbus_tcp: Option<SocketAddr>,
    /// Device of the first serial link; "pty" makes a pseudo-terminal and prints its path (open it
    /// with parity "none": it has no other).
    #[arg(long, value_name = "PATH")]
    rtu: Option<String>,
    /// Broker of the MQTT instruments.
    #[arg(long, value_name = "HOST:PORT", value_parser = broker)]
    mqtt: Option<scenario::Mqtt>,
    /// Serves the scenario's time-series database here: it takes every write and keeps nothing.
    #[arg(long, value_name = "ADDR")]
    database: Option<SocketAddr>,
    /// Takes commands at this address as well, from `simulators inject`.
    #[arg(long, value_name = "ADDR")]
    control: Option<SocketAddr>,
    /// Writes lauterd's configuration for the addresses really served.
    #[arg(long, value_name = "FILE")]
    write_config: Option<PathBuf>,
    /// Real seconds before the run-off begins; instruments answer from the start.
    #[arg(long, value_name = "S", default_value_t = 0.0)]
    start_after: f64,
    /// Writes the true state as a JSON line every 10 simulated seconds; "-" is standard output.
    #[arg(long, value_name = "FILE")]
    truth: Option<PathBuf>,
    /// Stops when the run is over; otherwise the instruments go on answering.
    #[arg(long)]
    until_finished: bool,
}

pub(super) fn broker(text: &str) -> Result<scenario::Mqtt, String> {
    let parts = text.rsplit_once(':');
    let parsed = parts.and_then(|(host, port)| Some((host, port.parse::<u16>().ok()?)));
    match parsed {
        Some((host, port)) if !host.is_empty() => Ok(scenario::Mqtt {
            host: host.to_owned(),
            port,
        }),
        _ => Err("give HOST:PORT, for example 127.0.0.1:1883".to_owned()),
    }
}

/// Serves until it is told to stop.
pub fn run(scenario: &Scenario, arguments: &Serve) -> Result<(), Failure> {
    let truth = TruthLines::open(arguments.truth.as_ref())?;
    live()?.block_on(serve(scenario, arguments, truth))
}

/// What everything live runs on, and where its log goes.
pub(super) fn live() -> Result<tokio::runtime::Runtime, Failure> {
    tracing_subscriber::fmt()
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal())
        .with_env_filter(
            tracing_subscriber::EnvFilter::try_from_default_env()
                .unwrap_or_else(|_| "simulators=info".into()),
        )
        .init();
    tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(Failure::Runtime)
}

async fn serve(
    scenario: &Scenario,
    arguments: &Serve,
    mut truth: TruthLines,
) -> Result<(), Failure> {
    let options = Options {
        seed: arguments.seed.unwrap_or(scenario.seed),
        speed: arguments.speed,
        start_after: Duration::try_from_secs_f64(arguments.start_after).unwrap_or_default(),
        modbus_tcp: arguments.modbus_tcp,
        rtu: arguments.rtu.clone(),
        mqtt: arguments.mqtt.clone(),
        database: arguments.database,
    };
    let handle = serve::start(scenario, options).await?;
    announce(scenario, &handle);
    if let Some(path) = &arguments.write_config {
        write_file(path, &lauterd_files::configuration(handle.scenario()))?;
    }
    let mut asked = match arguments.control {
        Some(address) => Some(control(address).await?),
        None => None,
    };
    let mut lines = standard_input();
    let mut snapshots = handle.watch();
    let mut stop = std::pin::pin!(stop_signal());
    loop {
        tokio::select! {
            stopped = &mut stop => {
                stopped.map_err(Failure::Runtime)?;
                break;
            }
            Some(line) = lines.recv() => answered(command(&handle, &line).await),
            Some(asked) = next(&mut asked) => {
                let answer = command(&handle, &asked.line).await;
                // Whoever asked may have gone.
                let _ = asked.answer.send(answer);
            }
            changed = snapshots.changed() => {
                let snapshot = snapshots.borrow_and_update().clone();
                truth.write(&snapshot)?;
                if changed.is_err() || (snapshot.finished && arguments.until_finished) {
                    break;
                }
            }
        }
    }
    handle.stop().await;
    Ok(())
}

fn announce(scenario: &Scenario, handle: &Handle) {
    for (link, address) in handle.tcp_links() {
        print(&format!("link {link}: Modbus on {address}"));
    }
    for (link, path) in handle.serial_links() {
        print(&format!("link {link}: Modbus RTU on {path}"));
    }
    print(&format!(
        "{} is running; type help for what may go wrong",
        scenario.name
    ));
}

/// Lines from a thread of their own: standard input cannot be waited for otherwise without being read at exit.
fn standard_input() -> mpsc::Receiver<String> {
    let (send, receive) = mpsc::channel(WAITING_LINES);
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines() {
            let Ok(line) = line else { break };
            if send.blocking_send(line).is_err() {
                break;
            }
        }
    });
    receive
}

/// The end of the console's input is not the end of commands from elsewhere.
async fn next(asked: &mut Option<mpsc::Receiver<Asked>>) -> Option<Asked> {
    match asked {
        Some(asked) => asked.recv().await,
        None => None,
    }
}

async fn control(address: SocketAddr) -> Result<mpsc::Receiver<Asked>, Failure> {
    let (bound, asked) = control::listen(address)
        .await
        .map_err(|source| ServeError::Listen {
            link: "control".to_owned(),
            address: address.to_string(),
            source,
        })?;
    print(&format!("control on {bound}"));
    Ok(asked)
}

fn answered(answer: Result<String, String>) {
    match answer {
        Ok(words) if words.is_empty() => {}
        Ok(words) | Err(words) => print(&words),
    }
}

/// What a command answers, or why it is not carried out.
async fn command(handle: &Handle, line: &str) -> Result<String, String> {
    match line.trim() {
        "" => Ok(String::new()),
        "help" => Ok(fault::HELP.to_owned()),
        "truth" => Ok(serde_json::to_string(&handle.truth()).expect("finite numbers")),
        other => {
            let fault = Fault::from_command(other).map_err(|error| error.to_string())?;
            let injected = handle.inject(fault).await;
            injected.map_err(|error| error.to_string())?;
            Ok(format!("{:.0} s: {other}", handle.truth().elapsed_s))
        }
    }
}

pub(super) fn write_file(path: &Path, text: &str) -> Result<(), Failure> {
    std::fs::write(path, text).map_err(|source| Failure::Output {
        path: path.to_owned(),
        source,
    })
}

pub(super) async fn stop_signal() -> std::io::Result<()> {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        let mut terminate = signal(SignalKind::terminate())?;
        tokio::select! {
            interrupted = tokio::signal::ctrl_c() => interrupted,
            _ = terminate.recv() => Ok(()),
        }
    }
    #[cfg(not(unix))]
    tokio::signal::ctrl_c().await
}

/// The truth as JSON lines.
struct TruthLines {
    file: Option<(PathBuf, Box<dyn Write + Send>)>,
    next_s: f64,
    ended: bool,
}

impl TruthLines {
    const EVERY_S: f64 = 10.0;

    fn open(path: Option<&PathBuf>) -> Result<Self, Failure> {
        let file = match path {
            None => None,
            Some(path) if path.as_os_str() == "-" => {
                let out: Box<dyn Write + Send> = Box::new(std::io::stdout());
                Some((path.clone(), out))
            }
            Some(path) => {
                let file = File::create(path).map_err(|source| Failure::Output {
                    path: path.clone(),
                    source,
                })?;
                let out: Box<dyn Write + Send> = Box::new(file);
                Some((path.clone(), out))
            }
        };
        Ok(Self {
            file,
            next_s: 0.0,
            ended: false,
        })
    }

    fn write(&mut self, snapshot: &Snapshot) -> Result<(), Failure> {
        let Some((path, file)) = &mut self.file else {
            return Ok(());
        };
        let ends = snapshot.finished && !self.ended;
        if snapshot.truth.elapsed_s < self.next_s && !ends {
            return Ok(());
        }
        self.ended = snapshot.finished;
        self.next_s = snapshot.truth.elapsed_s + Self::EVERY_S;
        let line = serde_json::json!({
            "truth": snapshot.truth,
            "crossings": snapshot.crossings,
            "finished": snapshot.finished,
        });
        writeln!(file, "{line}")
            .and_then(|()| file.flush())
            .map_err(|source| Failure::Output {
                path: path.clone(),
                source,
            })
    }
}

impl From<ServeError> for Failure {
    fn from(error: ServeError) -> Self {
        Self::Serve(error)
    }
}

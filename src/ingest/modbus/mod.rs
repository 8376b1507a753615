//! Instruments read over Modbus: TCP, RTU over TCP, RTU on a serial line.
//!
//! Owns one task for each link. It only ever reads: no function that writes to a device is imported, and a
//! test searches the sources for one. Knows the configuration, the clock and the intake; never MQTT, a
//! publisher or the supervisor.
//!
//! | module | owns |
//! |---|---|
//! | `plan` | which registers are read together |
//! | `schedule` | when each read is due, and who has fallen silent |
//! | `transport` | opening a link; a quiet line before use |
//! | `exchange` | one request and its checked answer |
//! | `limit` | how long a request may take |
//! | `guard` | nothing sent while unread bytes wait; what came since a request |
//! | `fault` | why an answer could not be believed, in words |
//! | `decode` | registers and bits to numbers and status |
//! | `delivery` | value and status to one reading |
//! | `link` | the task, the connection, what is reported about it |

mod decode;
mod delivery;
mod exchange;
mod fault;
mod guard;
mod health;
mod limit;
mod link;
mod parameters;
mod plan;
pub mod probe;
mod schedule;
mod transport;
#[doc(hidden)]
pub mod trial;

#[cfg(test)]
mod hostile;
#[cfg(test)]
mod read_only;
#[cfg(test)]
mod testing;

use std::sync::Arc;

use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use crate::clock::Clock;
use crate::config::model::{Configuration, ConfiguredInstrument, ModbusLink, Source};
use crate::ingest::Intake;

pub use decode::number;
pub use health::{LinkFigures, LinkHealth};
pub use parameters::Parameters;

use link::{Link, NamedPoint};

/// The links as they run.
#[derive(Debug)]
pub struct Polling {
    /// One for each link that has an instrument. They end only when stopped, and then at once, as cancelled tasks.
    pub tasks: Vec<JoinHandle<()>>,
    /// One for each configured link, in the order of the configuration.
    pub links: Vec<Arc<LinkHealth>>,
}

/// Starts polling every configured link until `stop`. Must be called inside a tokio runtime.
pub fn start(
    configuration: &Configuration,
    intake: &Intake,
    clock: Clock,
    stop: &CancellationToken,
) -> Polling {
    start_links(
        &configuration.modbus_links,
        &configuration.instruments,
        intake,
        clock,
        Parameters::default(),
        stop,
    )
}

/// As `start`, from the parts of the configuration that matter here and with other parameters.
pub fn start_links(
    links: &[ModbusLink],
    instruments: &[ConfiguredInstrument],
    intake: &Intake,
    clock: Clock,
    parameters: Parameters,
    stop: &CancellationToken,
) -> Polling {
    let mut polling = Polling {
        tasks: Vec::new(),
        links: Vec::new(),
    };
    for (index, link) in links.iter().enumerate() {
        let health = Arc::new(LinkHealth::new(&link.name));
        polling.links.push(Arc::clone(&health));
        let points = points_of(index, instruments);
        if points.is_empty() {
            continue;
        }
        let task = Link::new(
            link.clone(),
            points,
            intake.clone(),
            clock,
            parameters,
            health,
        );
        polling.tasks.push(tokio::spawn(task.run()));
    }
    end_with(stop.clone(), &polling.tasks);
    polling
}

/// Ends the tasks at `stop`. One task waits for it, so that no link has to look at every answer.
fn end_with(stop: CancellationToken, tasks: &[JoinHandle<()>]) {
    let tasks: Vec<_> = tasks.iter().map(JoinHandle::abort_handle).collect();
    tokio::spawn(async move {
        stop.cancelled().await;
        for task in tasks {
            task.abort();
        }
    });
}

fn points_of(link: usize, instruments: &[ConfiguredInstrument]) -> Vec<NamedPoint> {
    instruments
        .iter()
        .enumerate()
        .filter_map(|(index, configured)| match &configured.source {
            Source::Modbus(point) if point.link == link => {
                Some((index, configured.instrument.id.clone(), point.clone()))
            }
            _ => None,
        })
        .collect()
}

//! Every instrument of a tun, read for a while by the adapters of the service.

use std::time::Duration;

use lauter_core::reading::Reading;
use tokio_util::sync::CancellationToken;

use crate::cli::beside::{Beside, Links};
use crate::clock::{Clock, Start};
use crate::commission::plausible::Watched;
use crate::config::Configuration;
use crate::config::model::{Source, ValueType};
use crate::ingest::{Arrival, Intake};

/// What came in.
#[derive(Debug, Default)]
pub struct Looked {
    /// In the order of the configuration: seconds, and the reading.
    readings: Vec<Vec<(f64, Reading)>>,
    /// Latest state of each link and why.
    pub links: Links,
}

impl Looked {
    pub fn watched<'a>(&self, configuration: &'a Configuration) -> Vec<Watched<'a>> {
        configuration
            .instruments
            .iter()
            .zip(&self.readings)
            .map(|(configured, readings)| Watched {
                instrument: &configured.instrument,
                readings: readings
                    .iter()
                    .map(|(at_s, reading)| (*at_s, reading.value, reading.status))
                    .collect(),
                step: step(&configured.source),
            })
            .collect()
    }
}

/// What one count of an integer register stands for.
fn step(source: &Source) -> Option<f64> {
    match source {
        Source::Modbus(point) => match point.value_type {
            ValueType::F32 | ValueType::F64 | ValueType::Bit => None,
            _ => Some(point.scale.abs()),
        },
        Source::Mqtt(_) | Source::Recorded => None,
    }
}

/// Reads everything for so long. Must be called inside a tokio runtime.
pub async fn look(configuration: &Configuration, lasting: Duration) -> Looked {
    let clock = Clock::start(&Start::default());
    let stop = CancellationToken::new();
    let (intake, mut arrivals) = Intake::channel();
    let beside = Beside::start(configuration, "commission", intake, clock, &stop);
    let mut looked = Looked {
        readings: vec![Vec::new(); configuration.instruments.len()],
        links: Links::new(),
    };
    let started = clock.now();
    let take = async {
        while let Some(arrival) = arrivals.recv().await {
            match arrival {
                Arrival::Reading {
                    instrument,
                    reading,
                } => looked.readings[instrument].push((reading.at.since(started), reading)),
                Arrival::Link {
                    name,
                    state,
                    detail,
                } => _ = looked.links.insert(name, (state, detail)),
            }
        }
    };
    // The end of the time is the end of the look.
    let _ = tokio::time::timeout(lasting, take).await;
    beside.end().await;
    looked
}

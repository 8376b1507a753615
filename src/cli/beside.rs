//! The instruments of a tun read by a command, beside the service that may be reading them.
//!
//! Owns what keeps the two apart at the broker: a client id of the command's own, since a broker throws out whoever holds
//! an id when another comes with it. A serial line has one master: there the lock of the line tells the command that it
//! is taken, as the state of that link. Nothing is written to any instrument.

use std::collections::BTreeMap;
use std::sync::Arc;

use lauter_core::supervisor::LinkState;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use crate::clock::Clock;
use crate::config::Configuration;
use crate::config::model::Source;
use crate::ingest::mqtt::MqttIngestHealth;
use crate::ingest::{self, Intake, modbus};

/// Every link of a tun while a command reads it.
pub struct Beside {
    polling: modbus::Polling,
    subscription: Option<(JoinHandle<()>, Arc<MqttIngestHealth>)>,
    stop: CancellationToken,
}

impl Beside {
    /// Must be called inside a tokio runtime. `command` is a word for the client id.
    pub fn start(
        configuration: &Configuration,
        command: &str,
        intake: Intake,
        clock: Clock,
        stop: &CancellationToken,
    ) -> Self {
        let mut ours = configuration.clone();
        if let Some(mqtt) = &mut ours.mqtt {
            mqtt.client_id = client_id(&mqtt.client_id, command, std::process::id());
        }
        Self {
            polling: modbus::start(&ours, &intake, clock, stop),
            subscription: ingest::mqtt::start(&ours, intake, clock, stop.clone()),
            stop: stop.clone(),
        }
    }

    /// Leaves every link, and waits until it is left.
    pub async fn end(self) {
        self.stop.cancel();
        for task in self.polling.tasks {
            let _ = task.await;
        }
        if let Some((task, _)) = self.subscription {
            let _ = task.await;
        }
    }
}

fn client_id(service: &str, command: &str, process: u32) -> String {
    format!("{service}-{command}-{process}")
}

/// The names of the links that some instrument is read from, in the order of the configuration.
pub fn links_in_use(configuration: &Configuration) -> Vec<&str> {
    let serves = |index: usize| {
        configuration
            .instruments
            .iter()
            .any(|each| matches!(&each.source, Source::Modbus(point) if point.link == index))
    };
    let modbus = configuration.modbus_links.iter().enumerate();
    let broker = configuration
        .instruments
        .iter()
        .any(|each| matches!(each.source, Source::Mqtt(_)));
    modbus
        .filter(|(index, _)| serves(*index))
        .map(|(_, link)| link.name.as_str())
        .chain(broker.then_some(ingest::mqtt::LINK))
        .collect()
}

/// Latest state of each link and why, by the link's name.
pub type Links = BTreeMap<String, (LinkState, String)>;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_command_never_comes_with_the_services_client_id_nor_with_that_of_another_command() {
        let ids = [
            client_id("lauterd-east-tun-1", "record", 7),
            client_id("lauterd-east-tun-1", "record", 8),
            client_id("lauterd-east-tun-1", "commission", 7),
        ];
        for (index, id) in ids.iter().enumerate() {
            assert!(!id.ends_with("-instruments") && id != "lauterd-east-tun-1");
            assert!(ids[..index].iter().all(|other| other != id), "{ids:?}");
        }
    }
}

//! Which tuns are devices of which Sparkplug edge node.
//!
//! Owns the joining of several tuns' files to one node, and what they must agree on for it.

use std::collections::BTreeMap;
use std::time::Duration;

use lauter_core::reading::Moment;
use lauter_core::supervisor::{Dated, Output};
use serde_json::{Value, json};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use crate::clock::{Clock, wall_now};
use crate::config::Configuration;
use crate::config::model::Sparkplug;
use crate::publish::mqtt::pace::ReadingPace;
use crate::publish::sparkplug::node::Declared;
use crate::publish::sparkplug::outlet::Outlet;
use crate::publish::sparkplug::topics::Topics;
use crate::publish::sparkplug::{self as node, Setting, metrics};

/// A tun that says nothing for so long is dead to receivers. Own choice: a tun puts out its readings every second.
const SILENT_AFTER: Duration = Duration::from_secs(15);
/// And at least so many of its own periods.
const SILENT_PERIODS: f64 = 3.0;

/// Group and edge node, and the tuns that are its devices.
type Nodes<'a> = BTreeMap<(&'a str, &'a str), Vec<(&'a Configuration, &'a Sparkplug)>>;

fn nodes(configurations: &[Configuration]) -> Nodes<'_> {
    let mut nodes = Nodes::new();
    for configuration in configurations {
        if let Some(sparkplug) = &configuration.sparkplug {
            let key = (sparkplug.group.as_str(), sparkplug.edge_node.as_str());
            nodes
                .entry(key)
                .or_default()
                .push((configuration, sparkplug));
        }
    }
    nodes
}

/// Two tuns of one node must have the same broker and host, and names of their own.
pub fn disagreements(configurations: &[Configuration]) -> Vec<String> {
    let mut faults = Vec::new();
    for ((group, edge_node), tuns) in nodes(configurations) {
        let Some(((first, setting), others)) = tuns.split_first() else {
            continue;
        };
        let broker = |configuration: &Configuration| {
            let mqtt = configuration.mqtt.as_ref();
            mqtt.map(|mqtt| (mqtt.host.clone(), mqtt.port, mqtt.username.clone()))
        };
        for (other, its) in others {
            if broker(other) != broker(first) || its.primary_host != setting.primary_host {
                faults.push(format!(
                    "{}: sparkplug: is of the edge node {group}/{edge_node} as {} is, but has another broker or \
                     primary_host; make them the same or give it an edge_node of its own",
                    other.file.display(),
                    first.file.display()
                ));
            }
        }
        let mut names: Vec<&str> = tuns.iter().map(|(tun, _)| tun.tun.name.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        if names.len() < tuns.len() {
            faults.push(format!(
                "{}: sparkplug: two tuns of the edge node {group}/{edge_node} have the same name; give one of them an \
                 edge_node of its own",
                first.file.display()
            ));
        }
    }
    faults
}

/// The running nodes' tasks, and an outlet for each configuration that has one, in the same order.
pub fn start(
    configurations: &[Configuration],
    stop: &CancellationToken,
) -> (Vec<JoinHandle<()>>, Vec<Option<Outlet>>) {
    let mut tasks = Vec::new();
    let mut outlets: BTreeMap<(&str, &str), Outlet> = BTreeMap::new();
    for ((group, edge_node), tuns) in nodes(configurations) {
        let Some(setting) = setting(group, edge_node, &tuns) else {
            continue;
        };
        let publisher = node::start(setting, stop.clone());
        tasks.push(publisher.task);
        for ((tun, _), outlet) in tuns.iter().zip(publisher.outlets) {
            outlets.insert((&tun.site, &tun.tun.name), outlet);
        }
    }
    let of = |configuration: &Configuration| {
        outlets
            .get(&(configuration.site.as_str(), configuration.tun.name.as_str()))
            .cloned()
    };
    (tasks, configurations.iter().map(of).collect())
}

fn setting(group: &str, edge_node: &str, tuns: &[(&Configuration, &Sparkplug)]) -> Option<Setting> {
    let (first, sparkplug) = tuns.first()?;
    let mut mqtt = first.mqtt.clone()?;
    mqtt.client_id = format!("{}-sparkplug", mqtt.client_id);
    let at_ms = u64::try_from(wall_now().as_millisecond()).unwrap_or_default();
    let slowest_s = tuns
        .iter()
        .map(|(tun, _)| tun.watch.reading_every_s)
        .fold(0.0, f64::max);
    Some(Setting {
        mqtt,
        topics: Topics {
            group: group.to_owned(),
            edge_node: edge_node.to_owned(),
        },
        primary_host: sparkplug.primary_host.clone(),
        devices: tuns
            .iter()
            .map(|(tun, _)| Declared {
                name: tun.tun.name.clone(),
                metrics: metrics::declared(tun, at_ms),
            })
            .collect(),
        silent_after: SILENT_AFTER.max(Duration::from_secs_f64(SILENT_PERIODS * slowest_s)),
        birth_number_file: first
            .store
            .directory
            .join(format!("sparkplug-{group}-{edge_node}.bdseq")),
    })
}

/// One tun's side of its node.
#[derive(Debug)]
pub struct Side {
    outlet: Outlet,
    pace: ReadingPace,
}

impl Side {
    pub fn of(configuration: &Configuration, outlet: Option<Outlet>) -> Option<Self> {
        let every = configuration.sparkplug.as_ref()?.reading_every;
        Some(Self {
            outlet: outlet?,
            pace: ReadingPace::new(every),
        })
    }

    pub fn publish(&mut self, dated: &Dated, clock: Clock) {
        let due = match &dated.output {
            Output::Reading(reading) => self.pace.is_due(reading, dated.at),
            _ => true,
        };
        if due {
            self.outlet
                .tell(metrics::told(&dated.output, at_ms(clock, dated.at)));
        }
    }

    /// For the health page.
    pub fn health(&self) -> Value {
        let state = self.outlet.health.borrow();
        json!({
            "connected": state.connected,
            "born": state.born,
            "fault": state.fault.as_ref().map(|fault| fault.detail.clone()),
            "births": state.births,
            "published": state.published,
            "refused_by_full_queue": self.outlet.refused(),
        })
    }
}

fn at_ms(clock: Clock, moment: Moment) -> u64 {
    u64::try_from(clock.wall(moment).as_millisecond()).unwrap_or_default()
}

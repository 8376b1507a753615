//! Publishes tuns as devices of one Sparkplug B edge node (Eclipse Sparkplug specification 3.0.0).
//!
//! Owns one connection at a time, whose last will is the node's death, and when births and data are sent over it. `node`
//! keeps the rules, `metrics` makes an output's metrics, `payload` their bytes. It knows neither the store nor another
//! publisher. Messages go out at most once, as the specification has it: what is under way when a connection breaks is
//! lost, what comes while there is none follows the next births as past.

mod birth_number;
mod link;
pub mod metrics;
pub mod node;
pub mod outlet;
pub mod payload;
pub mod topics;

use std::path::PathBuf;
use std::pin::pin;
use std::sync::Arc;
use std::time::Duration;

use rumqttc::{AsyncClient, LastWill, PublishOptions, QoS};
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio::time::{Interval, MissedTickBehavior, interval, sleep, timeout};
use tokio_util::sync::CancellationToken;

use self::birth_number::BirthNumbers;
use self::link::{Heard, drive};
use self::metrics::Told;
use self::node::{Declared, Message, Node};
use self::outlet::{Outlet, SparkplugState, TOLD_BOUND};
use self::topics::Topics;
use crate::broker::{self, BackOff, Fault, Line};
use crate::clock::wall_now;
use crate::config::model::Mqtt;

/// How often what has changed is sent: readings of one moment go into one message.
const BEAT: Duration = Duration::from_millis(250);
const BEATS_A_ROUND: u32 = 4;

/// Requests that may wait for the event loop; it takes them faster than they come.
const REQUESTS_BOUND: usize = 64;

/// What may wait from the broker: commands come by hand.
const HEARD_BOUND: usize = 64;

/// How long a leaving node's death may take. Without it the broker sends the will.
const FAREWELL_LIMIT: Duration = Duration::from_secs(1);

/// What an edge node is started with.
#[derive(Debug)]
pub struct Setting {
    /// The broker, with a client id of the node's own.
    pub mqtt: Mqtt,
    pub topics: Topics,
    /// Without it births wait for nobody.
    pub primary_host: Option<String>,
    pub devices: Vec<Declared>,
    /// A tun that says nothing for so long is dead to receivers.
    pub silent_after: Duration,
    /// Where `bdSeq` is kept.
    pub birth_number_file: PathBuf,
}

/// The running node, and an outlet for each device in their order.
#[derive(Debug)]
pub struct Publisher {
    pub task: JoinHandle<()>,
    pub outlets: Vec<Outlet>,
}

pub fn start(setting: Setting, stop: CancellationToken) -> Publisher {
    let (told_in, told) = mpsc::channel(TOLD_BOUND);
    let (state, health) = watch::channel(SparkplugState::default());
    let refused = Arc::default();
    let outlets = (0..setting.devices.len())
        .map(|device| Outlet {
            device,
            told: told_in.clone(),
            refused: Arc::clone(&refused),
            health: health.clone(),
        })
        .collect();
    let about = vec![
        ("Properties/program", "lauterd".to_owned()),
        ("Properties/version", env!("CARGO_PKG_VERSION").to_owned()),
    ];
    let mut beat = interval(BEAT);
    beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let edge = Edge {
        node: Node::new(setting.topics.clone(), about, setting.devices),
        numbers: BirthNumbers::of(setting.birth_number_file),
        rounds_of_silence: u32::try_from(setting.silent_after.as_secs()).unwrap_or(u32::MAX),
        mqtt: setting.mqtt,
        topics: setting.topics,
        primary_host: setting.primary_host,
        told,
        state,
        beat,
        beats: 0,
    };
    Publisher {
        task: tokio::spawn(edge.run(stop)),
        outlets,
    }
}

struct Edge {
    mqtt: Mqtt,
    topics: Topics,
    primary_host: Option<String>,
    node: Node,
    numbers: BirthNumbers,
    told: mpsc::Receiver<(usize, Vec<Told>)>,
    state: watch::Sender<SparkplugState>,
    rounds_of_silence: u32,
    beat: Interval,
    /// Since the last connection was attempted.
    beats: u32,
}

/// How a connection ended.
enum Ending {
    Stopped,
    Lost(Fault),
}

fn now_ms() -> u64 {
    u64::try_from(wall_now().as_millisecond()).unwrap_or_default()
}

impl Edge {
    async fn run(mut self, stop: CancellationToken) {
        let mut back_off = BackOff::default();
        loop {
            self.beats = 0;
            match self.connection(&stop).await {
                Ending::Stopped => return,
                Ending::Lost(fault) => {
                    self.node.lost_connection();
                    self.note_lost(fault);
                    let lasted_s = f64::from(self.beats) * BEAT.as_secs_f64();
                    let wait = back_off.after(lasted_s);
                    tokio::select! {
                        biased;
                        () = stop.cancelled() => return,
                        () = sleep(wait) => {}
                        () = self.absorb() => {}
                    }
                }
            }
        }
    }

    /// One connection, from the attempt to its end.
    async fn connection(&mut self, stop: &CancellationToken) -> Ending {
        let will = self.node.connecting(self.numbers.next().await, now_ms());
        let line = Line {
            client_id: self.mqtt.client_id.clone(),
            last_will: Some(LastWill::new(
                will.topic,
                will.payload,
                QoS::AtLeastOnce,
                false,
            )),
            requests: REQUESTS_BOUND,
            in_flight: REQUESTS_BOUND as u16,
        };
        let (client, mut event_loop) = match broker::open(&self.mqtt, line).await {
            Ok(pair) => pair,
            Err(error) => return Ending::Lost(error.into()),
        };
        let (heard_in, mut heard) = mpsc::channel(HEARD_BOUND);
        let (mqtt, topics) = (self.mqtt.clone(), self.topics.clone());
        let host = self.primary_host.clone();
        let driving = drive(&client, &mut event_loop, &mqtt, &topics, host, heard_in);
        let mut driving = pin!(driving);
        let fault = tokio::select! {
            biased;
            () = stop.cancelled() => {
                let farewell = self.farewell(&client);
                // Whichever of the two ends first: after it there is nothing left to do.
                let _ = timeout(FAREWELL_LIMIT, async {
                    tokio::select! { _ = &mut driving => {}, () = farewell => {} }
                })
                .await;
                return Ending::Stopped;
            }
            fault = &mut driving => fault,
            fault = self.feed(&client, &mut heard) => fault,
        };
        if self.node.is_born() && fault == host_has_gone() {
            let farewell = self.farewell(&client);
            let _ = timeout(FAREWELL_LIMIT, async {
                tokio::select! { _ = &mut driving => {}, () = farewell => {} }
            })
            .await;
        }
        Ending::Lost(fault)
    }

    /// Feeds the connection until it is lost or the primary host has gone.
    async fn feed(&mut self, client: &AsyncClient, heard: &mut mpsc::Receiver<Heard>) -> Fault {
        loop {
            let messages = tokio::select! {
                biased;
                Some(heard) = heard.recv() => match self.answer(heard) {
                    Ok(messages) => messages,
                    Err(fault) => return fault,
                },
                () = next_beat(&mut self.beat) => self.on_beat(),
                Some((device, told)) = self.told.recv() => {
                    self.node.take(device, told);
                    continue;
                }
            };
            for message in messages {
                if let Err(fault) = self.publish(client, message).await {
                    return fault;
                }
            }
        }
    }

    /// What a word from the broker calls for.
    fn answer(&mut self, heard: Heard) -> Result<Vec<Message>, Fault> {
        match heard {
            Heard::Accepted => {
                tracing::info!(
                    "Sparkplug: connected to {}:{}",
                    self.mqtt.host,
                    self.mqtt.port
                );
                self.state.send_modify(|state| {
                    state.connected = true;
                    state.fault = None;
                });
                Ok(match self.primary_host {
                    None => self.births(),
                    Some(_) => Vec::new(),
                })
            }
            Heard::Rebirth if self.node.is_born() => {
                tracing::info!("Sparkplug: all births were asked for");
                Ok(self.births())
            }
            Heard::PrimaryHost(true) if !self.node.is_born() => Ok(self.births()),
            Heard::PrimaryHost(false) if self.node.is_born() => Err(host_has_gone()),
            Heard::Rebirth | Heard::PrimaryHost(_) => Ok(Vec::new()),
        }
    }

    fn births(&mut self) -> Vec<Message> {
        // What waits belongs into the births.
        while let Ok((device, told)) = self.told.try_recv() {
            self.node.take(device, told);
        }
        self.state.send_modify(|state| {
            state.born = true;
            state.births += 1;
        });
        self.node.births(now_ms())
    }

    fn on_beat(&mut self) -> Vec<Message> {
        self.beats = self.beats.saturating_add(1);
        let mut messages = Vec::new();
        if self.beats.is_multiple_of(BEATS_A_ROUND) {
            messages = self.node.round(self.rounds_of_silence, now_ms());
        }
        messages.extend(self.node.news(now_ms()));
        messages
    }

    async fn publish(&self, client: &AsyncClient, message: Message) -> Result<(), Fault> {
        let options = PublishOptions::new(QoS::AtMostOnce);
        let sent = client
            .publish(message.topic, message.payload, options)
            .await;
        sent.map_err(|error| Fault::transient(error.to_string()))?;
        self.state.send_modify(|state| state.published += 1);
        Ok(())
    }

    /// Says the node's death itself and takes leave; where nothing was born there is nothing to say.
    async fn farewell(&self, client: &AsyncClient) {
        if self.node.is_born() {
            let death = self.node.death(now_ms());
            let options = PublishOptions::new(QoS::AtLeastOnce);
            let said = match client
                .publish_tracked(death.topic, death.payload, options)
                .await
            {
                Ok(notice) => notice.wait_async().await.is_ok(),
                Err(_) => false,
            };
            if !said {
                return;
            }
        }
        if client.try_disconnect_now().is_ok() {
            // The driver ends when the goodbye is sent.
            std::future::pending::<()>().await;
        }
    }

    /// Takes what is told for as long as there is no connection. Never ends.
    async fn absorb(&mut self) {
        loop {
            match self.told.recv().await {
                Some((device, told)) => self.node.take(device, told),
                None => std::future::pending().await,
            }
        }
    }

    fn note_lost(&mut self, fault: Fault) {
        let known = self.state.borrow().fault.as_ref() == Some(&fault);
        if !known && fault.needs_a_person() {
            tracing::error!("Sparkplug: {}", fault.detail);
        } else if !known {
            tracing::warn!("Sparkplug: {}", fault.detail);
        }
        self.state.send_modify(|state| {
            state.connected = false;
            state.born = false;
            state.fault = Some(fault);
        });
    }
}

async fn next_beat(beat: &mut Interval) {
    beat.tick().await;
}

fn host_has_gone() -> Fault {
    Fault::transient("the primary host has gone; births wait until it is back")
}

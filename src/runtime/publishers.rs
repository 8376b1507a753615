//! What leaves the service, and in which form.
//!
//! Owns the choice of what goes to which publisher: alarms and events through the outbox, so that they survive
//! an outage; readings and states to MQTT as they are, because an old one is worth nothing; everything that is
//! a time series to InfluxDB through the outbox.

mod rows;
mod standing;

use lauter_core::supervisor::{Dated, Line, Output};
use serde_json::json;
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use super::outbox::{Pump, Receiver};
use super::sequence::Sequence;
use super::sparkplug;
use crate::clock::Clock;
use crate::config::Configuration;
use crate::exit::{Failure, Kind};
use crate::publish::influx::{self, DeliveryParameters, Source};
use crate::publish::mqtt::health::MqttPublishState;
use crate::publish::mqtt::message::{Message, Outlet, Quality, RECEIPTS_BOUND, Receipt};
use crate::publish::mqtt::overview::Overviews;
use crate::publish::mqtt::pace::ReadingPace;
use crate::publish::mqtt::topics::{Stamp, Topics};
use crate::publish::mqtt::{self as mqtt};
use crate::store::{MessageClass, NewMessage, Publisher, TunId};
use crate::web::tun_path;

struct MqttSide {
    topics: Topics,
    outlet: Outlet,
    pace: ReadingPace,
    overviews: Option<Overviews>,
    receipts: mpsc::Receiver<Receipt>,
    health: watch::Receiver<MqttPublishState>,
}

struct InfluxSide {
    source: Source,
    acknowledgements: mpsc::Receiver<influx::Receipt>,
    health: watch::Receiver<influx::Health>,
}

/// The publishers of one tun.
pub struct Publishers {
    clock: Clock,
    sequence: Sequence,
    mqtt: Option<MqttSide>,
    influx: Option<InfluxSide>,
    pub sparkplug: Option<sparkplug::Side>,
    pumps: Vec<Pump>,
    pub tasks: Vec<JoinHandle<()>>,
}

impl Publishers {
    pub fn start(
        configuration: &Configuration,
        tun: TunId,
        sequence: Sequence,
        clock: Clock,
        stop: &CancellationToken,
    ) -> Result<Self, Failure> {
        let mut publishers = Self {
            clock,
            sequence,
            mqtt: None,
            influx: None,
            sparkplug: None,
            pumps: Vec::new(),
            tasks: Vec::new(),
        };
        publishers.start_mqtt(configuration, tun, stop);
        publishers.start_influx(configuration, tun, stop)?;
        Ok(publishers)
    }

    fn start_mqtt(&mut self, configuration: &Configuration, tun: TunId, stop: &CancellationToken) {
        let Some(settings) = &configuration.mqtt else {
            return;
        };
        let (outlet, inlet) = Outlet::lanes();
        let (receipts_in, receipts) = mpsc::channel(RECEIPTS_BOUND);
        let numbers = self.sequence.clone();
        let sequence: mqtt::Sequence = std::sync::Arc::new(move || numbers.next());
        let started = mqtt::start(
            configuration,
            inlet,
            receipts_in,
            sequence,
            self.clock,
            stop.clone(),
        );
        let Some(publisher) = started else { return };
        self.tasks.push(publisher.task);
        self.pumps
            .push(Pump::new(Receiver::Mqtt(outlet.clone()), tun));
        self.mqtt = Some(MqttSide {
            topics: Topics::new(&configuration.site, &configuration.tun.name),
            outlet,
            pace: ReadingPace::new(settings.reading_every),
            overviews: settings
                .overview
                .then(|| Overviews::new(page_of(configuration))),
            receipts,
            health: publisher.health,
        });
    }

    fn start_influx(
        &mut self,
        configuration: &Configuration,
        tun: TunId,
        stop: &CancellationToken,
    ) -> Result<(), Failure> {
        let Some(settings) = &configuration.influx else {
            return Ok(());
        };
        let (feed, publisher, acknowledgements, health) =
            influx::connect(settings, DeliveryParameters::default()).map_err(|error| {
                Failure::new(
                    Kind::Configuration,
                    format!("{}: influx: {error}", configuration.file.display()),
                )
            })?;
        self.tasks.push(tokio::spawn(publisher.run(stop.clone())));
        self.pumps.push(Pump::new(Receiver::Influx(feed), tun));
        let source = Source {
            site: configuration.site.clone(),
            tun: configuration.tun.name.clone(),
        };
        self.influx = Some(InfluxSide {
            source,
            acknowledgements,
            health,
        });
        Ok(())
    }

    /// Sends what is live at once, and returns the rows that belong in the store first.
    pub fn publish(&mut self, dated: &Dated) -> Vec<NewMessage> {
        let time = self.clock.wall(dated.at);
        let mut rows = Vec::new();
        if let Some(side) = &mut self.sparkplug {
            side.publish(dated, self.clock);
        }
        if let Some(side) = &mut self.mqtt {
            let due = match &dated.output {
                Output::Reading(reading) => side.pace.is_due(reading, dated.at),
                Output::Lesson(_) => false,
                _ => true,
            };
            let message = due.then(|| {
                let seq = self.sequence.next();
                side.topics.message(&dated.output, Stamp { time, seq })
            });
            if let Some(message) = message.flatten() {
                match message.quality {
                    // A live message that finds no room is old by the next one; the outlet counts it.
                    Quality::AtMostOnce => _ = side.outlet.put(message),
                    Quality::AtLeastOnce => rows.push(NewMessage {
                        publisher: Publisher::Mqtt,
                        class: MessageClass::Record,
                        topic: message.topic,
                        payload: String::from_utf8_lossy(&message.payload).into_owned(),
                        retain: message.retain,
                        created: time,
                    }),
                }
            }
        }
        if let Some(MqttSide {
            overviews: Some(overviews),
            topics,
            outlet,
            ..
        }) = &mut self.mqtt
        {
            overviews.note(&dated.output);
            let stamp = || Stamp {
                time,
                seq: self.sequence.next(),
            };
            if let Some(message) = overviews.due(topics, dated.at, stamp) {
                // As with every live message: the next one comes soon.
                _ = outlet.put(message);
            }
        }
        if let Some(side) = &self.influx {
            match influx::point(&side.source, &dated.output, time).map(|point| point.line()) {
                Some(Ok(line)) => rows.push(NewMessage {
                    publisher: Publisher::Influx,
                    class: class(&dated.output),
                    topic: String::new(),
                    payload: line,
                    retain: false,
                    created: time,
                }),
                Some(Err(fault)) => tracing::warn!("InfluxDB: a point cannot be written: {fault}"),
                None => {}
            }
        }
        rows
    }

    /// Rows that a receiver has, or will never have. Waits for ever without publishers.
    pub async fn settled(&mut self) -> Settled {
        let mqtt = async {
            match &mut self.mqtt {
                Some(side) => match side.receipts.recv().await {
                    Some(first) => {
                        let mut settled = Settled::default();
                        settled.note_mqtt(first);
                        while let Ok(more) = side.receipts.try_recv() {
                            settled.note_mqtt(more);
                        }
                        settled
                    }
                    None => std::future::pending().await,
                },
                None => std::future::pending().await,
            }
        };
        let influx = async {
            match &mut self.influx {
                Some(side) => match side.acknowledgements.recv().await {
                    Some(influx::Receipt::Delivered(delivered)) => Settled {
                        delivered,
                        ..Settled::default()
                    },
                    Some(influx::Receipt::SetAside { id, reason }) => Settled {
                        set_aside: vec![(id, reason)],
                        ..Settled::default()
                    },
                    None => std::future::pending().await,
                },
                None => std::future::pending().await,
            }
        };
        tokio::select! { settled = mqtt => settled, settled = influx => settled }
    }

    /// Sends alarms and events that the record does not take now, so that they are heard all the same. They go out
    /// again from the outbox when it does, with the same `seq`. Gives how many of them found room.
    pub fn tell_unwritten(&self, messages: &[NewMessage]) -> usize {
        let Some(side) = &self.mqtt else {
            return messages.len();
        };
        let goes_out = |message: &&NewMessage| {
            message.publisher == Publisher::Mqtt && message.class == MessageClass::Record
        };
        for (index, message) in messages.iter().enumerate() {
            if !goes_out(&message) {
                continue;
            }
            let put = side.outlet.put(Message {
                row: None,
                topic: message.topic.clone(),
                payload: message.payload.clone().into_bytes(),
                quality: Quality::AtLeastOnce,
                retain: message.retain,
            });
            if put.is_err() {
                return index;
            }
        }
        messages.len()
    }

    /// Which publishers there are, and why their receiver refuses the service, if it does.
    pub fn refusals(&self) -> Vec<(Publisher, Option<String>)> {
        let mut refusals = Vec::new();
        if let Some(side) = &self.mqtt {
            let state = side.health.borrow();
            let fault = state.fault.as_ref().filter(|fault| fault.needs_a_person());
            refusals.push((Publisher::Mqtt, fault.map(|fault| fault.detail.clone())));
        }
        if let Some(side) = &self.influx {
            let refused = match &side.health.borrow().state {
                influx::State::Refused { reason } => Some(reason.clone()),
                _ => None,
            };
            refusals.push((Publisher::Influx, refused));
        }
        refusals
    }

    /// For the health page.
    pub fn health(&self) -> serde_json::Value {
        let mqtt = self.mqtt.as_ref().map(|side| {
            let state = side.health.borrow();
            json!({
                "connected": state.connected,
                "fault": state.fault.as_ref().map(|fault| fault.detail.clone()),
                "published": state.published,
                "acknowledged": state.acknowledged,
                "dropped": state.dropped,
                "repeated": state.repeated,
                "unpublishable": state.unpublishable,
                "refused_by_full_queue": side.outlet.refused(),
            })
        });
        let influx = self.influx.as_ref().map(|side| {
            let health = side.health.borrow();
            json!({
                "state": in_words(&health.state),
                "delivered": health.delivered,
                "retried": health.retried,
                "set_aside": health.set_aside,
            })
        });
        let sparkplug = self.sparkplug.as_ref().map(sparkplug::Side::health);
        json!({ "mqtt": mqtt, "sparkplug": sparkplug, "influx": influx })
    }
}

/// Rows that need not wait any longer.
#[derive(Clone, Debug, Default)]
pub struct Settled {
    pub delivered: Vec<i64>,
    /// With the receiver's reason.
    pub set_aside: Vec<(i64, String)>,
}

impl Settled {
    pub fn is_empty(&self) -> bool {
        self.delivered.is_empty() && self.set_aside.is_empty()
    }

    pub fn join(&mut self, more: Self) {
        self.delivered.extend(more.delivered);
        self.set_aside.extend(more.set_aside);
    }

    fn note_mqtt(&mut self, receipt: Receipt) {
        match receipt {
            Receipt::Acknowledged(id) => self.delivered.push(id),
            Receipt::Unpublishable(id) => {
                let reason = "no broker takes it: its topic is impossible or it is too large";
                tracing::error!("MQTT: row {id} of the outbox is set aside: {reason}");
                self.set_aside.push((id, reason.to_owned()));
            }
        }
    }
}

/// Where the tun's own page is reached from other machines.
fn page_of(configuration: &Configuration) -> Option<String> {
    let web = &configuration.web;
    let url = web.url.as_ref().filter(|_| web.enabled)?;
    let path = tun_path(&configuration.site, &configuration.tun.name);
    Some(format!("{url}{path}"))
}

fn in_words(state: &influx::State) -> String {
    match state {
        influx::State::Idle => "nothing has been sent yet".to_owned(),
        influx::State::Delivering => "delivering".to_owned(),
        influx::State::Retrying { reason } => format!("tried again: {}", reason.trim()),
        influx::State::Refused { reason } => format!("refused: {}", reason.trim()),
    }
}

fn class(output: &Output) -> MessageClass {
    match output {
        Output::Reading(_) => MessageClass::Reading,
        Output::Runoff(_) | Output::Line(Line::Projection(_)) => MessageClass::State,
        Output::Line(_) | Output::Renewed(_) | Output::Occurrence(_) | Output::Lesson(_) => {
            MessageClass::Record
        }
    }
}

//! The instruments that read from MQTT, and what a message means to each of them.
//!
//! Owns which instrument listens to which topic and each one's memory (its last own time, its present trouble).
//! It knows no connection: a message comes in, arrivals and counts go out, so that all of it is tested without
//! a broker.

use jiff::Timestamp;
use lauter_core::reading::{Cause, Moment, Reading, Status};
use lauter_core::units::Unit;

use crate::config::model::{Configuration, MqttPoint, Source};

use super::dating::{Dating, date};
use super::health::{BadPayload, MqttIngestHealth};
use super::payload::{OwnTime, PayloadError, decode, excerpt};
use crate::clock::{Clock, Glance};
use crate::ingest::{Arrival, Intake};

/// All instruments of one configuration that read from MQTT.
#[derive(Debug)]
pub struct Points {
    points: Vec<Point>,
}

#[derive(Debug)]
struct Point {
    /// Index in `Configuration::instruments`.
    instrument: usize,
    id: String,
    is_switch: bool,
    source: MqttPoint,
    last_own_time: Option<Timestamp>,
    /// What was wrong with the last message; a change is logged once.
    trouble: Option<PayloadError>,
}

/// A message as it arrived.
#[derive(Clone, Copy, Debug)]
pub struct Received<'a> {
    pub topic: &'a str,
    pub payload: &'a [u8],
    pub retained: bool,
}

impl Points {
    pub fn of(configuration: &Configuration) -> Self {
        let points = configuration
            .instruments
            .iter()
            .enumerate()
            .filter_map(|(instrument, configured)| match &configured.source {
                Source::Mqtt(point) => Some(Point {
                    instrument,
                    id: configured.instrument.id.clone(),
                    is_switch: configured.instrument.unit == Unit::Bool,
                    source: point.clone(),
                    last_own_time: None,
                    trouble: None,
                }),
                Source::Modbus(_) | Source::Recorded => None,
            })
            .collect();
        Self { points }
    }

    pub fn is_empty(&self) -> bool {
        self.points.is_empty()
    }

    /// Each topic once, in the order of the configuration.
    pub fn topics(&self) -> Vec<String> {
        let mut topics: Vec<String> = Vec::new();
        for point in &self.points {
            if !topics.contains(&point.source.topic) {
                topics.push(point.source.topic.clone());
            }
        }
        topics
    }

    /// Every instrument on `topic` (on all topics if none is named) has lost its link.
    pub fn lose(&self, topic: Option<&str>, intake: &Intake, now: Moment) {
        for point in &self.points {
            if topic.is_none_or(|topic| topic == point.source.topic) {
                put(intake, point.instrument, Err(Cause::LinkLost), now);
            }
        }
    }

    /// Hands over what the message says to every instrument that listens to its topic.
    pub fn take(
        &mut self,
        received: Received<'_>,
        intake: &Intake,
        clock: &Clock,
        health: &MqttIngestHealth,
    ) {
        let mut counted: Option<String> = None;
        for point in &mut self.points {
            if !listens(&point.source.topic, received.topic) {
                continue;
            }
            if counted.as_deref() != Some(point.source.topic.as_str()) {
                health.update(|state| state.topic(&point.source.topic).messages += 1);
                counted = Some(point.source.topic.clone());
            }
            point.take(received, intake, clock, health);
        }
    }
}

fn listens(filter: &str, topic: &str) -> bool {
    filter == topic || rumqttc::matches(topic, filter)
}

fn put(intake: &Intake, instrument: usize, value: Result<f64, Cause>, at: Moment) {
    let reading = Reading {
        value,
        status: Status::Good,
        at,
    };
    intake.put(Arrival::Reading {
        instrument,
        reading,
    });
}

fn on_axis(own: OwnTime<Timestamp>, glance: &Glance) -> OwnTime<Moment> {
    match own {
        OwnTime::None => OwnTime::None,
        OwnTime::Unreadable => OwnTime::Unreadable,
        OwnTime::Given(time) => OwnTime::Given(glance.moment_of(time)),
    }
}

impl Point {
    fn take(
        &mut self,
        received: Received<'_>,
        intake: &Intake,
        clock: &Clock,
        health: &MqttIngestHealth,
    ) {
        let glance = clock.glance();
        let arrival = glance.now;
        let decoded = decode(received.payload, &self.source)
            .and_then(|decoded| Ok((decoded.value(self.is_switch)?, decoded)));
        match decoded {
            Ok((value, decoded)) => {
                let own = on_axis(decoded.own_time, &glance);
                let last = self.last_own_time.map(|time| glance.moment_of(time));
                match date(own, arrival, last, received.retained) {
                    Dating::At(at) => {
                        if let OwnTime::Given(time) = decoded.own_time {
                            self.last_own_time = Some(time);
                        }
                        put(intake, self.instrument, Ok(value), at);
                        health.update(|state| state.readings += 1);
                    }
                    Dating::Refused(at) => {
                        put(intake, self.instrument, Ok(value), at);
                        health.update(|state| {
                            state.readings += 1;
                            state.own_times_refused += 1;
                        });
                    }
                    Dating::Ignored => health.update(|state| state.retained_ignored += 1),
                }
                self.recovered();
            }
            // What the broker remembers, good or bad, is not what the instrument says now.
            Err(_) if received.retained => health.update(|state| state.retained_ignored += 1),
            Err(error) => {
                put(intake, self.instrument, Err(error.cause()), arrival);
                self.refuse(error, received.payload, health);
            }
        }
    }

    fn recovered(&mut self) {
        if self.trouble.take().is_some() {
            tracing::info!(instrument = %self.id, topic = %self.source.topic, "payloads are numbers again");
        }
    }

    fn refuse(&mut self, error: PayloadError, payload: &[u8], health: &MqttIngestHealth) {
        let excerpt = excerpt(payload);
        if self.trouble.as_ref() != Some(&error) {
            tracing::warn!(
                instrument = %self.id, topic = %self.source.topic, payload = %excerpt,
                "bad payload: {error}"
            );
        }
        health.update(|state| {
            let topic = state.topic(&self.source.topic);
            topic.bad_payloads += 1;
            topic.last_bad = Some(BadPayload {
                excerpt,
                error: error.to_string(),
            });
        });
        self.trouble = Some(error);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::sync::mpsc;

    fn point(instrument: usize, topic: &str, pointer: Option<&str>, is_switch: bool) -> Point {
        Point {
            instrument,
            id: format!("instrument-{instrument}"),
            is_switch,
            source: MqttPoint {
                topic: topic.to_owned(),
                pointer: pointer.map(str::to_owned),
                time_pointer: pointer.map(|_| "/time".to_owned()),
            },
            last_own_time: None,
            trouble: None,
        }
    }

    struct Bench {
        points: Points,
        clock: Clock,
        intake: Intake,
        arrivals: mpsc::Receiver<Arrival>,
        health: MqttIngestHealth,
    }

    impl Bench {
        fn new() -> Self {
            let (intake, arrivals) = Intake::channel();
            let points = vec![
                point(0, "skid/density", None, false),
                point(3, "skid/state", Some("/flow"), false),
                point(5, "skid/state", Some("/rake"), true),
            ];
            Self {
                points: Points { points },
                clock: Clock::start(&crate::clock::Start::default()),
                intake,
                arrivals,
                health: MqttIngestHealth::default(),
            }
        }

        fn take(&mut self, topic: &str, payload: &str, retained: bool) -> Vec<(usize, Reading)> {
            let received = Received {
                topic,
                payload: payload.as_bytes(),
                retained,
            };
            self.points
                .take(received, &self.intake, &self.clock, &self.health);
            std::iter::from_fn(|| self.arrivals.try_recv().ok())
                .map(|arrival| match arrival {
                    Arrival::Reading {
                        instrument,
                        reading,
                    } => (instrument, reading),
                    Arrival::Link { .. } => panic!("a payload is no link"),
                })
                .collect()
        }
    }

    #[test]
    fn several_instruments_read_from_one_topic() {
        let mut bench = Bench::new();
        let time = Timestamp::now();
        let payload = format!(r#"{{"flow":61.5,"rake":true,"time":"{time}"}}"#);
        let readings = bench.take("skid/state", &payload, false);
        let values: Vec<_> = readings.iter().map(|(i, r)| (*i, r.value)).collect();
        assert_eq!(values, [(3, Ok(61.5)), (5, Ok(1.0))]);
        let state = bench.health.snapshot();
        assert_eq!(state.topics["skid/state"].messages, 1);
        assert_eq!((state.readings, state.own_times_refused), (2, 0));
        assert_eq!(bench.points.topics(), ["skid/density", "skid/state"]);
    }

    #[test]
    fn a_bad_payload_is_a_cause_and_is_kept_for_people() {
        let mut bench = Bench::new();
        let readings = bench.take("skid/density", "1043,2\u{7}", false);
        assert_eq!(readings[0].1.value, Err(Cause::BadPayload));
        let state = bench.health.snapshot();
        let topic = &state.topics["skid/density"];
        assert_eq!(topic.bad_payloads, 1);
        let last_bad = topic.last_bad.as_ref().expect("it was kept");
        assert_eq!(last_bad.excerpt, "1043,2");
        assert_eq!(state.readings, 0);
    }

    #[test]
    fn a_retained_value_without_a_time_is_no_reading() {
        let mut bench = Bench::new();
        assert_eq!(bench.take("skid/density", "1043.2", true), []);
        assert_eq!(bench.take("skid/density", "rubbish", true), []);
        assert_eq!(bench.health.snapshot().retained_ignored, 2);
        assert_eq!(bench.take("skid/density", "1043.2", false).len(), 1);
    }

    #[test]
    fn a_retained_value_with_a_time_counts_at_that_time_and_only_once() {
        let mut bench = Bench::new();
        let minute_ago = Timestamp::now() - jiff::SignedDuration::from_secs(60);
        let payload = format!(r#"{{"flow":61.5,"rake":0,"time":"{minute_ago}"}}"#);
        let readings = bench.take("skid/state", &payload, true);
        assert_eq!(readings.len(), 2);
        let age_s = bench.clock.now().since(readings[0].1.at);
        assert!(age_s >= 59.9, "age {age_s} s");
        assert_eq!(bench.take("skid/state", &payload, true), []);
    }

    #[test]
    fn an_own_time_far_ahead_or_set_back_is_counted_and_arrival_used() {
        let mut bench = Bench::new();
        let at = |seconds| Timestamp::now() + jiff::SignedDuration::from_secs(seconds);
        let before = bench.clock.now();
        for seconds in [3600, 0, -3600] {
            let payload = format!(r#"{{"flow":60,"rake":0,"time":"{}"}}"#, at(seconds));
            let readings = bench.take("skid/state", &payload, false);
            assert_eq!(readings[0].1.value, Ok(60.0));
            assert!(readings[0].1.at.since(before) > -1.0, "{seconds}");
        }
        assert_eq!(bench.health.snapshot().own_times_refused, 4);
    }

    #[test]
    fn a_lost_link_reaches_every_instrument_of_its_topic() {
        let mut bench = Bench::new();
        let now = bench.clock.now();
        bench.points.lose(Some("skid/state"), &bench.intake, now);
        bench.points.lose(None, &bench.intake, now);
        let mut lost = Vec::new();
        while let Ok(Arrival::Reading {
            instrument,
            reading,
        }) = bench.arrivals.try_recv()
        {
            assert_eq!(reading.value, Err(Cause::LinkLost));
            lost.push(instrument);
        }
        assert_eq!(lost, [3, 5, 0, 3, 5]);
    }
}

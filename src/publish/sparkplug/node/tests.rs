use proptest::prelude::*;

use super::*;
use crate::publish::sparkplug::metrics::Quality;

fn number(name: &str, value: Option<f64>, at_ms: u64) -> Told {
    Told {
        name: name.to_owned(),
        datatype: Datatype::Double,
        value: value.map(Value::Double),
        unit: "L/min",
        quality: if value.is_some() {
            Quality::Good
        } else {
            Quality::Stale
        },
        at_ms,
    }
}

fn node() -> Node {
    let topics = Topics {
        group: "g".to_owned(),
        edge_node: "n".to_owned(),
    };
    let declared = |name: &str| Declared {
        name: name.to_owned(),
        metrics: vec![number("a", None, 1), number("b", None, 1)],
    };
    let about = vec![("program", "lauterd".to_owned())];
    Node::new(topics, about, vec![declared("t1"), declared("t2")])
}

fn read(message: &Message) -> Payload {
    Payload::from_bytes(&message.payload).expect("a payload")
}

fn kinds(messages: &[Message]) -> Vec<String> {
    messages
        .iter()
        .map(|message| message.topic.replacen("spBv1.0/g/", "", 1))
        .collect()
}

#[test]
fn births_come_first_and_name_everything_and_data_only_what_changed() {
    let mut node = node();
    node.take(0, vec![number("a", Some(1.0), 10)]);
    let will = node.connecting(7, 90);
    assert_eq!(will.topic, "spBv1.0/g/NDEATH/n");
    let death = read(&will);
    assert_eq!(death.seq, None);
    assert_eq!(death.metrics.len(), 1);
    assert_eq!(death.metrics[0].value, Some(Value::Long(7)));

    let births = node.births(100);
    assert_eq!(kinds(&births), ["NBIRTH/n", "DBIRTH/n/t1", "DDATA/n/t1"]);
    let nbirth = read(&births[0]);
    assert_eq!((nbirth.seq, nbirth.timestamp), (Some(0), Some(100)));
    assert_eq!(nbirth.metrics[0].name.as_deref(), Some("bdSeq"));
    assert_eq!(nbirth.metrics[0].value, Some(Value::Long(7)));
    assert_eq!(nbirth.metrics[1].name.as_deref(), Some(REBIRTH));
    assert_eq!(nbirth.metrics[1].value, Some(Value::Boolean(false)));
    let dbirth = read(&births[1]);
    let names: Vec<_> = dbirth
        .metrics
        .iter()
        .map(|metric| metric.name.clone())
        .collect();
    assert_eq!(names, [Some("a".to_owned()), Some("b".to_owned())]);
    assert_eq!(dbirth.metrics[1].is_null, Some(true));
    let properties = dbirth.metrics[0].properties.as_ref().expect("properties");
    assert_eq!(properties.keys, ["engUnit", "Quality"]);

    node.take(
        0,
        vec![number("a", Some(1.0), 20), number("b", Some(5.0), 20)],
    );
    let news = node.news(120);
    assert_eq!(kinds(&news), ["DDATA/n/t1"]);
    let data = read(&news[0]);
    assert_eq!(data.metrics.len(), 1, "what did not change is not sent");
    assert_eq!(data.metrics[0].name, None, "the alias stands for the name");
    assert_eq!(data.metrics[0].alias, dbirth.metrics[1].alias);
    assert_eq!(data.metrics[0].timestamp, Some(20));
    assert_eq!(data.metrics[0].is_historical, None);
    assert!(data.metrics[0].properties.is_some(), "its quality changed");
    assert_eq!(node.news(130), [], "nothing is told twice");
}

#[test]
fn what_nobody_could_be_told_follows_the_births_as_past() {
    let mut node = node();
    node.take(0, vec![number("a", Some(1.0), 10)]);
    node.connecting(0, 90);
    node.births(100);
    node.lost_connection();
    node.take(0, vec![number("a", Some(2.0), 110)]);
    node.take(0, vec![number("a", Some(3.0), 120)]);
    assert_eq!(node.news(125), []);
    node.connecting(1, 90);
    let births = node.births(200);
    assert_eq!(kinds(&births), ["NBIRTH/n", "DBIRTH/n/t1", "DDATA/n/t1"]);
    let past = read(&births[2]);
    let told: Vec<_> = past
        .metrics
        .iter()
        .map(|metric| (metric.timestamp, metric.value.clone(), metric.is_historical))
        .collect();
    assert_eq!(
        told,
        [
            (Some(110), Some(Value::Double(2.0)), Some(true)),
            (Some(120), Some(Value::Double(3.0)), Some(true)),
        ]
    );
    assert_eq!(read(&births[1]).metrics[0].value, Some(Value::Double(3.0)));
}

#[test]
fn a_tun_that_falls_silent_is_dead_until_it_speaks_again() {
    let mut node = node();
    node.connecting(0, 90);
    node.take(0, vec![number("a", Some(1.0), 10)]);
    node.births(100);
    assert_eq!(node.round(2, 110), []);
    assert_eq!(kinds(&node.round(2, 120)), ["DDEATH/n/t1"]);
    assert_eq!(node.round(2, 130), [], "it dies once");
    assert_eq!(kinds(&node.births(135)), ["NBIRTH/n"]);
    node.take(0, vec![number("a", Some(1.0), 140)]);
    assert_eq!(kinds(&node.news(150)), ["DBIRTH/n/t1"]);
}

#[test]
fn a_metric_that_no_birth_named_makes_the_device_be_born_again() {
    let mut node = node();
    node.connecting(0, 90);
    node.take(1, vec![number("a", Some(1.0), 10)]);
    node.births(100);
    node.take(1, vec![number("new", Some(1.0), 110)]);
    let news = node.news(120);
    assert_eq!(kinds(&news), ["DBIRTH/n/t2"]);
    assert_eq!(read(&news[0]).metrics.len(), 3);
}

#[test]
fn after_number_255_comes_0() {
    let mut node = node();
    node.connecting(0, 90);
    node.take(0, vec![number("a", Some(0.5), 10)]);
    let births = node.births(100).len() as u64;
    for told in 0..300_u32 {
        node.take(0, vec![number("a", Some(f64::from(told)), 110)]);
        let news = node.news(120);
        let expected = (births + u64::from(told)) % 256;
        assert_eq!(read(&news[0]).seq, Some(expected), "after {told}");
    }
}

#[test]
fn changes_beyond_the_bound_are_given_up_oldest_first_and_counted() {
    let mut node = node();
    node.connecting(0, 90);
    node.take(0, vec![number("a", Some(-1.0), 1)]);
    node.births(100);
    node.lost_connection();
    for told in 0..HISTORY_BOUND as u64 + 3 {
        node.take(0, vec![number("a", Some(told as f64), told)]);
    }
    node.connecting(1, 190);
    let births = node.births(200);
    let lost = read(&births[0]).metrics.into_iter();
    let lost: Vec<_> = lost
        .filter(|metric| metric.name.as_deref() == Some("changes_lost"))
        .map(|metric| metric.value)
        .collect();
    assert_eq!(lost, [Some(Value::Long(3))]);
    let first = read(&births[2]).metrics[0].clone();
    assert_eq!(first.timestamp, Some(3), "the oldest went");
}

#[test]
fn only_the_true_rebirth_metric_asks_for_births() {
    let command = |name: Option<&str>, alias, value| Payload {
        metrics: vec![Metric {
            name: name.map(str::to_owned),
            alias,
            value: Some(value),
            ..Metric::default()
        }],
        ..Payload::default()
    };
    let asks = Node::asks_for_rebirth;
    assert!(asks(&command(Some(REBIRTH), None, Value::Boolean(true))));
    assert!(asks(&command(
        None,
        Some(REBIRTH_ALIAS),
        Value::Boolean(true)
    )));
    assert!(!asks(&command(Some(REBIRTH), None, Value::Boolean(false))));
    assert!(!asks(&command(
        Some("Node Control/Reboot"),
        None,
        Value::Boolean(true)
    )));
    assert!(!asks(&Payload::default()));
}

/// What may happen to a node.
#[derive(Clone, Debug)]
enum Step {
    Tell {
        device: usize,
        metric: u8,
        value: f64,
    },
    News,
    Round,
    Rebirth,
    Reconnect,
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        6 => (0usize..2, 0u8..5, 0u8..4).prop_map(|(device, metric, value)| Step::Tell {
            device,
            metric,
            value: f64::from(value),
        }),
        4 => Just(Step::News),
        1 => Just(Step::Round),
        1 => Just(Step::Rebirth),
        1 => Just(Step::Reconnect),
    ]
}

/// A receiver that keeps to the rules: numbers in order, no data before a birth, aliases only from births.
#[derive(Default)]
struct Receiver {
    next_seq: Option<u64>,
    born: BTreeMap<String, BTreeMap<u64, String>>,
    values: BTreeMap<(String, String), Option<Value>>,
}

impl Receiver {
    fn hear(&mut self, message: &Message) {
        let parts: Vec<&str> = message.topic.split('/').collect();
        let payload = read(message);
        let device = parts
            .get(4)
            .map_or(String::new(), |part| (*part).to_owned());
        if parts[2] == "NBIRTH" {
            assert_eq!(payload.seq, Some(0));
            self.born.clear();
        } else {
            assert_eq!(payload.seq, self.next_seq, "{}", message.topic);
            assert!(self.born.contains_key(""), "the node is born first");
        }
        self.next_seq = payload.seq.map(|seq| (seq + 1) % 256);
        match parts[2] {
            "NBIRTH" | "DBIRTH" => {
                let mut aliases = BTreeMap::new();
                for metric in &payload.metrics {
                    let name = metric.name.clone().expect("a birth names");
                    assert!(metric.datatype.is_some() && metric.timestamp.is_some());
                    if let Some(alias) = metric.alias {
                        let others = self.born.iter().filter(|(other, _)| **other != device);
                        for (_, known) in others {
                            assert!(!known.contains_key(&alias), "alias {alias} is used twice");
                        }
                        assert_eq!(aliases.insert(alias, name.clone()), None);
                    }
                    self.values
                        .insert((device.clone(), name), metric.value.clone());
                }
                self.born.insert(device, aliases);
            }
            "DDATA" => {
                let aliases = self.born.get(&device).expect("data after the birth");
                for metric in &payload.metrics {
                    let name = aliases[&metric.alias.expect("an alias")].clone();
                    assert!(metric.name.is_none() && metric.timestamp.is_some());
                    if metric.is_historical != Some(true) {
                        self.values
                            .insert((device.clone(), name), metric.value.clone());
                    }
                }
            }
            "DDEATH" => _ = self.born.remove(&device).expect("who is born may die"),
            other => assert_eq!(other, "NDATA"),
        }
    }
}

proptest! {
    #[test]
    fn a_receiver_that_keeps_to_the_rules_understands_everything_and_ends_with_the_current_values(
        steps in proptest::collection::vec(step(), 1..600),
    ) {
        let mut node = node();
        let mut receiver = Receiver::default();
        let mut current = BTreeMap::new();
        node.connecting(0, 90);
        let mut now_ms = 100;
        let mut sent = node.births(now_ms);
        for step in steps {
            now_ms += 1;
            match step {
                Step::Tell { device, metric, value } => {
                    let name = format!("m{metric}");
                    node.take(device, vec![number(&name, Some(value), now_ms)]);
                    current.insert((format!("t{}", device + 1), name), Some(Value::Double(value)));
                }
                Step::News => sent.extend(node.news(now_ms)),
                Step::Round => sent.extend(node.round(3, now_ms)),
                Step::Rebirth => sent.extend(node.births(now_ms)),
                Step::Reconnect => {
                    node.connecting(1, 90);
                    sent.extend(node.births(now_ms));
                }
            }
        }
        sent.extend(node.news(now_ms));
        for message in &sent {
            receiver.hear(message);
        }
        for (key, value) in current {
            if receiver.born.contains_key(&key.0) {
                prop_assert_eq!(receiver.values.get(&key), Some(&value), "{:?}", key);
            }
        }
    }
}

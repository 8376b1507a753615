//! What a brewhouse's other systems hear over MQTT, from the program on a broker, 1 s a second.

use std::collections::BTreeMap;

use serde_json::Value;

use super::brewhouse::{Brewhouse, flowing_at_once, set};
use super::mosquitto::{HeardMessage, Mosquitto, eventually};
use super::program::Program;

/// Fields of each topic's message beside `time` and `seq`.
const READING: &[&str] = &[
    "cause",
    "rate_per_min",
    "standard_error",
    "status",
    "unit",
    "value",
];
const RUNOFF: &[&str] = &[
    "brew",
    "elapsed_s",
    "extract_kg",
    "flow_l_min",
    "if_stopped_now",
    "kettle_gravity_p",
    "kettle_gravity_se_p",
    "kettle_volume_l",
    "phase",
    "pressure_drop_kpa",
    "runnings_gravity_p",
    "runnings_gravity_se_p",
    "runnings_ph",
    "runnings_temperature_c",
];
const PROJECTION: &[&str] = &[
    "elapsed_s",
    "gravity_floor",
    "kettle_gravity_p",
    "kettle_gravity_se_p",
    "kettle_volume_l",
    "ph_ceiling",
    "stop",
    "target",
];
const ALARM: &[&str] = &[
    "advice",
    "alarm",
    "elapsed_s",
    "evidence",
    "from",
    "instrument",
    "message",
    "priority",
    "to",
];
const TABLE: &[&str] = &[
    "elapsed_s",
    "event",
    "flow_l_min",
    "kettle_gravity_p",
    "kettle_volume_l",
    "pressure_drop_kpa",
    "runnings_gravity_p",
    "runnings_ph",
];
const SUMMARY: &[&str] = &[
    "brew_length_l_per_kg",
    "event",
    "extract_kg",
    "kettle_gravity_p",
    "readings",
    "rejected",
    "stop_cause",
    "stop_elapsed_s",
    "stop_volume_l",
];
const OCCURRENCE: &[&str] = &["elapsed_s", "event", "text"];

/// Everything heard, by the topic below the tun's own.
fn by_topic(messages: &[HeardMessage], tun: &str) -> BTreeMap<String, Vec<Value>> {
    let mut topics: BTreeMap<String, Vec<Value>> = BTreeMap::new();
    for message in messages {
        let below = message.topic.strip_prefix(tun).expect("the tun's own");
        topics
            .entry(below.to_owned())
            .or_default()
            .push(message.json());
    }
    topics
}

/// Every message of a topic bears a time in UTC to the millisecond and a greater number than the one before; a
/// repeat is the same message.
fn assert_stamped(topic: &str, messages: &[Value]) {
    let mut last: Option<(u64, &Value)> = None;
    for message in messages {
        let time = message["time"].as_str().expect("a time");
        let parsed: jiff::Timestamp = time.parse().expect("RFC 3339");
        assert_eq!(time, format!("{parsed:.3}"), "{topic}: UTC, milliseconds");
        let seq = message["seq"].as_u64().expect("a number");
        if let Some((earlier, repeated)) = last {
            let repeat = seq == earlier && repeated == message;
            assert!(seq > earlier || repeat, "{topic}: {seq} after {earlier}");
        }
        last = Some((seq, message));
    }
}

fn assert_fields(topic: &str, message: &Value, fields: &[&str]) {
    let object = message.as_object().expect("an object");
    let mut found: Vec<&str> = object.keys().map(String::as_str).collect();
    found.retain(|key| !["time", "seq"].contains(key));
    found.sort_unstable();
    assert_eq!(found, fields, "{topic}: {message}");
}

fn fields_of(topic: &str, message: &Value) -> &'static [&'static str] {
    match topic.split('/').next() {
        Some("online") => &["online"],
        Some("reading") => READING,
        Some("runoff") => RUNOFF,
        Some("projection") => PROJECTION,
        Some("alarm") => ALARM,
        Some("event") if message["event"] == "table" => TABLE,
        Some("event") if message["event"] == "summary" => SUMMARY,
        Some("event") => OCCURRENCE,
        _ => panic!("no topic of ours: {topic}"),
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn everything_arrives_on_its_topic_and_a_killed_service_is_reported_gone() {
    let extra = "allow_anonymous true";
    let Some(broker) = Mosquitto::start_with(extra).await else {
        return;
    };
    let scenario = flowing_at_once("hill-lager");
    let brewhouse = Brewhouse::start(&scenario, 1.0, Some(broker.port)).await;
    let site = brewhouse.site();
    let tun = "lauterd/hill/tun-1/";
    site.configure(|table| {
        set(table, "mqtt.reading_every_s", 1.0);
        set(table, "mqtt.keep_alive_s", 5);
        set(table, "alarms.link-lost.on_delay_s", 1.0);
        set(table, "alarms.link-lost.off_delay_s", 1.0);
    });
    let listener = broker.listener("display", &format!("{tun}#"));
    eventually("the display listens", || listener.ready() >= 1).await;
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    let heard = || by_topic(&listener.messages(), tun);
    let has_event = |name: &str| {
        let topics = heard();
        let events = topics.get("event");
        events.is_some_and(|events| events.iter().any(|event| event["event"] == name))
    };

    eventually("every instrument with a value", || {
        let topics = heard();
        scenario.instruments.iter().all(|instrument| {
            topics
                .get(&format!("reading/{}", instrument.id))
                .is_some_and(|readings| readings.iter().any(|reading| reading["value"].is_number()))
        })
    })
    .await;
    eventually("a projection with a target", || {
        let topics = heard();
        let projections = topics.get("projection");
        projections.is_some_and(|lines| lines.iter().any(|line| line["target"].is_object()))
    })
    .await;
    eventually("the state of the run-off", || {
        heard().contains_key("runoff")
    })
    .await;
    eventually("the table", || has_event("table")).await;
    assert!(has_event("brew-started"));

    brewhouse.inject("drop-link cellar").await;
    eventually("link-lost", || {
        heard().contains_key("alarm/link-lost/cellar")
    })
    .await;
    brewhouse.inject("restore-link cellar").await;
    eventually("link-lost is over", || {
        let topics = heard();
        let last = topics["alarm/link-lost/cellar"].last();
        last.is_some_and(|line| line["to"] == "returned-unacknowledged")
    })
    .await;

    // Who comes late hears what is retained, and nothing that was only live.
    let late = broker.listener("late", &format!("{tun}#"));
    eventually("retained messages", || {
        let topics = by_topic(&late.messages(), tun);
        topics.contains_key("online") && topics.contains_key("alarm/link-lost/cellar")
    })
    .await;
    for message in late.messages().iter().filter(|message| message.retained) {
        let below = message.topic.strip_prefix(tun).expect("the tun's own");
        assert!(
            below == "online" || below.starts_with("alarm/"),
            "{below} is retained"
        );
    }

    program.kill();
    eventually("the last will", || {
        heard()["online"].last().expect("online")["online"] == false
    })
    .await;

    // Started again it goes on with the same brew and never uses a number twice.
    let program = Program::start(&site).await;
    eventually("it is back", || {
        heard()["online"].last().expect("online")["online"] == true
    })
    .await;
    let brew = program.status().await["brew"].clone();
    assert_eq!(brew, scenario.plan.brew.as_str());
    let before = heard()["runoff"].len();
    eventually("it watches on", || heard()["runoff"].len() > before).await;
    let ended = program.post("/brew/end", ("application/json", "")).await;
    assert_eq!(ended.status, 200, "{}", ended.body);
    eventually("the summary", || has_event("summary")).await;
    eventually("the end of the brew", || has_event("brew-ended")).await;

    for (topic, messages) in heard() {
        assert_stamped(&topic, &messages);
        for message in &messages {
            assert_fields(&topic, message, fields_of(&topic, message));
        }
    }
    // Ended in order it says so itself.
    let (status, _) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0));
    eventually("it says that it goes", || {
        heard()["online"].last().expect("online")["online"] == false
    })
    .await;
}

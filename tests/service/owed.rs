//! What others must hear: every alarm and event of a brew, at least once, in order, under one number each.

use std::collections::{BTreeMap, BTreeSet};

use lauterd::store::{Brew, Database};
use serde_json::{Value, json};

use super::mosquitto::{HeardMessage, Listener, eventually};

/// Kind of topic, and the message's own words.
type Said = (String, Value);

fn owed(database: &Database, brew: &Brew) -> Vec<Said> {
    let mut owed = Vec::new();
    for line in database.alarms(brew.id).expect("alarms") {
        let said = json!([line.elapsed_s, line.alarm, line.instrument, line.to]);
        owed.push(("alarm".to_owned(), said));
    }
    for (_, occurrence) in database.occurrences(brew.id).expect("occurrences") {
        let said = json!([occurrence.event, occurrence.text]);
        owed.push(("event".to_owned(), said));
    }
    owed
}

/// The number and the words of a message that must arrive. An alarm that is told anew, without a change, need not.
fn said(message: &HeardMessage) -> Option<(u64, Said)> {
    let below = message.topic.strip_prefix("lauterd/harbour/tun-1/")?;
    let body = message.json();
    if below.starts_with("alarm/") && body["from"] == body["to"] {
        return None;
    }
    let of = |keys: &[&str]| Value::Array(keys.iter().map(|key| body[*key].clone()).collect());
    let seq = body["seq"].as_u64().expect("a number");
    if below.starts_with("alarm/") {
        let said = of(&["elapsed_s", "alarm", "instrument", "to"]);
        return Some((seq, ("alarm".to_owned(), said)));
    }
    let event = below == "event" && body["event"].is_string();
    event.then(|| (seq, ("event".to_owned(), of(&["event", "text"]))))
}

/// Waits until the listener has heard all that the record says was told, and checks order and numbers. Gives how much
/// that was.
pub async fn heard_at_least_once(database: &Database, brew: &Brew, historian: &Listener) -> usize {
    let owed = owed(database, brew);
    let mut by_seq = BTreeMap::new();
    eventually("every alarm and event at the historian", || {
        for (seq, said) in historian.messages().iter().filter_map(said) {
            let before = by_seq.insert(seq, said.clone());
            assert!(
                before.is_none_or(|before| before == said),
                "seq {seq} used twice"
            );
        }
        let heard: BTreeSet<String> = by_seq.values().map(|said| format!("{said:?}")).collect();
        owed.iter().all(|said| heard.contains(&format!("{said:?}")))
    })
    .await;
    // By their numbers they are in the order in which they were told.
    for kind in ["alarm", "event"] {
        let of_kind = |said: &&Said| said.0 == kind;
        let told: Vec<_> = owed.iter().filter(of_kind).collect();
        let heard: Vec<_> = by_seq
            .values()
            .filter(of_kind)
            .filter(|said| told.contains(said))
            .collect();
        assert_eq!(heard, told, "{kind}");
    }
    assert_first_arrivals_in_order(historian);
    owed.len()
}

/// On each topic, what comes for the first time has a higher number than all before it.
fn assert_first_arrivals_in_order(historian: &Listener) {
    let mut highest: BTreeMap<String, u64> = BTreeMap::new();
    let mut seen = BTreeSet::new();
    for message in historian.messages() {
        let Some((seq, _)) = said(&message) else {
            continue;
        };
        if !seen.insert(seq) {
            continue;
        }
        let highest = highest.entry(message.topic.clone()).or_default();
        assert!(seq > *highest, "{}: {seq} after {highest}", message.topic);
        *highest = seq;
    }
}

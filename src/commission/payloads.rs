//! What a message of unknown make may hold.
//!
//! Owns the walk through a payload: every number, switch and time in it with its JSON Pointer. Total, whatever the bytes,
//! and bounded. Must not know topics or connections.

use serde_json::Value;

/// Most places listed of one payload, and how deep it is looked into: own choice, far beyond what instruments send.
const MOST_LEAVES: usize = 200;
const DEEPEST: usize = 12;

/// A number this near to the present in seconds or milliseconds since 1970 is a time, s. Own choice.
const TIME_WITHIN_S: f64 = 86_400.0;

/// What stands at one place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Content {
    Number(f64),
    Switch(bool),
    Time,
}

/// One place in a payload.
#[derive(Clone, Debug, PartialEq)]
pub struct Leaf {
    /// JSON Pointer (RFC 6901); None: the payload is a plain number.
    pub pointer: Option<String>,
    pub content: Content,
}

impl Leaf {
    /// As a reading: a switch is 0 or 1.
    pub fn value(&self) -> Option<f64> {
        match self.content {
            Content::Number(number) => Some(number),
            Content::Switch(on) => Some(f64::from(u8::from(on))),
            Content::Time => None,
        }
    }
}

/// Everything in a payload that a reading or its time could be. `now_s`: seconds since 1970.
pub fn leaves(payload: &[u8], now_s: f64) -> Vec<Leaf> {
    let mut found = Vec::new();
    if let Some(content) = std::str::from_utf8(payload)
        .ok()
        .and_then(|text| word(text, now_s))
    {
        found.push(Leaf {
            pointer: None,
            content,
        });
    } else if let Ok(document) = serde_json::from_slice::<Value>(payload) {
        walk(&document, &mut String::new(), now_s, 0, &mut found);
    }
    found
}

/// A number, a switch's word or a time as text.
fn word(text: &str, now_s: f64) -> Option<Content> {
    let text = text.trim();
    match text.to_ascii_lowercase().as_str() {
        "true" | "on" => return Some(Content::Switch(true)),
        "false" | "off" => return Some(Content::Switch(false)),
        _ => {}
    }
    if let Ok(value) = text.parse::<f64>() {
        return value.is_finite().then(|| number(value, now_s));
    }
    let is_time = text.parse::<jiff::Timestamp>().is_ok();
    is_time.then_some(Content::Time)
}

fn number(value: f64, now_s: f64) -> Content {
    let near = |seconds: f64| (seconds - now_s).abs() <= TIME_WITHIN_S;
    if near(value) || near(value / 1e3) {
        Content::Time
    } else {
        Content::Number(value)
    }
}

fn walk(value: &Value, pointer: &mut String, now_s: f64, depth: usize, found: &mut Vec<Leaf>) {
    if found.len() >= MOST_LEAVES || depth > DEEPEST {
        return;
    }
    let content = match value {
        Value::Object(members) => {
            for (name, member) in members {
                let step = name.replace('~', "~0").replace('/', "~1");
                stepped(member, &step, pointer, now_s, depth, found);
            }
            return;
        }
        Value::Array(members) => {
            for (index, member) in members.iter().enumerate() {
                stepped(member, &index.to_string(), pointer, now_s, depth, found);
            }
            return;
        }
        Value::Number(value) => value.as_f64().map(|value| number(value, now_s)),
        Value::Bool(on) => Some(Content::Switch(*on)),
        Value::String(text) => word(text, now_s),
        Value::Null => None,
    };
    if let Some(content) = content {
        found.push(Leaf {
            pointer: Some(pointer.clone()),
            content,
        });
    }
}

fn stepped(
    member: &Value,
    step: &str,
    pointer: &mut String,
    now_s: f64,
    depth: usize,
    found: &mut Vec<Leaf>,
) {
    let length = pointer.len();
    pointer.push('/');
    pointer.push_str(step);
    walk(member, pointer, now_s, depth + 1, found);
    pointer.truncate(length);
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const NOW_S: f64 = 1_750_000_000.0;

    fn shown(payload: &str) -> Vec<(Option<String>, Content)> {
        leaves(payload.as_bytes(), NOW_S)
            .into_iter()
            .map(|leaf| (leaf.pointer, leaf.content))
            .collect()
    }

    #[test]
    fn a_plain_number_needs_no_pointer_and_an_object_names_every_number() {
        assert_eq!(shown(" 61.5\n"), [(None, Content::Number(61.5))]);
        let at = |pointer: &str| Some(pointer.to_owned());
        assert_eq!(
            shown(
                r#"{"flow":{"value":61.5,"unit":"L/min"},"list":[1,"2.5"],"a/b":true,"none":null}"#
            ),
            [
                (at("/a~1b"), Content::Switch(true)),
                (at("/flow/value"), Content::Number(61.5)),
                (at("/list/0"), Content::Number(1.0)),
                (at("/list/1"), Content::Number(2.5)),
            ]
        );
    }

    #[test]
    fn times_are_told_from_readings_however_they_are_written() {
        for time in [
            r#""2025-06-15T15:06:40Z""#,
            "1750000000",
            "1750000000123",
            "\"1750000001.5\"",
        ] {
            let payload = format!(r#"{{"at":{time}}}"#);
            assert_eq!(shown(&payload)[0].1, Content::Time, "{time}");
        }
        assert_eq!(shown("1750")[0].1, Content::Number(1750.0));
    }

    proptest! {
        /// Every number that is listed is found again at its pointer.
        #[test]
        fn a_pointer_leads_back_to_its_number(names in prop::collection::vec("[a-z~/ ]{0,6}", 1..5), value in -1e6..1e6f64) {
            let mut document = Value::from(value);
            for name in &names {
                document = serde_json::json!({ name.as_str(): document });
            }
            let payload = document.to_string();
            let found = leaves(payload.as_bytes(), NOW_S);
            prop_assert_eq!(found.len(), 1);
            let pointer = found[0].pointer.clone().unwrap();
            prop_assert_eq!(document.pointer(&pointer).and_then(Value::as_f64), Some(value));
        }

        #[test]
        fn no_payload_makes_the_walk_panic_or_grow_without_bound(payload in prop::collection::vec(any::<u8>(), 0..400)) {
            prop_assert!(leaves(&payload, NOW_S).len() <= MOST_LEAVES);
        }
    }
}

//! From a payload to a number: pure, total, and separate from the connection.
//!
//! Owns what an instrument may send: a plain number, a switch's word, or a JSON document with the value and
//! perhaps the time at a JSON Pointer. It never guesses: a decimal comma, a unit behind the number or a missing
//! member is an error. Must not know topics, clocks or what the value measures, but for switches.

use jiff::Timestamp;
use lauter_core::reading::Cause;
use serde_json::Value;

use crate::config::model::MqttPoint;

/// From this magnitude on a numeric time is in milliseconds: as seconds it would lie beyond the year 5000, as
/// milliseconds it is 1973.
const MILLISECONDS_FROM: f64 = 1e11;

/// How much of a bad payload is kept and shown.
const EXCERPT_CHARACTERS: usize = 60;

/// What a payload says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decoded {
    pub content: Content,
    pub own_time: OwnTime<Timestamp>,
}

/// A value as it was written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Content {
    /// Always finite.
    Number(f64),
    /// `true`/`false`, `on`/`off`: only a switch may say so.
    Switch(bool),
}

/// An instrument's own timestamp.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OwnTime<T> {
    /// The configuration names none.
    None,
    /// It should be there, and is missing or not a time.
    Unreadable,
    Given(T),
}

/// Why a payload holds no value.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PayloadError {
    #[error("it is not UTF-8 text")]
    NotText,
    #[error(
        "it is not a number; send a plain one such as 1043.2, or name its place with `pointer`"
    )]
    NotANumber,
    #[error("it is not JSON; send JSON, or leave out `pointer`")]
    NotJson,
    #[error("there is nothing at {0}; check `pointer`")]
    NothingThere(String),
    #[error("there is null at {0}: the instrument has no value")]
    Null(String),
    #[error("there is {found} at {pointer}, and no number; check `pointer`")]
    WrongType {
        pointer: String,
        found: &'static str,
    },
    #[error("it is a number that is not finite")]
    NotFinite,
    #[error("it is a switch's word, and this instrument is no switch")]
    WordOfASwitch,
}

impl PayloadError {
    pub fn cause(&self) -> Cause {
        match self {
            Self::NotFinite => Cause::NotFinite,
            _ => Cause::BadPayload,
        }
    }
}

impl Decoded {
    /// The value in the instrument's unit; a switch is 0 or 1.
    pub fn value(&self, is_switch: bool) -> Result<f64, PayloadError> {
        match self.content {
            Content::Number(number) => Ok(number),
            Content::Switch(on) if is_switch => Ok(f64::from(u8::from(on))),
            Content::Switch(_) => Err(PayloadError::WordOfASwitch),
        }
    }
}

/// Reads one instrument's value from a payload. Never panics, whatever the bytes.
pub fn decode(payload: &[u8], point: &MqttPoint) -> Result<Decoded, PayloadError> {
    match &point.pointer {
        None => {
            let text = std::str::from_utf8(payload).map_err(|_| PayloadError::NotText)?;
            Ok(Decoded {
                content: written(text)?,
                own_time: match point.time_pointer {
                    None => OwnTime::None,
                    Some(_) => OwnTime::Unreadable,
                },
            })
        }
        Some(pointer) => {
            let document: Value =
                serde_json::from_slice(payload).map_err(|_| PayloadError::NotJson)?;
            Ok(Decoded {
                content: member(&document, pointer)?,
                own_time: own_time(&document, point.time_pointer.as_deref()),
            })
        }
    }
}

/// A number or a switch's word, spaces around it allowed.
fn written(text: &str) -> Result<Content, PayloadError> {
    let text = text.trim();
    match text.to_ascii_lowercase().as_str() {
        "true" | "on" => return Ok(Content::Switch(true)),
        "false" | "off" => return Ok(Content::Switch(false)),
        _ => {}
    }
    finite(text.parse().map_err(|_| PayloadError::NotANumber)?)
}

fn finite(number: f64) -> Result<Content, PayloadError> {
    if number.is_finite() {
        Ok(Content::Number(number))
    } else {
        Err(PayloadError::NotFinite)
    }
}

fn member(document: &Value, pointer: &str) -> Result<Content, PayloadError> {
    let wrong_type = |found| PayloadError::WrongType {
        pointer: pointer.to_owned(),
        found,
    };
    match document.pointer(pointer) {
        None => Err(PayloadError::NothingThere(pointer.to_owned())),
        Some(Value::Null) => Err(PayloadError::Null(pointer.to_owned())),
        Some(Value::Bool(on)) => Ok(Content::Switch(*on)),
        Some(Value::Number(number)) => finite(number.as_f64().unwrap_or(f64::NAN)),
        Some(Value::String(text)) => written(text).map_err(|error| match error {
            PayloadError::NotANumber => wrong_type("a text"),
            other => other,
        }),
        Some(Value::Array(_)) => Err(wrong_type("a list")),
        Some(Value::Object(_)) => Err(wrong_type("an object")),
    }
}

fn own_time(document: &Value, pointer: Option<&str>) -> OwnTime<Timestamp> {
    let Some(pointer) = pointer else {
        return OwnTime::None;
    };
    let time = match document.pointer(pointer) {
        Some(Value::Number(number)) => number.as_f64().and_then(since_1970),
        Some(Value::String(text)) => timestamp(text.trim()),
        _ => None,
    };
    time.map_or(OwnTime::Unreadable, OwnTime::Given)
}

/// RFC 3339, or a number in quotes.
fn timestamp(text: &str) -> Option<Timestamp> {
    text.parse::<Timestamp>()
        .ok()
        .or_else(|| text.parse().ok().and_then(since_1970))
}

/// Seconds or milliseconds since 1970; which of them, the magnitude tells.
fn since_1970(number: f64) -> Option<Timestamp> {
    let microseconds = if number.abs() >= MILLISECONDS_FROM {
        number * 1e3
    } else {
        number * 1e6
    };
    // A float beyond the range becomes the range's end, which no timestamp accepts.
    microseconds
        .is_finite()
        .then(|| Timestamp::from_microsecond(microseconds.round() as i64).ok())
        .flatten()
}

/// The first printable characters of a payload, for people.
pub fn excerpt(payload: &[u8]) -> String {
    String::from_utf8_lossy(payload)
        .chars()
        .filter(|character| !character.is_control())
        .take(EXCERPT_CHARACTERS)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn plain() -> MqttPoint {
        MqttPoint {
            topic: "skid/density".to_owned(),
            pointer: None,
            time_pointer: None,
        }
    }

    fn at(pointer: &str, time_pointer: Option<&str>) -> MqttPoint {
        MqttPoint {
            topic: "skid/state".to_owned(),
            pointer: Some(pointer.to_owned()),
            time_pointer: time_pointer.map(str::to_owned),
        }
    }

    fn number(payload: &str, point: &MqttPoint) -> Result<f64, PayloadError> {
        decode(payload.as_bytes(), point)?.value(false)
    }

    #[test]
    fn a_plain_number_may_have_spaces_around_it() {
        for payload in ["1043.2", " 1043.2\r\n", "+1043.2", "1.0432e3"] {
            assert_eq!(number(payload, &plain()), Ok(1043.2), "{payload:?}");
        }
        assert_eq!(number("-3", &plain()), Ok(-3.0));
    }

    #[test]
    fn what_is_not_a_plain_number_is_refused_and_not_guessed() {
        for payload in [
            "",
            " ",
            "1043,2",
            "1043.2 kg/m3",
            "0x10",
            "1 043",
            "null",
            "[1]",
        ] {
            assert_eq!(
                number(payload, &plain()),
                Err(PayloadError::NotANumber),
                "{payload:?}"
            );
        }
        assert_eq!(decode(&[0xFF, 0x31], &plain()), Err(PayloadError::NotText));
    }

    #[test]
    fn a_number_that_is_not_finite_keeps_its_own_cause() {
        for payload in ["NaN", "inf", "-Infinity", "1e999"] {
            let error = number(payload, &plain()).expect_err(payload);
            assert_eq!(error.cause(), Cause::NotFinite, "{payload}");
        }
        assert_eq!(
            number("1,5", &plain()).expect_err("comma").cause(),
            Cause::BadPayload
        );
    }

    #[test]
    fn only_a_switch_may_speak_in_words() {
        for (payload, expected) in [
            ("on", 1.0),
            ("TRUE", 1.0),
            ("off", 0.0),
            (" false ", 0.0),
            ("1", 1.0),
        ] {
            let decoded = decode(payload.as_bytes(), &plain()).expect(payload);
            assert_eq!(decoded.value(true), Ok(expected), "{payload}");
        }
        assert_eq!(number("on", &plain()), Err(PayloadError::WordOfASwitch));
        assert_eq!(
            number("true", &at("", None)),
            Err(PayloadError::WordOfASwitch)
        );
    }

    #[test]
    fn a_pointer_finds_numbers_booleans_and_numbers_in_quotes() {
        let document = r#"{"skid":{"density":[1043.2,"1044.5"],"rake":true,"a/b":7}}"#;
        assert_eq!(number(document, &at("/skid/density/0", None)), Ok(1043.2));
        assert_eq!(number(document, &at("/skid/density/1", None)), Ok(1044.5));
        assert_eq!(number(document, &at("/skid/a~1b", None)), Ok(7.0));
        let rake = decode(document.as_bytes(), &at("/skid/rake", None)).expect("a boolean");
        assert_eq!(rake.value(true), Ok(1.0));
    }

    #[test]
    fn a_pointer_without_a_number_behind_it_says_what_is_there() {
        let document = r#"{"density":null,"text":"warm","list":[],"object":{}}"#;
        let error = |pointer: &str| number(document, &at(pointer, None)).expect_err(pointer);
        assert_eq!(error("/density"), PayloadError::Null("/density".to_owned()));
        assert_eq!(
            error("/other"),
            PayloadError::NothingThere("/other".to_owned())
        );
        for (pointer, found) in [
            ("/text", "a text"),
            ("/list", "a list"),
            ("/object", "an object"),
        ] {
            let expected = PayloadError::WrongType {
                pointer: pointer.to_owned(),
                found,
            };
            assert_eq!(error(pointer), expected);
        }
        assert_eq!(
            number("{", &at("/density", None)),
            Err(PayloadError::NotJson)
        );
    }

    #[test]
    fn an_own_time_is_read_as_rfc_3339_seconds_or_milliseconds() {
        let expected = OwnTime::Given("2026-04-12T08:30:00.25Z".parse().expect("a time"));
        for time in [
            r#""2026-04-12T08:30:00.250Z""#,
            r#""2026-04-12T10:30:00.25+02:00""#,
            "1775982600.25",
            "1775982600250",
            r#""1775982600250""#,
        ] {
            let payload = format!(r#"{{"v":1,"t":{time}}}"#);
            let decoded = decode(payload.as_bytes(), &at("/v", Some("/t"))).expect("a value");
            assert_eq!(decoded.own_time, expected, "{time}");
        }
    }

    #[test]
    fn a_bad_own_time_does_not_cost_the_value() {
        for time in [
            "null",
            r#""noon""#,
            "1e300",
            "[1]",
            r#""2026-04-12T08:30:00""#,
        ] {
            let payload = format!(r#"{{"v":1,"t":{time}}}"#);
            let decoded = decode(payload.as_bytes(), &at("/v", Some("/t"))).expect("a value");
            assert_eq!(decoded.own_time, OwnTime::Unreadable, "{time}");
            assert_eq!(decoded.value(false), Ok(1.0));
        }
        let without = decode(b"1", &at("", Some("/t"))).expect("a value");
        assert_eq!(without.own_time, OwnTime::Unreadable);
    }

    #[test]
    fn an_excerpt_is_short_and_printable() {
        assert_eq!(excerpt(b"\x00dens\x1b[31mity\n"), "dens[31mity");
        assert_eq!(excerpt("é".repeat(200).as_bytes()).chars().count(), 60);
    }

    fn pointer() -> impl Strategy<Value = Option<String>> {
        proptest::option::of(prop_oneof![
            Just(String::new()),
            "(/[a-z0-9~/]{0,4}){0,3}",
            ".{0,8}"
        ])
    }

    proptest! {
        #[test]
        fn no_payload_makes_decoding_panic_or_yield_a_number_that_is_not_finite(
            payload in prop_oneof![
                proptest::collection::vec(any::<u8>(), 0..200),
                "[\\[\\]{}\",:0-9a-z.eE+-]{0,60}".prop_map(String::into_bytes),
            ],
            pointer in pointer(),
            time_pointer in pointer(),
        ) {
            let point = MqttPoint { topic: "t".to_owned(), pointer, time_pointer };
            if let Ok(Decoded { content: Content::Number(number), .. }) = decode(&payload, &point) {
                prop_assert!(number.is_finite());
            }
            prop_assert!(excerpt(&payload).chars().count() <= EXCERPT_CHARACTERS);
        }

        #[test]
        fn every_finite_number_survives_plain_and_in_json(value in any::<f64>().prop_filter("finite", |v| v.is_finite())) {
            prop_assert_eq!(number(&format!("{value:?}"), &plain()), Ok(value));
            let document = serde_json::json!({ "a": [ { "v": value } ] }).to_string();
            prop_assert_eq!(number(&document, &at("/a/0/v", None)), Ok(value));
        }

        #[test]
        fn times_to_the_millisecond_survive_each_way_of_writing(ms in 946_684_800_000i64..4_102_444_800_000) {
            let expected = OwnTime::Given(Timestamp::from_millisecond(ms).expect("in range"));
            for time in [
                serde_json::json!(ms),
                serde_json::json!(ms as f64 / 1e3),
                serde_json::json!(Timestamp::from_millisecond(ms).expect("in range").to_string()),
            ] {
                let payload = serde_json::json!({ "v": 0, "t": time }).to_string();
                let decoded = decode(payload.as_bytes(), &at("/v", Some("/t"))).expect("a value");
                prop_assert_eq!(decoded.own_time, expected);
            }
        }
    }
}

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
mod tests;

//! How the core's words become columns and come back.
//!
//! Owns the text forms of statuses, causes and units, and the JSON of bodies: always serde's names, so that the
//! record reads the same as configuration and messages.

use std::path::Path;

use lauter_core::reading::Status;
use serde::de::DeserializeOwned;
use serde::de::IntoDeserializer;
use serde::de::value::{Error as NameError, StrDeserializer};
use serde::{Deserialize, Serialize};

use super::StoreError;

/// The serde name of a plain enum value.
pub(super) fn name_of<T: Serialize>(value: &T) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(name)) => name,
        other => unreachable!("only plain enums have names, not {other:?}"),
    }
}

/// The plain enum value with this serde name.
pub(super) fn from_name<'a, T: Deserialize<'a>>(name: &'a str) -> Result<T, String> {
    let names: StrDeserializer<'a, NameError> = name.into_deserializer();
    T::deserialize(names).map_err(|error| error.to_string())
}

/// NULL for good, so that the common case costs nothing.
pub(super) fn status_column(status: Status) -> Option<String> {
    (status != Status::Good).then(|| name_of(&status))
}

pub(super) fn status_from_column(column: Option<&str>) -> Result<Status, String> {
    column.map_or(Ok(Status::Good), from_name)
}

pub(super) fn to_json<T: Serialize>(value: &T) -> String {
    serde_json::to_string(value).unwrap_or_else(|error| {
        unreachable!("the core's shapes have string keys and no failing members: {error}")
    })
}

pub(super) fn from_json<T: DeserializeOwned>(
    path: &Path,
    what: impl FnOnce() -> String,
    body: &str,
) -> Result<T, StoreError> {
    serde_json::from_str(body).map_err(|error| unreadable(path, what(), error.to_string()))
}

pub(super) fn unreadable(path: &Path, what: String, detail: String) -> StoreError {
    StoreError::Unreadable {
        path: path.to_owned(),
        what,
        detail,
    }
}

//! Collecting faults while a file is checked, so that one wrong key never hides the next.

use std::path::Path as FilePath;

use serde_json::Value;

use super::document::Document;
use super::error::{ConfigError, ConfigErrors, Place};
use super::key_path::KeyPath;
use crate::exit::Kind;

/// The faults found so far in one document.
#[derive(Debug, Default)]
pub struct Faults(Vec<(KeyPath, String)>);

impl Faults {
    /// Notes a fault. A key that has one already keeps it alone: what follows from it is no news.
    pub fn add(&mut self, at: &KeyPath, message: impl Into<String>) {
        if !self.0.iter().any(|(known, _)| known == at) {
            self.0.push((at.clone(), message.into()));
        }
    }

    /// Whether something at or below `at` is wrong.
    pub fn concern(&self, at: &KeyPath) -> bool {
        self.0.iter().any(|(known, _)| known.starts_with(at))
    }

    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Every fault with its place in `document`, in the order of the file.
    pub fn located(self, document: &Document) -> Vec<ConfigError> {
        let tree: &Value = document.tree();
        let mut errors: Vec<ConfigError> = self
            .0
            .into_iter()
            .map(|(at, message)| ConfigError {
                file: document.file().to_owned(),
                place: document.place(&at),
                key: at.label(tree),
                message,
            })
            .collect();
        errors.sort_by_key(|error| match error.place {
            Place::File => 0,
            Place::Line(line) | Place::Column(line, _) => line,
            Place::Variable(_) => usize::MAX,
        });
        errors
    }
}

/// Fails with everything in `errors`, unless there is nothing.
pub fn none_or_all(kind: Kind, errors: Vec<ConfigError>) -> Result<(), ConfigErrors> {
    if errors.is_empty() {
        Ok(())
    } else {
        Err(ConfigErrors { kind, errors })
    }
}

/// A fault whose place in the file is no longer known.
pub fn of_key(file: &FilePath, key: impl Into<String>, message: impl Into<String>) -> ConfigError {
    ConfigError {
        file: file.to_owned(),
        place: Place::File,
        key: key.into(),
        message: message.into(),
    }
}

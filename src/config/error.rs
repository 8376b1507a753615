//! What is wrong with a configuration, every fault with its place, and all of them at once.

use std::fmt;
use std::path::{Path as FilePath, PathBuf};

use crate::exit::{Failure, Kind};

/// Where a fault was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// The file as a whole.
    File,
    /// Line, counted from 1.
    Line(usize),
    /// Line and column, counted from 1.
    Column(usize, usize),
    /// An environment variable that overrides a key.
    Variable(String),
}

/// One thing wrong with a configuration.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub struct ConfigError {
    pub file: PathBuf,
    pub place: Place,
    /// Path of the key, with the name of the instrument or link; empty where the fault is no key's.
    pub key: String,
    /// What was found, what is allowed or what to do.
    pub message: String,
}

impl fmt::Display for ConfigError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file.display())?;
        match &self.place {
            Place::File => {}
            Place::Line(line) => write!(f, ":{line}")?,
            Place::Column(line, column) => write!(f, ":{line}:{column}")?,
            Place::Variable(name) => write!(f, ": {name}")?,
        }
        if !self.key.is_empty() {
            write!(f, ": {}", self.key)?;
        }
        write!(f, ": {}", self.message)
    }
}

/// Everything that is wrong with one or several configuration files; one line each when displayed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub struct ConfigErrors {
    pub kind: Kind,
    /// Never empty; in the order of the file.
    pub errors: Vec<ConfigError>,
}

impl ConfigErrors {
    /// A fault of the file as a whole.
    pub fn of_file(kind: Kind, file: &FilePath, message: impl Into<String>) -> Self {
        Self {
            kind,
            errors: vec![ConfigError {
                file: file.to_owned(),
                place: Place::File,
                key: String::new(),
                message: message.into(),
            }],
        }
    }

    /// Both, as one; where the kinds differ, the configuration as such is at fault.
    #[must_use]
    pub fn and(mut self, other: Self) -> Self {
        if self.kind != other.kind {
            self.kind = Kind::Configuration;
        }
        // A wrong environment variable is wrong for every file, and said once.
        for error in other.errors {
            if !self.errors.contains(&error) {
                self.errors.push(error);
            }
        }
        self
    }
}

impl fmt::Display for ConfigErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, error) in self.errors.iter().enumerate() {
            if index > 0 {
                writeln!(f)?;
            }
            write!(f, "{error}")?;
        }
        Ok(())
    }
}

impl From<ConfigErrors> for Failure {
    fn from(errors: ConfigErrors) -> Self {
        let count = errors.errors.len();
        let message = if count == 1 {
            errors.to_string()
        } else {
            format!("{count} errors\n{errors}")
        };
        Self::new(errors.kind, message)
    }
}

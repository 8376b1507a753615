//! One TOML file as a tree of values, with the environment laid over it and the line of every key.
//!
//! Owns reading and layering; whether the keys and values are right is for `shape` to say. The `config` crate
//! does the layering; the lines come from the TOML parser, which alone knows them.

use std::collections::BTreeMap;
use std::io::ErrorKind;
use std::path::{Path as FilePath, PathBuf};

use config::{Config, File, FileFormat};
use serde_json::Value;
use toml::de::{DeTable, DeValue};

use super::environment::Override;
use super::error::{ConfigError, ConfigErrors, Place};
use super::faults::none_or_all;
use super::key_path::KeyPath;
use crate::exit::Kind;

/// A file that is TOML; nothing more is known of it.
#[derive(Clone, Debug)]
pub struct Document {
    file: PathBuf,
    text: String,
    tree: Value,
    lines: BTreeMap<KeyPath, usize>,
    variables: BTreeMap<KeyPath, String>,
}

impl Document {
    /// Reads the file. `kind` is the failure that text which is not TOML amounts to.
    pub fn read(file: &FilePath, kind: Kind) -> Result<Self, ConfigErrors> {
        let text = std::fs::read_to_string(file).map_err(|error| {
            let (kind, message) = match error.kind() {
                ErrorKind::NotFound => (Kind::NoInput, "there is no such file".to_owned()),
                ErrorKind::InvalidData => (kind, "is not a text file in UTF-8".to_owned()),
                _ => (Kind::Io, format!("cannot be read: {error}")),
            };
            ConfigErrors::of_file(kind, file, message)
        })?;
        Self::parse(file, text, kind)
    }

    /// Takes `text` for the contents of `file`.
    pub fn parse(file: &FilePath, text: String, kind: Kind) -> Result<Self, ConfigErrors> {
        let (table, syntax_errors) = DeTable::parse_recoverable(&text);
        let mut reader = Reader {
            file,
            text: &text,
            lines: BTreeMap::new(),
            errors: Vec::new(),
        };
        for error in syntax_errors {
            let offset = error.span().map_or(0, |span| span.start);
            let message = format!("not TOML: {}", error.message().replace('\n', "; "));
            reader.error(offset, message);
        }
        reader.table(table.get_ref(), &KeyPath::default());
        none_or_all(kind, reader.errors)?;
        let lines = reader.lines;
        let tree = layered(&text, &[])
            .map_err(|error| ConfigErrors::of_file(kind, file, format!("not TOML: {error}")))?;
        Ok(Self {
            file: file.to_owned(),
            text,
            tree,
            lines,
            variables: BTreeMap::new(),
        })
    }

    /// A tree that was never a file: its faults have a key and no line.
    pub fn of_tree(name: &FilePath, tree: Value) -> Self {
        Self {
            file: name.to_owned(),
            text: String::new(),
            tree,
            lines: BTreeMap::new(),
            variables: BTreeMap::new(),
        }
    }

    /// Lays the environment's values over the file's.
    pub fn overridden(mut self, overrides: &[Override]) -> Result<Self, ConfigErrors> {
        self.tree = layered(&self.text, overrides).map_err(|error| {
            ConfigErrors::of_file(Kind::Configuration, &self.file, error.to_string())
        })?;
        for each in overrides {
            self.variables
                .insert(each.at.clone(), each.variable.clone());
        }
        Ok(self)
    }

    pub fn file(&self) -> &FilePath {
        &self.file
    }

    pub fn tree(&self) -> &Value {
        &self.tree
    }

    /// Where `at` stands, or the table it belongs in.
    pub fn place(&self, at: &KeyPath) -> Place {
        let mut here = Some(at.clone());
        while let Some(path) = here {
            if let Some(variable) = self.variables.get(&path) {
                return Place::Variable(variable.clone());
            }
            if let Some(line) = self.lines.get(&path) {
                return Place::Line(*line);
            }
            here = path.parent();
        }
        Place::File
    }
}

fn layered(text: &str, overrides: &[Override]) -> Result<Value, config::ConfigError> {
    let mut builder = Config::builder().add_source(File::from_str(text, FileFormat::Toml));
    for each in overrides {
        builder = builder.set_override(&each.expression, each.value.clone())?;
    }
    builder.build()?.try_deserialize()
}

/// Walks the parsed file for the lines of its keys and for what the layering could not place: a number
/// beyond 64 bits, and a top-level key that would be taken for a path.
struct Reader<'a> {
    file: &'a FilePath,
    text: &'a str,
    lines: BTreeMap<KeyPath, usize>,
    errors: Vec<ConfigError>,
}

impl Reader<'_> {
    fn table(&mut self, table: &DeTable<'_>, at: &KeyPath) {
        for (key, value) in table {
            let name: &str = key.get_ref();
            let path = at.literal_key(name);
            let offset = key.span().start;
            if at.segments().is_empty() && name.contains(['.', '[']) {
                let message = format!("unknown key {name:?}; a quoted key cannot stand for a path");
                self.error(offset, message);
                continue;
            }
            self.lines.insert(path.clone(), self.position(offset).0);
            self.value(value.get_ref(), &path, value.span().start);
        }
    }

    fn value(&mut self, value: &DeValue<'_>, at: &KeyPath, offset: usize) {
        match value {
            DeValue::Table(table) => self.table(table, at),
            DeValue::Array(elements) => {
                for (index, element) in elements.iter().enumerate() {
                    let path = at.index(index);
                    let offset = element.span().start;
                    self.lines.insert(path.clone(), self.position(offset).0);
                    self.value(element.get_ref(), &path, offset);
                }
            }
            DeValue::Integer(number)
                if i64::from_str_radix(number.as_str(), number.radix()).is_err() =>
            {
                self.error(offset, "the number is too large".to_owned());
            }
            DeValue::Float(number)
                if !number.as_str().contains("inf")
                    && number.as_str().parse::<f64>().is_ok_and(f64::is_infinite) =>
            {
                self.error(offset, "the number is too large".to_owned());
            }
            _ => {}
        }
    }

    fn error(&mut self, offset: usize, message: String) {
        let (line, column) = self.position(offset);
        self.errors.push(ConfigError {
            file: self.file.to_owned(),
            place: Place::Column(line, column),
            key: String::new(),
            message,
        });
    }

    /// Line and column, counted from 1, of a byte offset.
    fn position(&self, offset: usize) -> (usize, usize) {
        let before = self.text.get(..offset).unwrap_or(self.text);
        let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
        let line = before.matches('\n').count() + 1;
        (line, before[line_start..].chars().count() + 1)
    }
}

//! What can be wrong with a data file, with its place.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::exit::{Failure, Kind};

#[derive(Debug, Error)]
pub enum DataFault {
    #[error("{}: there is no such file; check its name and directory", .0.display())]
    Missing(PathBuf),
    #[error("{}: cannot be read: {reason}", path.display())]
    Unreadable { path: PathBuf, reason: String },
    #[error("{}:{line}: {text}", path.display())]
    Wrong {
        path: PathBuf,
        line: u64,
        text: String,
    },
    #[error("{}: {text}", path.display())]
    Empty { path: PathBuf, text: String },
}

impl DataFault {
    pub fn at(path: &Path, line: u64, text: impl Into<String>) -> Self {
        Self::Wrong {
            path: path.to_owned(),
            line,
            text: text.into(),
        }
    }

    pub fn from_csv(path: &Path, error: &csv::Error) -> Self {
        let line = error.position().map_or(1, csv::Position::line);
        match error.kind() {
            csv::ErrorKind::Io(io) => Self::Unreadable {
                path: path.to_owned(),
                reason: io.to_string(),
            },
            csv::ErrorKind::UnequalLengths {
                expected_len, len, ..
            } => Self::at(
                path,
                line,
                format!(
                    "the row has {len} cells, the header {expected_len}; give every column a cell, an empty one \
                     where nothing was read"
                ),
            ),
            csv::ErrorKind::Utf8 { .. } => Self::at(path, line, "the row is not text in UTF-8"),
            _ => Self::at(path, line, error.to_string()),
        }
    }
}

/// Opens a data file; a missing one is told from one that cannot be read.
pub fn open(path: &Path) -> Result<File, DataFault> {
    let failed = |error: io::Error| match error.kind() {
        io::ErrorKind::NotFound => DataFault::Missing(path.to_owned()),
        _ => DataFault::Unreadable {
            path: path.to_owned(),
            reason: error.to_string(),
        },
    };
    let file = File::open(path).map_err(failed)?;
    if file.metadata().is_ok_and(|metadata| metadata.is_dir()) {
        return Err(DataFault::Unreadable {
            path: path.to_owned(),
            reason: "it is a directory; name a file in it".to_owned(),
        });
    }
    Ok(file)
}

impl From<DataFault> for Failure {
    fn from(fault: DataFault) -> Self {
        let kind = match fault {
            DataFault::Missing(_) => Kind::NoInput,
            DataFault::Unreadable { .. } => Kind::Io,
            DataFault::Wrong { .. } | DataFault::Empty { .. } => Kind::Data,
        };
        Self::new(kind, fault.to_string())
    }
}

//! What is found of a record, or is not: a file without its log, a log without its file, a record put aside.
//!
//! Owns the names under which remains are kept. Nothing of a record is ever removed here.

use std::path::{Path, PathBuf};
use std::{fs, io};

use jiff::Timestamp;

use super::beside::Beside;
use super::{FILE_NAME, StoreError};

/// The log that SQLite keeps beside the file.
pub(super) const LOG_NAME: &str = "lauterd.sqlite3-wal";

pub(super) fn is_empty(path: &Path) -> bool {
    fs::metadata(path).map_or(true, |file| file.len() == 0)
}

/// The copy of a record that is not whole yet.
pub(super) const PART_NAME: &str = "lauterd.sqlite3.part";

/// A path as it stands in an address for SQLite.
pub(super) fn escaped(path: &Path) -> String {
    let text = path.display().to_string();
    text.replace('%', "%25")
        .replace('?', "%3f")
        .replace('#', "%23")
}

/// Whether a record that was here is gone, or its log. What is left of it is put aside, since SQLite would remove it.
pub(super) fn lost_before(beside: &Beside, directory: &Path) -> Result<Option<String>, StoreError> {
    if !beside.was_opened() {
        return Ok(None);
    }
    let path = directory.join(FILE_NAME);
    let log = directory.join(LOG_NAME);
    if is_empty(&path) {
        let aside = if is_empty(&log) {
            String::new()
        } else {
            let renamed = rename_record(directory, "damaged", crate::clock::wall_now());
            let aside = renamed.map_err(|source| StoreError::directory(directory, source))?;
            format!(" What was left of it is kept as {}.", aside.display())
        };
        return Ok(Some(format!(
            "The record {} has gone or is empty; a new one begins. A brew under way has to be started anew.{aside} Put a \
             copy back with lauterd backup --restore.",
            path.display()
        )));
    }
    let lost = beside.was_in_use() && is_empty(&log);
    Ok(lost.then(|| {
        format!(
            "The log of the record, {}, has gone: what was recorded last before the service ended is not there any more.",
            log.display()
        )
    }))
}

/// Renames the record with what stands beside it. Gives its new name.
pub(super) fn rename_record(directory: &Path, word: &str, now: Timestamp) -> io::Result<PathBuf> {
    let name = format!("{FILE_NAME}.{word}-{}", now.as_second());
    for end in ["-wal", "-shm", ""] {
        let from = directory.join(format!("{FILE_NAME}{end}"));
        if from.exists() {
            fs::rename(&from, directory.join(format!("{name}{end}")))?;
        }
    }
    Ok(directory.join(name))
}

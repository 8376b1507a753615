//! Copies of the record while it is being written, and whether a file is sound.
//!
//! Owns the online copy (SQLite's own backup, page by page, so that nobody waits for it) and the check at the start.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::Connection;
use rusqlite::backup::Backup;

use super::{Database, FILE_NAME, StoreError};

/// Pages copied at one time, and the pause between, so that the service's own writes get in between. Own choice.
const PAGES: i32 = 512;
const PAUSE: Duration = Duration::from_millis(2);

/// A copy that has been made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Copied {
    pub path: PathBuf,
    pub bytes: u64,
}

impl Database {
    /// Copies the record to `to`, which becomes a store directory of its own; a record that is already there is not
    /// touched. A service may be writing meanwhile: the copy is of one moment. It is checked before it is named so.
    pub fn backup(&self, to: &Path) -> Result<Copied, StoreError> {
        let failed = |source| StoreError::Copy {
            path: to.to_owned(),
            source,
        };
        fs::create_dir_all(to).map_err(failed)?;
        let path = to.join(FILE_NAME);
        if path.exists() {
            return Err(failed(std::io::Error::from(
                std::io::ErrorKind::AlreadyExists,
            )));
        }
        let part = to.join(format!("{FILE_NAME}.part"));
        // What an earlier try left behind.
        if part.exists() {
            fs::remove_file(&part).map_err(failed)?;
        }
        self.copy_into(&part)?;
        fs::File::open(&part)
            .and_then(|file| file.sync_all())
            .map_err(failed)?;
        fs::rename(&part, &path).map_err(failed)?;
        let bytes = fs::metadata(&path).map_err(failed)?.len();
        Ok(Copied { path, bytes })
    }

    fn copy_into(&self, part: &Path) -> Result<(), StoreError> {
        let failed = |source| StoreError::sql(part, "copying the record", source);
        let mut copy = Connection::open(part).map_err(failed)?;
        Backup::new(&self.connection, &mut copy)
            .and_then(|backup| backup.run_to_completion(PAGES, PAUSE, None))
            .map_err(failed)?;
        // One file, without a log beside it.
        copy.pragma_update_and_check(None, "journal_mode", "DELETE", |row| {
            row.get::<_, String>(0)
        })
        .map_err(failed)?;
        check(&copy, part)
    }
}

/// Whether a file's pages fit together. Quick: indices are not compared with their tables.
pub(super) fn check(connection: &Connection, path: &Path) -> Result<(), StoreError> {
    let failed = |source| StoreError::sql(path, "checking it", source);
    let mut statement = connection
        .prepare("PRAGMA quick_check(1)")
        .map_err(failed)?;
    let verdict: String = statement.query_row([], |row| row.get(0)).map_err(failed)?;
    if verdict == "ok" {
        return Ok(());
    }
    Err(StoreError::Corrupt {
        path: path.to_owned(),
        doing: "checking it",
        detail: verdict,
    })
}

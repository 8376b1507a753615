//! Copies of the record while it is being written, their way back, and whether a file is sound.
//!
//! Owns the online copy (SQLite's own backup, some pages at a time, within one reading transaction: what the service
//! writes meanwhile neither changes it nor makes it begin anew), the restoring of one, and the check at the start.

use std::fs;
use std::os::unix::fs::{MetadataExt, chown};
use std::path::{Path, PathBuf};
use std::time::Duration;

use jiff::Timestamp;
use rusqlite::backup::Backup;
use rusqlite::{Connection, OpenFlags};

use super::beside::Beside;
use super::remains::{PART_NAME, rename_record};
use super::{DamagedBlock, Database, FILE_NAME, StoreError, schema};

/// Pages copied at one time, and the pause between, so that the service's own writes get to the disk. Own choice.
const PAGES: i32 = 512;
const PAUSE: Duration = Duration::from_millis(2);
/// What a restored record's numbers are moved on by where nothing beside it says how far they had come. More than a
/// hundred restarts. Own choice.
const NUMBERS_AHEAD: i64 = 100_000_000;

/// A copy that has been made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Copied {
    pub path: PathBuf,
    pub bytes: u64,
    /// What cannot be read in it, nor in the record it is made of.
    pub damaged: Vec<DamagedBlock>,
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
        let part = to.join(PART_NAME);
        // What an earlier try left behind.
        if part.exists() {
            fs::remove_file(&part).map_err(failed)?;
        }
        let copied = self.copy_into(&part).map_err(|error| match error {
            // The copy is as good as what it is made of.
            StoreError::Corrupt { detail, .. } => StoreError::DamagedSource {
                path: self.path.clone(),
                detail,
            },
            other => other,
        });
        let copied = copied.and_then(|()| {
            fs::File::open(&part)
                .and_then(|file| file.sync_all())
                .and_then(|()| fs::rename(&part, &path))
                .and_then(|()| fs::metadata(&path))
                .map_err(failed)
        });
        if copied.is_err() {
            // Half a copy is none, and would only take up room.
            let _ = fs::remove_file(&part);
            let _ = fs::remove_file(to.join(format!("{PART_NAME}-journal")));
        }
        let bytes = copied?.len();
        // A damaged block costs its own readings; the rest is worth having.
        let damaged = Self::open_read_only(to)?.damaged_blocks(None)?;
        Ok(Copied {
            path,
            bytes,
            damaged,
        })
    }

    /// Puts the copy in the directory `from` in place of the record in `directory`, which is kept under another name, and
    /// whose log is put aside with it. Nobody may have that record open. Gives the record's new name, if there was one.
    pub fn restore(
        directory: &Path,
        from: &Path,
        now: Timestamp,
    ) -> Result<(Copied, Option<PathBuf>), StoreError> {
        let failed = |source| StoreError::Copy {
            path: directory.to_owned(),
            source,
        };
        let copy = Self::open_read_only(from)?;
        // A damaged block costs its own readings; the rest is worth having back.
        check(&copy.connection, &copy.path)?;
        let damaged = copy.damaged_blocks(None)?;
        drop(copy);
        fs::create_dir_all(directory).map_err(failed)?;
        let mut beside = Beside::lock(directory)?;
        let part = directory.join(PART_NAME);
        let path = directory.join(FILE_NAME);
        let prepared = fs::copy(from.join(FILE_NAME), &part)
            .map_err(failed)
            .and_then(|bytes| move_numbers_on(&part, &beside).map(|()| bytes));
        let placed = prepared.and_then(|bytes| {
            let owner = fs::metadata(directory).map_err(failed)?;
            chown(&part, Some(owner.uid()), Some(owner.gid())).map_err(failed)?;
            let file = fs::File::open(&part).map_err(failed)?;
            file.sync_all().map_err(failed)?;
            let before = ["", "-wal"]
                .iter()
                .any(|end| directory.join(format!("{FILE_NAME}{end}")).exists());
            let aside = before.then(|| rename_record(directory, "replaced", now));
            let aside = aside.transpose().map_err(failed)?;
            fs::rename(&part, &path).map_err(failed)?;
            let copied = Copied {
                path,
                bytes,
                damaged,
            };
            Ok((copied, aside))
        });
        if placed.is_err() {
            let _ = fs::remove_file(&part);
        } else {
            beside.set_in_use(false);
        }
        placed
    }

    pub(super) fn copy_into(&self, part: &Path) -> Result<(), StoreError> {
        let failed = |source| StoreError::sql(part, "copying the record", source);
        let reading = |source| StoreError::sql(&self.path, "reading it for a copy", source);
        let mut copy = Connection::open(part).map_err(failed)?;
        // One moment for the whole copy: without it, each commit of the service would start the copy anew.
        let moment = self.connection.unchecked_transaction().map_err(reading)?;
        moment
            .query_row("SELECT count(*) FROM sqlite_schema", [], |_| Ok(()))
            .map_err(reading)?;
        Backup::new(&moment, &mut copy)
            .and_then(|backup| backup.run_to_completion(PAGES, PAUSE, None))
            .map_err(failed)?;
        moment.finish().map_err(reading)?;
        // One file, without a log beside it.
        copy.pragma_update_and_check(None, "journal_mode", "DELETE", |row| {
            row.get::<_, String>(0)
        })
        .map_err(failed)?;
        check(&copy, part)
    }
}

/// An old copy must not give the numbers again that were given out after it was made.
fn move_numbers_on(part: &Path, beside: &Beside) -> Result<(), StoreError> {
    let failed = |source| StoreError::sql(part, "moving its numbers on", source);
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(part, flags).map_err(failed)?;
    schema::recognise(&connection, part)?;
    let mut statement = connection
        .prepare("SELECT id, site || '/' || name FROM tun")
        .map_err(failed)?;
    let tuns = statement
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .and_then(Iterator::collect::<rusqlite::Result<Vec<(i64, String)>>>)
        .map_err(failed)?;
    for (id, name) in tuns {
        let unknown = beside.number(&name) == 0;
        let ahead = if unknown { NUMBERS_AHEAD } else { 0 };
        connection
            .execute(
                "UPDATE tun SET next_sequence = next_sequence + ?2 WHERE id = ?1",
                [id, ahead],
            )
            .map_err(failed)?;
    }
    Ok(())
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

//! What can go wrong with the record, and what to do about it.

use std::path::{Path, PathBuf};
use std::{fs, io};

use rusqlite::ErrorCode;

use super::DamagedBlocks;
use crate::exit::{Failure, Kind};

/// Each names the file at fault and the remedy.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    #[error("store directory {path}: {source}; {}", directory_remedy(.source))]
    Directory { path: PathBuf, source: io::Error },
    #[error(
        "store {path} is in use by another lauterd{}; stop that one, or give this one another [store] directory",
        .process.map(|id| format!(" (process {id})")).unwrap_or_default()
    )]
    InUse { path: PathBuf, process: Option<u32> },
    #[error("there is no store at {path}; check [store] directory")]
    Missing { path: PathBuf },
    #[error(
        "store {path} has schema {found}, this program knows up to {known}; it was written by a newer lauterd: use that version"
    )]
    NewerSchema {
        path: PathBuf,
        found: i64,
        known: usize,
    },
    #[error("{path} is not a lauterd store; move it away or choose another [store] directory")]
    Foreign { path: PathBuf },
    #[error(
        "store {path} is damaged ({detail}) while {doing}; a service that starts moves it aside and begins a new record; lauterd backup --restore puts a copy back"
    )]
    Corrupt {
        path: PathBuf,
        doing: &'static str,
        detail: String,
    },
    #[error(
        "no room left for store {path} while {doing}; free disk space, what waits is tried again"
    )]
    DiskFull { path: PathBuf, doing: &'static str },
    #[error(
        "no permission for store {path} while {doing}; give the service's user the right to write there"
    )]
    Permission { path: PathBuf, doing: &'static str },
    #[error(
        "the file system of store {path} is read-only (found while {doing}); look for the disk's fault in the system's log, \
         then mount it writable again"
    )]
    ReadOnlyDisk { path: PathBuf, doing: &'static str },
    #[error("store {path}, {doing}: {source}")]
    Sql {
        path: PathBuf,
        doing: &'static str,
        source: rusqlite::Error,
    },
    #[error(
        "store {path}: {what} cannot be read back: {detail}; the record was changed by other hands or is damaged"
    )]
    Unreadable {
        path: PathBuf,
        what: String,
        detail: String,
    },
    #[error(
        "store {path}: the readings of brew {brew} do not fit into blocks; they stay rows, which takes ten times the room, \
         until the next start tries again"
    )]
    NotPacked { path: PathBuf, brew: i64 },
    #[error(
        "store {path}: readings are missing since the blocks that held them are damaged: {blocks}. An earlier copy may have \
         them (lauterd backup --restore); everything else is there"
    )]
    DamagedBlocks {
        path: PathBuf,
        blocks: DamagedBlocks,
    },
    #[error(
        "store {path} has no brew with record number {brew}; it was replaced or its time is over"
    )]
    NoSuchBrew { path: PathBuf, brew: i64 },
    #[error(
        "store {path}: brew {brew} has no instrument {instrument}; begin a new brew after the configuration has changed"
    )]
    UnknownInstrument {
        path: PathBuf,
        brew: i64,
        instrument: String,
    },
    #[error("export to {path}: {source}; check the directory and the room on its disk")]
    Export { path: PathBuf, source: io::Error },
    #[error(
        "copy of the record to {path}: {source}; name a directory without a record on a disk with room"
    )]
    Copy { path: PathBuf, source: io::Error },
    #[error(
        "store {path} is damaged ({detail}), and so would be the copy; none was made. Stop the service and put an earlier \
         copy back with lauterd backup --restore"
    )]
    DamagedSource { path: PathBuf, detail: String },
    #[error(
        "the record {path} was removed or replaced while the service had it open; it is put back from what is open as soon as \
         that can be done: free its directory and disk, and do not stop the service before"
    )]
    Gone { path: PathBuf },
    #[error(
        "the disk of the record does not answer; look at the disk and its cables. What waits is tried again"
    )]
    Stalled,
    #[error("the store's thread has ended; restart the service and read its log for the cause")]
    Closed,
}

/// What to do about a directory that cannot be used.
fn directory_remedy(source: &io::Error) -> &'static str {
    match source.kind() {
        io::ErrorKind::AlreadyExists | io::ErrorKind::NotADirectory => {
            "a file stands there: name a directory"
        }
        io::ErrorKind::IsADirectory => {
            "a directory stands where the record's file should be: move it away"
        }
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => "free disk space",
        _ => "create it, or give the service's user the right to write there",
    }
}

/// The system's number for a disk that cannot be read or written.
const EIO: i32 = 5;

/// Whether the file system takes nothing, whoever asks. Nothing is written to find out.
fn is_on_read_only_disk(path: &Path) -> bool {
    let opened = fs::OpenOptions::new().append(true).open(path);
    opened.is_err_and(|error| error.kind() == io::ErrorKind::ReadOnlyFilesystem)
}

/// SQLite could read less than there should be: the file has lost its end.
fn is_short(error: &rusqlite::Error) -> bool {
    error
        .sqlite_error()
        .is_some_and(|inner| inner.extended_code == rusqlite::ffi::SQLITE_IOERR_SHORT_READ)
}

impl StoreError {
    /// Sorts SQLite's error codes into what an operator can act upon.
    pub(super) fn sql(path: &Path, doing: &'static str, source: rusqlite::Error) -> Self {
        let path = path.to_owned();
        match source.sqlite_error_code() {
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => Self::Corrupt {
                path,
                doing,
                detail: source.to_string(),
            },
            _ if is_short(&source) => Self::Corrupt {
                path,
                doing,
                detail: "the file ends too early".to_owned(),
            },
            Some(ErrorCode::DiskFull) => Self::DiskFull { path, doing },
            // A disk that fails is first an error of reading or writing, and then mounted read-only by the kernel.
            Some(
                ErrorCode::ReadOnly
                | ErrorCode::PermissionDenied
                | ErrorCode::CannotOpen
                | ErrorCode::SystemIoFailure,
            ) if is_on_read_only_disk(&path) => Self::ReadOnlyDisk { path, doing },
            Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied | ErrorCode::CannotOpen) => {
                Self::Permission { path, doing }
            }
            _ => Self::Sql {
                path,
                doing,
                source,
            },
        }
    }

    /// A directory, or a file in it, that cannot be used.
    pub(super) fn directory(path: &Path, source: io::Error) -> Self {
        let path = path.to_owned();
        match source.kind() {
            io::ErrorKind::ReadOnlyFilesystem => Self::ReadOnlyDisk {
                path,
                doing: "opening it",
            },
            _ => Self::Directory { path, source },
        }
    }

    /// A file that was opened and may only be read.
    pub(super) fn not_writable(path: &Path, doing: &'static str) -> Self {
        let path = path.to_owned();
        if is_on_read_only_disk(&path) {
            Self::ReadOnlyDisk { path, doing }
        } else {
            Self::Permission { path, doing }
        }
    }

    /// Whether there is no room on the disk.
    pub fn is_full(&self) -> bool {
        match self {
            Self::DiskFull { .. } => true,
            Self::Directory { source, .. } => matches!(
                source.kind(),
                io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded
            ),
            _ => false,
        }
    }

    /// Whether the same call may succeed later without anyone changing the configuration.
    pub fn is_passing(&self) -> bool {
        match self {
            Self::DiskFull { .. }
            | Self::Permission { .. }
            | Self::ReadOnlyDisk { .. }
            | Self::Gone { .. }
            | Self::Stalled => true,
            // A service that is reloaded still closes what it had open.
            Self::InUse { process, .. } => *process == Some(std::process::id()),
            Self::Directory { source, .. } => {
                matches!(
                    source.kind(),
                    io::ErrorKind::StorageFull
                        | io::ErrorKind::QuotaExceeded
                        | io::ErrorKind::TimedOut
                        | io::ErrorKind::StaleNetworkFileHandle
                ) || source.raw_os_error() == Some(EIO)
            }
            Self::Sql { source, .. } => matches!(
                source.sqlite_error_code(),
                Some(
                    ErrorCode::DatabaseBusy
                        | ErrorCode::DatabaseLocked
                        | ErrorCode::SystemIoFailure
                        | ErrorCode::OutOfMemory
                )
            ),
            _ => false,
        }
    }
}

impl From<StoreError> for Failure {
    fn from(error: StoreError) -> Self {
        let kind = match error {
            StoreError::Missing { .. } => Kind::NoInput,
            _ => Kind::Io,
        };
        Self::new(kind, error.to_string())
    }
}

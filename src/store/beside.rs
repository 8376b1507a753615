//! What is kept beside the record, in the lock file, and so outlives it.
//!
//! Owns the numbers that have been given out, whether a record was in use here, and the last words of a service that could
//! not write. All of it fills one block that is written over in its place, which works on a full disk as well.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, Write};
use std::path::Path;

use lauter_core::supervisor::Unwatched;
use serde::{Deserialize, Serialize};

use super::in_place::Identity;
use super::{Database, LOCK_NAME, StoreError};

/// One block of every usual file system.
const LENGTH: usize = 4096;
/// The first line: the process that writes.
const PROCESS_LENGTH: usize = 20;

#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
struct Notes {
    /// A record has been opened here before.
    opened: bool,
    /// The log beside the record holds rows that are not in the file yet.
    in_use: bool,
    /// Numbers below these have been given out, by the tuns' names.
    numbers: BTreeMap<String, u64>,
    /// What a service that has ended could not write, in words, by the tuns' names.
    last_words: BTreeMap<String, String>,
}

impl Notes {
    fn of(text: &str, path: &Path) -> Self {
        match text.split_once('\n') {
            Some((_, notes)) if !notes.trim().is_empty() => serde_json::from_str(notes)
                .unwrap_or_else(|error| {
                    tracing::warn!("{} cannot be read: {error}", path.display());
                    Self::default()
                }),
            // An earlier version left its process there and nothing else.
            _ => Self {
                opened: !text.is_empty(),
                ..Self::default()
            },
        }
    }

    fn last_end(&self, tun: &str, cut_off: bool) -> Unwatched {
        if self.last_words.contains_key(tun) {
            Unwatched::Unrecorded
        } else if cut_off {
            Unwatched::CutOff
        } else if self.opened {
            // A service that could write nothing leaves the file as it found it.
            Unwatched::Unknown
        } else {
            Unwatched::NotRunning
        }
    }
}

/// The lock file of a record, locked.
#[derive(Debug)]
pub(super) struct Beside {
    file: File,
    notes: Notes,
    /// This process has rows in the log.
    own: bool,
    /// The process before left rows in the log: it did not close the record.
    cut_off: bool,
    /// Tuns that have asked how it ended.
    asked: BTreeSet<String>,
}

impl Beside {
    /// Locks the directory for this process. On a disk that takes nothing the lock holds all the same.
    pub fn lock(directory: &Path) -> Result<Self, StoreError> {
        let path = directory.join(LOCK_NAME);
        let failed = |source| StoreError::directory(directory, source);
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .or_else(|error| match error.kind() {
                io::ErrorKind::ReadOnlyFilesystem => File::open(&path).map_err(|_| error),
                _ => Err(error),
            })
            .map_err(failed)?;
        let locked = file.try_lock();
        let mut text = String::new();
        let read = file.read_to_string(&mut text);
        match locked {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let process = text
                    .lines()
                    .next()
                    .and_then(|line| line.trim().parse().ok());
                return Err(StoreError::InUse {
                    path: directory.to_owned(),
                    process,
                });
            }
            Err(TryLockError::Error(source)) => return Err(failed(source)),
        }
        let notes = match read {
            Ok(_) => Notes::of(&text, &path),
            Err(_) => Notes::default(),
        };
        let mut beside = Self {
            file,
            cut_off: notes.in_use,
            notes,
            own: false,
            asked: BTreeSet::new(),
        };
        beside.write();
        Ok(beside)
    }

    /// The lock for the same directory, after its lock file was removed or replaced: with what this one knows. None while
    /// this one still locks it.
    pub fn renewed(&self, directory: &Path) -> Result<Option<Self>, StoreError> {
        let own = Identity::of_file(&self.file);
        if own.is_some() && own == Identity::of(&directory.join(LOCK_NAME)) {
            return Ok(None);
        }
        let mut renewed = Self::lock(directory)?;
        renewed.notes = self.notes.clone();
        renewed.own = self.own;
        renewed.asked.clone_from(&self.asked);
        renewed.write();
        Ok(Some(renewed))
    }

    pub fn was_opened(&self) -> bool {
        self.notes.opened
    }

    pub fn was_in_use(&self) -> bool {
        self.notes.in_use
    }

    /// Whether rows may stand in the log alone from now on.
    pub fn set_in_use(&mut self, in_use: bool) {
        self.own = in_use;
        if !self.notes.opened || self.notes.in_use != in_use {
            self.notes.opened = true;
            self.notes.in_use = in_use;
            self.write();
        }
    }

    /// The first number of a tun that has not been given out.
    pub fn number(&self, tun: &str) -> u64 {
        self.notes.numbers.get(tun).copied().unwrap_or(0)
    }

    pub fn set_number(&mut self, tun: &str, number: u64) {
        if self.number(tun) < number {
            self.notes.numbers.insert(tun.to_owned(), number);
            self.write();
        }
    }

    /// How the process before ended, for a tun that takes up what it left. Whoever asks again asks about this process,
    /// which has not ended.
    pub fn last_end(&mut self, tun: &str) -> Unwatched {
        if !self.asked.insert(tun.to_owned()) {
            return Unwatched::NotRunning;
        }
        self.notes.last_end(tun, self.cut_off)
    }

    /// How the process before ended, where nothing can be opened for writing.
    pub fn read_last_end(directory: &Path, tun: &str) -> Unwatched {
        let path = directory.join(LOCK_NAME);
        let notes = fs::read_to_string(&path)
            .map_or_else(|_| Notes::default(), |text| Notes::of(&text, &path));
        notes.last_end(tun, notes.in_use)
    }

    pub fn leave_words(&mut self, tun: &str, words: String) {
        self.notes.last_words.insert(tun.to_owned(), words);
        self.write();
    }

    pub fn take_words(&mut self, tun: &str) -> Option<String> {
        let words = self.notes.last_words.remove(tun);
        if words.is_some() {
            self.write();
        }
        words
    }

    /// What cannot be written is still in the record, or is said again.
    fn write(&mut self) {
        let notes = serde_json::to_string(&self.notes).unwrap_or_default();
        let process = std::process::id();
        let text = format!("{process:<PROCESS_LENGTH$}\n{notes}");
        // Blanks to the end of the block; longer notes take the next one.
        let text = format!("{text:<LENGTH$}");
        let written = self
            .file
            .rewind()
            .and_then(|()| self.file.write_all(text.as_bytes()))
            .and_then(|()| self.file.set_len(text.len() as u64))
            .and_then(|()| self.file.sync_data());
        if let Err(error) = written {
            tracing::debug!("{LOCK_NAME} cannot be written: {error}");
        }
    }
}

impl Drop for Beside {
    /// Whoever drops it has closed the record before, which folds the log into the file.
    fn drop(&mut self) {
        if self.own {
            self.set_in_use(false);
        }
    }
}

impl Database {
    /// Leaves word for the next start about what could not be written.
    pub fn leave_words(&mut self, tun: &str, words: String) {
        if let Some(beside) = &mut self.beside {
            beside.leave_words(tun, words);
        }
    }

    /// How the service before ended, as far as it shows here; told once for each tun.
    pub fn last_end(&mut self, tun: &str) -> Unwatched {
        let beside = self.beside.as_mut();
        beside.map_or(Unwatched::NotRunning, |beside| beside.last_end(tun))
    }

    /// The same, asked of a record that can only be read. None where this version could not go on from it.
    pub fn last_end_read(&self, tun: &str) -> Option<Unwatched> {
        let directory = self.path.parent()?;
        self.is_current
            .then(|| Beside::read_last_end(directory, tun))
    }

    /// What the service before left word about, once.
    pub fn take_words(&mut self, tun: &str) -> Option<String> {
        self.beside.as_mut()?.take_words(tun)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_noted_beside_the_record_is_there_for_the_next_process() {
        let directory = tempfile::tempdir().unwrap();
        let mut beside = Beside::lock(directory.path()).unwrap();
        assert!(!beside.was_opened());
        beside.set_in_use(true);
        beside.set_number("north-yard/tun-1", 42);
        beside.set_number("north-yard/tun-1", 7);
        beside.leave_words("north-yard/tun-1", "three readings".to_owned());
        let refused = Beside::lock(directory.path()).unwrap_err();
        let own = std::process::id();
        assert!(
            matches!(refused, StoreError::InUse { process: Some(id), .. } if id == own),
            "{refused}"
        );
        // As a process that is killed leaves it.
        beside.own = false;
        drop(beside);
        let mut beside = Beside::lock(directory.path()).unwrap();
        assert!(beside.was_opened() && beside.was_in_use());
        assert_eq!(beside.number("north-yard/tun-1"), 42);
        assert_eq!(beside.number("north-yard/tun-2"), 0);
        let words = beside.take_words("north-yard/tun-1");
        assert_eq!(words.as_deref(), Some("three readings"));
        assert_eq!(beside.take_words("north-yard/tun-1"), None);
    }

    #[test]
    fn the_next_process_is_told_once_how_the_one_before_ended() {
        let directory = tempfile::tempdir().unwrap();
        let next = || Beside::lock(directory.path()).unwrap();
        assert_eq!(
            next().last_end("tun-1"),
            Unwatched::NotRunning,
            "there was none"
        );
        let mut closed = next();
        closed.set_in_use(true);
        closed.set_in_use(false);
        drop(closed);
        assert_eq!(next().last_end("tun-1"), Unwatched::Unknown);
        let mut killed = next();
        killed.set_in_use(true);
        killed.own = false;
        drop(killed);
        let mut after = next();
        after.set_in_use(true);
        assert_eq!(after.last_end("tun-1"), Unwatched::CutOff);
        assert_eq!(
            after.last_end("tun-1"),
            Unwatched::NotRunning,
            "that was told"
        );
        after.leave_words("tun-1", "three readings".to_owned());
        drop(after);
        let mut last = next();
        assert_eq!(last.last_end("tun-1"), Unwatched::Unrecorded);
        assert_eq!(last.last_end("tun-2"), Unwatched::Unknown);
    }

    #[test]
    fn the_lock_file_of_an_earlier_version_says_that_there_was_a_record() {
        let directory = tempfile::tempdir().unwrap();
        fs::write(directory.path().join(LOCK_NAME), "4711\n").unwrap();
        assert!(Beside::lock(directory.path()).unwrap().was_opened());
    }
}

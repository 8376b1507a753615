//! Whether the record that is open is still the one in its directory, and its way back.
//!
//! Owns the case that somebody removes or replaces the file while the service has it open. The system keeps what is open, so
//! that nothing is lost until the service ends: the record is copied back into its place from there. Whatever stands
//! in that place by then is put aside: a copy is put back with `lauterd backup --restore`, which the lock keeps from doing it now.

use std::fs::{self, File, Metadata};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

use jiff::Timestamp;

use super::remains::{PART_NAME, rename_record};
use super::{Database, StoreError};

/// Which file it is, whatever it is called.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Identity {
    device: u64,
    inode: u64,
}

impl Identity {
    /// None where there is no file.
    pub fn of(path: &Path) -> Option<Self> {
        fs::metadata(path).ok().as_ref().map(Self::from)
    }

    pub fn of_file(file: &File) -> Option<Self> {
        file.metadata().ok().as_ref().map(Self::from)
    }
}

impl From<&Metadata> for Identity {
    fn from(metadata: &Metadata) -> Self {
        Self {
            device: metadata.dev(),
            inode: metadata.ino(),
        }
    }
}

impl Database {
    /// Whether the file in the record's place is the one that is open.
    pub(super) fn is_in_place(&self) -> bool {
        self.file.is_some() && self.file == Identity::of(&self.path)
    }

    /// Copies the record into its place again, from what is open. Gives the new name of what stood there, if anything did.
    pub(super) fn copy_back(&mut self, now: Timestamp) -> Result<Option<PathBuf>, StoreError> {
        let directory = self.path.parent().unwrap_or(&self.path).to_owned();
        let failed = |source| StoreError::directory(&directory, source);
        fs::create_dir_all(&directory).map_err(failed)?;
        let renewed = self
            .beside
            .as_ref()
            .map(|beside| beside.renewed(&directory));
        if let Some(renewed) = renewed.transpose()?.flatten() {
            self.beside = Some(renewed);
        }
        let part = directory.join(PART_NAME);
        let remove_part = || {
            for name in [PART_NAME.to_owned(), format!("{PART_NAME}-journal")] {
                let _ = fs::remove_file(directory.join(name));
            }
        };
        remove_part();
        let copied = self.copy_into(&part).and_then(|()| {
            let file = File::open(&part).map_err(failed)?;
            file.sync_all().map_err(failed)
        });
        if let Err(error) = copied {
            // Half a copy is none, and would only take up room.
            remove_part();
            return Err(error);
        }
        let stood = ["", "-wal"]
            .iter()
            .any(|end| fs::exists(format!("{}{end}", self.path.display())).unwrap_or(true));
        let aside = stood.then(|| rename_record(&directory, "replaced", now));
        let aside = aside.transpose().map_err(failed)?;
        fs::rename(&part, &self.path).map_err(failed)?;
        // The names are on the disk as well.
        let named = File::open(&directory).and_then(|directory| directory.sync_all());
        if let Err(error) = named {
            tracing::debug!("{}: {error}", directory.display());
        }
        Ok(aside)
    }
    /// Opens what stands in the record's place now, a copy of this one.
    pub(super) fn opened_again(mut self) -> Result<Self, StoreError> {
        let (path, parameters, thinned) = (self.path.clone(), self.parameters, self.thinned);
        let beside = self.beside.take();
        // Its file has another name or none, and SQLite leaves alone what has its name now.
        drop(self);
        let directory = path.parent().unwrap_or(&path);
        let mut opened = match beside {
            Some(mut beside) => {
                // The copy is whole: it has no log.
                beside.set_in_use(false);
                Self::open_beside(directory, parameters, beside)
            }
            None => Self::open_with(directory, parameters),
        }?;
        opened.thinned = thinned;
        if let Some(beside) = &mut opened.beside {
            beside.set_in_use(true);
        }
        Ok(opened)
    }
}

//! Sessions on the disk, so that a restart of the service signs nobody out.
//!
//! Owns the file. It belongs to the service alone and holds only digests: whoever reads it can sign in as nobody. What cannot
//! be read or written costs the people a new sign-in and nothing else.

use std::fs::{self, OpenOptions};
use std::io::{self, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

use super::Access;
use crate::clock::wall_now;

impl Access {
    /// Keeps the sessions in a file, and takes up those that stand there. Each address has a file of its own.
    #[must_use]
    pub fn keeping_sessions_in(self, path: PathBuf) -> Self {
        if self.has_users() {
            self.take_up(&path);
        }
        Self {
            kept_in: Some(path),
            ..self
        }
    }

    fn take_up(&self, path: &Path) {
        let kept = fs::read(path).and_then(|bytes| Ok(serde_json::from_slice(&bytes)?));
        match kept {
            Ok(kept) => self.sessions().take_up(kept, self.now(), wall_now()),
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            Err(error) => {
                tracing::warn!(file = %path.display(), %error, "kept sessions cannot be read; people sign in again");
            }
        }
    }

    /// The list is short and written when somebody signs in or out.
    pub(super) fn keep(&self) {
        let Some(path) = self.kept_in.as_ref().filter(|_| self.has_users()) else {
            return;
        };
        let sessions = self.sessions();
        let kept = sessions.kept(|moment| self.clock.wall(moment));
        let written = serde_json::to_vec(&kept)
            .map_err(io::Error::from)
            .and_then(|bytes| write(path, &bytes));
        if let Err(error) = written {
            tracing::warn!(file = %path.display(), %error, "sessions cannot be kept; they end with the service");
        }
    }
}

fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let beside = path.with_extension("new");
    let mut file = OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(true)
        .mode(0o600)
        .open(&beside)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    fs::rename(beside, path)
}

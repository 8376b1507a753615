//! The file of users and tokens: what it looks like, how it is changed, and how the service sees a change.
//!
//! It holds hashes only. It is written whole beside itself and renamed, so that a reader never sees half of it; the
//! file beside it is also the lock. Owner and group stay; a new file takes the group of its directory, so that the
//! service can read what root has written.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write as _};
use std::os::unix::fs::{MetadataExt as _, OpenOptionsExt as _, PermissionsExt as _, chown};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::Role;
use super::secret::is_hash;

#[derive(Debug, thiserror::Error)]
pub enum UsersFileError {
    #[error("{path}: cannot be read: {source}; make it with lauterd user add")]
    Unreadable { path: PathBuf, source: io::Error },
    #[error("{path}: {fault}")]
    Wrong { path: PathBuf, fault: String },
    #[error("{path}: cannot be written: {source}")]
    Unwritable { path: PathBuf, source: io::Error },
    #[error(
        "{path} is there: somebody else is changing the users, or was interrupted; if nobody is, remove it and try again"
    )]
    Locked { path: PathBuf },
}

/// A person.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct User {
    pub name: String,
    pub role: Role,
    /// Argon2id, in PHC form.
    pub password: String,
}

/// A program.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Token {
    pub name: String,
    pub role: Role,
    /// BLAKE2s-256 of the token.
    pub digest: String,
    /// From then on it is not taken any more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<Timestamp>,
}

/// Everything in the file.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct UsersFile {
    #[serde(default, rename = "user", skip_serializing_if = "Vec::is_empty")]
    pub users: Vec<User>,
    #[serde(default, rename = "token", skip_serializing_if = "Vec::is_empty")]
    pub tokens: Vec<Token>,
}

const HEAD: &str = "# Users and tokens of lauterd, kept by `lauterd user` and `lauterd token`. Hashes only: neither a password nor
# a token can be read from it. The service sees a change at once.

";

impl UsersFile {
    pub fn user(&self, name: &str) -> Option<&User> {
        self.users.iter().find(|user| user.name == name)
    }

    pub fn token(&self, digest: &str) -> Option<&Token> {
        self.tokens.iter().find(|token| token.digest == digest)
    }

    /// Whether a user or token bears this name: in the trail they must be told apart.
    pub fn is_taken(&self, name: &str) -> bool {
        self.user(name).is_some() || self.tokens.iter().any(|token| token.name == name)
    }

    pub fn read(path: &Path) -> Result<Self, UsersFileError> {
        let text = fs::read_to_string(path).map_err(|source| UsersFileError::Unreadable {
            path: path.to_owned(),
            source,
        })?;
        let wrong = |fault| UsersFileError::Wrong {
            path: path.to_owned(),
            fault,
        };
        let file: Self =
            toml::from_str(&text).map_err(|error| wrong(without_source(&error, &text)))?;
        file.check().map_err(wrong)?;
        Ok(file)
    }

    fn check(&self) -> Result<(), String> {
        let names = self.users.iter().map(|user| &user.name);
        let names: Vec<&String> = names
            .chain(self.tokens.iter().map(|token| &token.name))
            .collect();
        for (index, name) in names.iter().enumerate() {
            check_name(name)?;
            if names[..index].contains(name) {
                return Err(format!(
                    "{name} is there twice; names are for one user or token"
                ));
            }
        }
        if let Some(user) = self.users.iter().find(|user| !is_hash(&user.password)) {
            return Err(format!(
                "the password of {} is no Argon2id hash; set it with lauterd user add",
                user.name
            ));
        }
        let digest = |token: &&Token| {
            token.digest.len() != 64 || !token.digest.bytes().all(|byte| byte.is_ascii_hexdigit())
        };
        match self.tokens.iter().find(digest) {
            Some(token) => Err(format!(
                "the digest of {} is not 64 hexadecimal digits; make the token with lauterd token add",
                token.name
            )),
            None => Ok(()),
        }
    }

    /// Changes the file, which is made if it is not there.
    pub fn change<T>(
        path: &Path,
        change: impl FnOnce(&mut Self) -> Result<T, String>,
    ) -> Result<T, UsersFileError> {
        let beside = lock_path(path);
        let lock = Lock::take(&beside)?;
        let mut file = if path.exists() {
            Self::read(path)?
        } else {
            Self::default()
        };
        let wrong = |fault| UsersFileError::Wrong {
            path: path.to_owned(),
            fault,
        };
        let outcome = change(&mut file).map_err(wrong)?;
        file.check().map_err(wrong)?;
        let text = toml::to_string(&file).map_err(|error| wrong(error.to_string()))?;
        lock.replace(path, &format!("{HEAD}{text}"))?;
        Ok(outcome)
    }
}

/// Name of a user or token: what stands in the trail.
pub fn check_name(name: &str) -> Result<(), String> {
    let right = (1..=64).contains(&name.chars().count())
        && name.trim() == name
        && !name.chars().any(char::is_control);
    if right {
        return Ok(());
    }
    Err(format!(
        "the name {name:?} must be 1 to 64 characters on one line, without a space at either end"
    ))
}

/// The parser's words and line, without the line itself: it may hold a hash.
fn without_source(error: &toml::de::Error, text: &str) -> String {
    let line = error.span().map(|span| {
        let before = text.get(..span.start).unwrap_or_default();
        before.matches('\n').count() + 1
    });
    match line {
        Some(line) => format!("line {line}: {}", error.message()),
        None => error.message().to_owned(),
    }
}

fn lock_path(path: &Path) -> PathBuf {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(".new");
    path.with_file_name(name)
}

/// The new file while it is being written.
struct Lock<'a> {
    beside: &'a Path,
    file: File,
}

impl<'a> Lock<'a> {
    fn take(beside: &'a Path) -> Result<Self, UsersFileError> {
        let path = beside.to_owned();
        OpenOptions::new()
            .write(true)
            .create_new(true)
            .mode(0o600)
            .open(beside)
            .map(|file| Self { beside, file })
            .map_err(|source| match source.kind() {
                io::ErrorKind::AlreadyExists => UsersFileError::Locked { path },
                _ => UsersFileError::Unwritable { path, source },
            })
    }

    fn replace(mut self, path: &Path, text: &str) -> Result<(), UsersFileError> {
        self.write(path, text)
            .map_err(|source| UsersFileError::Unwritable {
                path: path.to_owned(),
                source,
            })
    }

    fn write(&mut self, path: &Path, text: &str) -> io::Result<()> {
        self.file.write_all(text.as_bytes())?;
        let (owner, group, mode) = if let Ok(old) = fs::metadata(path) {
            (Some(old.uid()), old.gid(), old.mode() & 0o777)
        } else {
            let directory = path
                .parent()
                .filter(|parent| !parent.as_os_str().is_empty());
            let directory = directory.unwrap_or(Path::new("."));
            (None, fs::metadata(directory)?.gid(), 0o640)
        };
        // Who is not root keeps what they may keep.
        let _ = chown(self.beside, owner, Some(group));
        self.file
            .set_permissions(fs::Permissions::from_mode(mode))?;
        self.file.sync_all()?;
        fs::rename(self.beside, path)
    }
}

impl Drop for Lock<'_> {
    fn drop(&mut self) {
        // After the renaming it is not there any more.
        let _ = fs::remove_file(self.beside);
    }
}

/// The file as it was last seen to be right, and by what a change of it is noticed.
#[derive(Debug)]
pub struct Watched {
    path: PathBuf,
    seen: Mutex<(Option<Stamp>, Arc<UsersFile>)>,
}

/// A renamed file has another inode.
type Stamp = (u64, i64, i64, u64);

fn stamp(path: &Path) -> Option<Stamp> {
    let metadata = fs::metadata(path).ok()?;
    Some((
        metadata.ino(),
        metadata.mtime(),
        metadata.mtime_nsec(),
        metadata.len(),
    ))
}

impl Watched {
    pub fn open(path: PathBuf) -> Result<Self, UsersFileError> {
        let stamp = stamp(&path);
        let file = Arc::new(UsersFile::read(&path)?);
        Ok(Self {
            path,
            seen: Mutex::new((stamp, file)),
        })
    }

    /// The users as they are now. A file that has become unreadable or wrong lets nobody in: who was removed by the
    /// same change must not stay.
    pub fn current(&self) -> Arc<UsersFile> {
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        let now = stamp(&self.path);
        if now != seen.0 {
            let read = UsersFile::read(&self.path).unwrap_or_else(|error| {
                tracing::error!("nobody can sign in: {error}");
                UsersFile::default()
            });
            *seen = (now, Arc::new(read));
        }
        Arc::clone(&seen.1)
    }
}

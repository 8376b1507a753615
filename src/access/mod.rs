//! Who may do what: roles, users, tokens, sessions, and how often somebody may guess.
//!
//! Owns the one decision behind the page, the programming interface and the broker's commands alike. A caller is
//! known by a session (a person who signed in) or a token (a program); without a users' file whoever is at this
//! machine may do everything and everybody else may watch. Must not know HTTP, MQTT or what is asked.

mod attempts;
mod keeping;
mod parameters;
mod secret;
mod sessions;
mod users_file;

use std::net::IpAddr;
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use jiff::Timestamp;
use lauter_core::reading::Moment;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use tokio::sync::Semaphore;

pub use parameters::{LONGEST_PASSWORD, PARAMETERS, Parameters, SHORTEST_PASSWORD};
pub use secret::{SecretError, digest as token_digest, hashed, new_token};
pub use sessions::Session;
pub use users_file::{Token, User, UsersFile, UsersFileError};

use attempts::Attempts;
use sessions::Sessions;
use users_file::Watched;

use crate::clock::{Clock, Start};

/// What somebody may do; each role may do all that those before it may.
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Serialize,
    Deserialize,
    JsonSchema,
    clap::ValueEnum,
)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Sees everything, changes nothing.
    Watch,
    /// Starts and ends brews, gives samples and notes, answers alarms.
    Operate,
    /// Takes alarms out of service, resets what was learnt.
    Engineer,
}

impl Role {
    pub fn name(self) -> &'static str {
        match self {
            Self::Watch => "watch",
            Self::Operate => "operate",
            Self::Engineer => "engineer",
        }
    }
}

/// How a caller is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Known {
    /// Nobody signs in here.
    Nameless,
    /// A person. What they change must bear this value, which a page from elsewhere cannot read.
    Session { csrf: String },
    /// A program.
    Token,
}

/// Who asks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caller {
    pub name: String,
    pub role: Role,
    pub known: Known,
}

/// A caller may not do this.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct NotAllowed {
    message: String,
}

/// The name of whoever acts at this machine where nobody signs in and no name is given.
const AT_THIS_MACHINE: &str = "somebody at this machine";

impl Caller {
    /// Where nobody signs in: those at this machine may do everything, others may watch.
    pub fn nameless(at_this_machine: bool) -> Self {
        Self {
            name: AT_THIS_MACHINE.to_owned(),
            role: if at_this_machine {
                Role::Engineer
            } else {
                Role::Watch
            },
            known: Known::Nameless,
        }
    }

    /// The same, where they have said who they are. Nobody vouches for it: it is what the trail has instead of nothing.
    #[must_use]
    pub fn called(self, name: Option<String>) -> Self {
        match name {
            Some(name) => Self { name, ..self },
            None => self,
        }
    }

    pub fn may(&self, needed: Role) -> Result<(), NotAllowed> {
        if self.role >= needed {
            return Ok(());
        }
        let message = match self.known {
            Known::Nameless => "only the machine lauterd runs on may do this; to let others, make users (lauterd user \
                                add) and name their file in [web] users_file"
                .to_owned(),
            Known::Session { .. } | Known::Token => format!(
                "{} has the role {} and this needs {}; ask whoever keeps the users",
                self.name,
                self.role.name(),
                needed.name()
            ),
        };
        Err(NotAllowed { message })
    }

    /// The name that goes into the trail: the signed-in one. A program may add for whom it acts.
    pub fn who(&self, given: &str) -> String {
        let given = given.trim();
        match self.known {
            Known::Nameless if given.is_empty() && self.name != AT_THIS_MACHINE => {
                self.name.clone()
            }
            Known::Nameless => given.to_owned(),
            Known::Token if !given.is_empty() && given != self.name => {
                format!("{} for {given}", self.name)
            }
            Known::Session { .. } | Known::Token => self.name.clone(),
        }
    }

    /// As [`Self::who`], where a name may be left out.
    pub fn who_or_somebody(&self, given: Option<&str>) -> String {
        let who = self.who(given.unwrap_or_default());
        if who.is_empty() {
            AT_THIS_MACHINE.to_owned()
        } else {
            who
        }
    }
}

/// Why somebody could not sign in.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SignInRefused {
    #[error("user name or password is wrong")]
    Wrong,
    #[error("too many attempts; wait {0} s and try again")]
    Wait(u64),
    #[error("nobody signs in here: [web] users_file is not set")]
    NoUsers,
    #[error("the password could not be checked; try again")]
    Busy,
}

/// Keeps the door of one address.
#[derive(Debug)]
pub struct Access {
    users: Option<Watched>,
    sessions: Mutex<Sessions>,
    attempts: Mutex<Attempts>,
    /// Hashing a password takes memory and time; only few at once.
    hashing: Semaphore,
    session_us: i64,
    /// The same for those who only watch: a screen on the wall has no hands to sign in.
    watch_session_us: i64,
    /// Where the sessions lie while the service does not run.
    kept_in: Option<PathBuf>,
    clock: Clock,
}

fn microseconds(duration: Duration) -> i64 {
    i64::try_from(duration.as_micros()).unwrap_or(i64::MAX)
}

impl Access {
    /// Nobody signs in: this machine may act, others may watch.
    pub fn open() -> Self {
        Self::with(None, Duration::ZERO)
    }

    /// The users of a file, which must be there and right.
    pub fn of_users(file: PathBuf, session: Duration) -> Result<Self, UsersFileError> {
        Ok(Self::with(Some(Watched::open(file)?), session))
    }

    fn with(users: Option<Watched>, session: Duration) -> Self {
        Self {
            users,
            sessions: Mutex::default(),
            attempts: Mutex::default(),
            hashing: Semaphore::new(PARAMETERS.hashes_at_once),
            session_us: microseconds(session),
            watch_session_us: microseconds(session),
            kept_in: None,
            clock: Clock::start(&Start::default()),
        }
    }

    /// With another life for the sessions of those who only watch.
    #[must_use]
    pub fn with_watch_session(self, session: Duration) -> Self {
        Self {
            watch_session_us: microseconds(session),
            ..self
        }
    }

    /// How long a session of this role lasts, µs.
    fn lasts_us(&self, role: Role) -> i64 {
        match role {
            Role::Watch => self.watch_session_us,
            Role::Operate | Role::Engineer => self.session_us,
        }
    }

    /// The moment on the axis that sessions are counted on.
    pub fn now(&self) -> Moment {
        self.clock.now()
    }

    /// Whether people and programs must say who they are.
    pub fn has_users(&self) -> bool {
        self.users.is_some()
    }

    /// Checks name and password; the session is the person's from now on. `address` is where they come from.
    pub async fn sign_in(
        &self,
        address: IpAddr,
        name: &str,
        password: &str,
        now: Moment,
    ) -> Result<Session, SignInRefused> {
        let users = self.users.as_ref().ok_or(SignInRefused::NoUsers)?;
        self.attempts().begin(address, name, now)?;
        let user = users.current().user(name).cloned();
        let hash = user.as_ref().map(|user| user.password.clone());
        let given = password.to_owned();
        let place = self.hashing.acquire().await;
        let right = tokio::task::spawn_blocking(move || secret::is_right(&given, hash.as_deref()))
            .await
            .map_err(|_| SignInRefused::Busy)?;
        drop(place);
        let Some(user) = user.filter(|_| right) else {
            let user = name.escape_debug().to_string();
            tracing::warn!(user, %address, "a sign-in was refused");
            return Err(SignInRefused::Wrong);
        };
        self.attempts().succeeded(address, name);
        let lasts_us = self.lasts_us(user.role);
        let until_us = now.0.saturating_add(lasts_us);
        let session = self.sessions().begin(&user, until_us, lasts_us, now);
        self.keep();
        tracing::info!(user = user.name, %address, "signed in");
        Ok(session)
    }

    /// Who holds this session, if it still stands: it has ended with its time, with signing out, with the user, and
    /// with a new password.
    pub fn by_session(&self, id: &str, now: Moment) -> Option<Caller> {
        let users = self.users.as_ref()?.current();
        let session = self.sessions().find(id, now)?;
        let user = users
            .user(&session.user)
            .filter(|user| session.is_of(user))?;
        Some(Caller {
            name: user.name.clone(),
            role: user.role,
            known: Known::Session {
                csrf: sessions::csrf_of(id),
            },
        })
    }

    /// Which program holds this token, if it still stands.
    pub fn by_token(&self, token: &str, now: Timestamp) -> Option<Caller> {
        let users = self.users.as_ref()?.current();
        let known = users.token(&secret::digest(token))?;
        known.until.is_none_or(|until| now < until).then(|| Caller {
            name: known.name.clone(),
            role: known.role,
            known: Known::Token,
        })
    }

    pub fn sign_out(&self, id: &str) {
        self.sessions().end(id);
        self.keep();
    }

    fn sessions(&self) -> std::sync::MutexGuard<'_, Sessions> {
        self.sessions.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn attempts(&self) -> std::sync::MutexGuard<'_, Attempts> {
        self.attempts.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Whether two texts are the same, in a time that tells nothing about where they differ.
pub fn same(a: &str, b: &str) -> bool {
    a.len() == b.len()
        && a.bytes()
            .zip(b.bytes())
            .fold(0, |all, (a, b)| all | (a ^ b))
            == 0
}

#[cfg(test)]
mod tests;

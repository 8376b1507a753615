//! Who is signed in at the moment.
//!
//! Neither an id nor a person's hash is kept, only their digests, so that the list may lie on the disk and outlive a restart
//! of the service. Time is an argument.

use std::collections::{BTreeMap, HashMap};

use jiff::Timestamp;
use lauter_core::reading::Moment;
use serde::{Deserialize, Serialize};

use super::parameters::PARAMETERS;
use super::secret::{digest, random_text};
use super::users_file::User;

/// What the person's browser is given.
#[derive(Clone, PartialEq, Eq)]
pub struct Session {
    pub id: String,
    pub csrf: String,
    pub user: String,
    pub lasts_us: i64,
}

impl Session {
    /// How long it lasts, s.
    pub fn lasts_s(&self) -> i64 {
        self.lasts_us / 1_000_000
    }
}

impl std::fmt::Debug for Session {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Session of {}", self.user)
    }
}

/// What is known of a session.
#[derive(Clone)]
pub struct Standing {
    pub user: String,
    /// Digest of the hash the person signed in against: a new password ends the session.
    password: String,
    until_us: i64,
    began: Moment,
}

impl Standing {
    pub fn is_of(&self, user: &User) -> bool {
        self.user == user.name && self.password == digest(&user.password)
    }
}

/// A session as it lies on the disk.
#[derive(Debug, Serialize, Deserialize)]
pub struct Kept {
    user: String,
    password: String,
    until: Timestamp,
}

/// What the session's pages must bear: it follows from the id, which nobody else has.
pub fn csrf_of(id: &str) -> String {
    digest(&format!("{id} csrf"))
}

#[derive(Default)]
pub struct Sessions {
    by_digest: HashMap<String, Standing>,
}

impl std::fmt::Debug for Sessions {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} sessions", self.by_digest.len())
    }
}

impl Sessions {
    pub fn begin(&mut self, user: &User, until_us: i64, lasts_us: i64, now: Moment) -> Session {
        self.by_digest
            .retain(|_, standing| now.0 < standing.until_us);
        while self.by_digest.len() >= PARAMETERS.sessions {
            let oldest = self.by_digest.iter().min_by_key(|(_, known)| known.began);
            let Some(key) = oldest.map(|(key, _)| key.clone()) else {
                break;
            };
            self.by_digest.remove(&key);
        }
        // Without random numbers nobody can be signed in; an operating system that has none does not start services.
        let id = random_text().unwrap_or_else(|error| panic!("{error}"));
        let session = Session {
            csrf: csrf_of(&id),
            id,
            user: user.name.clone(),
            lasts_us,
        };
        let standing = Standing {
            user: user.name.clone(),
            password: digest(&user.password),
            until_us,
            began: now,
        };
        self.by_digest.insert(digest(&session.id), standing);
        session
    }

    pub fn find(&self, id: &str, now: Moment) -> Option<Standing> {
        let standing = self.by_digest.get(&digest(id))?;
        (now.0 < standing.until_us).then(|| standing.clone())
    }

    pub fn end(&mut self, id: &str) {
        self.by_digest.remove(&digest(id));
    }

    /// All of them by the digests of their ids; `wall` tells the time of a moment.
    pub fn kept(&self, wall: impl Fn(Moment) -> Timestamp) -> BTreeMap<String, Kept> {
        let kept = |standing: &Standing| Kept {
            user: standing.user.clone(),
            password: standing.password.clone(),
            until: wall(Moment(standing.until_us)),
        };
        self.by_digest
            .iter()
            .map(|(digest, standing)| (digest.clone(), kept(standing)))
            .collect()
    }

    /// Takes up what was kept and has time left.
    pub fn take_up(&mut self, kept: BTreeMap<String, Kept>, now: Moment, time: Timestamp) {
        for (digest, it) in kept {
            let left_us = it
                .until
                .as_microsecond()
                .saturating_sub(time.as_microsecond());
            if left_us > 0 && self.by_digest.len() < PARAMETERS.sessions {
                let standing = Standing {
                    user: it.user,
                    password: it.password,
                    until_us: now.0.saturating_add(left_us),
                    began: now,
                };
                self.by_digest.insert(digest, standing);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::Role;
    use super::*;

    fn user() -> User {
        User {
            name: "anna".to_owned(),
            role: Role::Operate,
            password: "hash".to_owned(),
        }
    }

    #[test]
    fn a_session_stands_until_its_time_is_over_or_it_is_ended() {
        let mut sessions = Sessions::default();
        let session = sessions.begin(&user(), 100, 100, Moment(0));
        assert_ne!(session.id, session.csrf);
        assert_eq!(sessions.find(&session.id, Moment(99)).unwrap().user, "anna");
        assert!(sessions.find(&session.id, Moment(100)).is_none());
        assert!(sessions.find(&session.csrf, Moment(0)).is_none());
        sessions.end(&session.id);
        assert!(sessions.find(&session.id, Moment(0)).is_none());
    }

    #[test]
    fn what_is_kept_tells_neither_id_nor_hash_and_is_taken_up_for_the_time_left() {
        let mut sessions = Sessions::default();
        let session = sessions.begin(&user(), 5_000_000, 5_000_000, Moment(0));
        let wall = |moment: Moment| Timestamp::from_microsecond(moment.0).unwrap();
        let text = serde_json::to_string(&sessions.kept(wall)).unwrap();
        for secret in [&session.id, &session.csrf, &user().password] {
            assert!(!text.contains(secret.as_str()), "{text}");
        }
        let mut again = Sessions::default();
        let kept = || serde_json::from_str(&text).unwrap();
        again.take_up(kept(), Moment(70), wall(Moment(2_000_000)));
        let standing = again.find(&session.id, Moment(3_000_069)).unwrap();
        assert!(standing.is_of(&user()));
        assert!(again.find(&session.id, Moment(3_000_070)).is_none());
        let mut late = Sessions::default();
        late.take_up(kept(), Moment(0), wall(Moment(5_000_000)));
        assert!(late.find(&session.id, Moment(0)).is_none());
    }

    #[test]
    fn beyond_the_bound_the_oldest_session_ends() {
        let mut sessions = Sessions::default();
        let first = sessions.begin(&user(), i64::MAX, i64::MAX, Moment(0));
        let second = sessions.begin(&user(), i64::MAX, i64::MAX, Moment(1));
        for n in (2..).take(PARAMETERS.sessions - 1) {
            sessions.begin(&user(), i64::MAX, i64::MAX, Moment(n));
        }
        assert!(sessions.find(&first.id, Moment(9)).is_none());
        assert!(sessions.find(&second.id, Moment(9)).is_some());
    }
}

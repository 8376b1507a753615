//! Who is signed in at the moment.
//!
//! Sessions live in memory: they end with the service. An id is kept as its digest only. Time is an argument.

use std::collections::HashMap;

use lauter_core::reading::Moment;

use super::parameters::PARAMETERS;
use super::secret::{digest, random_text};
use super::users_file::User;

/// What the person's browser is given.
#[derive(Clone, PartialEq, Eq)]
pub struct Session {
    pub id: String,
    pub csrf: String,
    pub user: String,
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
    /// The hash the person signed in against: a new password ends the session.
    pub password: String,
    pub csrf: String,
    until_us: i64,
    began: Moment,
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
    pub fn begin(&mut self, user: &User, until_us: i64, now: Moment) -> Session {
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
        let text = || random_text().unwrap_or_else(|error| panic!("{error}"));
        let session = Session {
            id: text(),
            csrf: text(),
            user: user.name.clone(),
        };
        let standing = Standing {
            user: user.name.clone(),
            password: user.password.clone(),
            csrf: session.csrf.clone(),
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
        let session = sessions.begin(&user(), 100, Moment(0));
        assert_ne!(session.id, session.csrf);
        assert_eq!(sessions.find(&session.id, Moment(99)).unwrap().user, "anna");
        assert!(sessions.find(&session.id, Moment(100)).is_none());
        assert!(sessions.find(&session.csrf, Moment(0)).is_none());
        sessions.end(&session.id);
        assert!(sessions.find(&session.id, Moment(0)).is_none());
    }

    #[test]
    fn beyond_the_bound_the_oldest_session_ends() {
        let mut sessions = Sessions::default();
        let first = sessions.begin(&user(), i64::MAX, Moment(0));
        let second = sessions.begin(&user(), i64::MAX, Moment(1));
        for n in (2..).take(PARAMETERS.sessions - 1) {
            sessions.begin(&user(), i64::MAX, Moment(n));
        }
        assert!(sessions.find(&first.id, Moment(9)).is_none());
        assert!(sessions.find(&second.id, Moment(9)).is_some());
    }
}

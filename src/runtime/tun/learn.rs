//! What a tun's brews teach, between the supervisor and the record.
//!
//! Owns the two moments: before a brew the profile is read, after it the lesson is kept. Neither may keep a brew
//! from starting or ending, so that what goes wrong is only logged.

use lauter_core::profile::TunProfile;
use lauter_core::reading::Moment;

use super::Tun;
use crate::store::{BrewEnd, FinishedBrew, Learnt};

impl Tun {
    /// What other brews taught about the tun; None where nothing has been learnt.
    pub(super) async fn learnt(&mut self, brew: &str) -> Option<Box<TunProfile>> {
        let tun = self.tun();
        match self
            .setting
            .store
            .run(move |database| database.tun_profile(tun))
            .await
        {
            Ok(profile) => {
                let profile = profile.without(brew);
                (!profile.lessons.is_empty()).then(|| Box::new(profile))
            }
            Err(error) => {
                tracing::error!("the brew starts without the tun's profile: {error}");
                None
            }
        }
    }

    /// How a brew that has just ended is written: with what it taught, which is learnt then.
    pub(super) fn brew_end(&mut self, ended_at: Moment) -> BrewEnd {
        let ended = self.setting.clock.wall(ended_at);
        BrewEnd {
            finished: FinishedBrew {
                ended,
                ended_at,
                summary: self.summary.take(),
            },
            lesson: self.lesson.take().map(|lesson| (lesson, ended)),
        }
    }
}

/// Tells what came of what a brew taught.
pub(super) fn tell(learnt: Learnt) {
    match learnt {
        Some((name, Ok(acceptance))) => {
            let verdict = if acceptance.accepted {
                "teaches"
            } else {
                "does not teach"
            };
            let why = acceptance.reason.in_words();
            tracing::info!("brew {name} {verdict} the tun's profile: {why}");
        }
        Some((name, Err(error))) => tracing::error!("brew {name} was not learnt from: {error}"),
        None => {}
    }
}

//! What a tun's brews teach, between the supervisor and the record.
//!
//! Owns the two moments: before a brew the profile is read, after it the lesson is kept. Neither may keep a brew
//! from starting or ending, so that what goes wrong is only logged.

use jiff::Timestamp;
use lauter_core::profile::TunProfile;

use super::Tun;
use crate::store::BrewId;

impl Tun {
    /// What other brews taught about the tun; None where nothing has been learnt.
    pub(super) async fn learnt(&mut self, brew: &str) -> Option<Box<TunProfile>> {
        let tun = self.setting.tun;
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

    /// Keeps what the brew that has just ended taught.
    pub(super) async fn learn(&mut self, brew: BrewId, now: Timestamp) {
        let Some(lesson) = self.lesson.take() else {
            return;
        };
        let tun = self.setting.tun;
        let name = lesson.brew.clone();
        let learnt = self
            .setting
            .store
            .run(move |database| database.learn(tun, brew, &lesson, now))
            .await;
        match learnt {
            Ok(acceptance) => {
                let verdict = if acceptance.accepted {
                    "teaches"
                } else {
                    "does not teach"
                };
                let why = acceptance.reason.in_words();
                tracing::info!("brew {name} {verdict} the tun's profile: {why}");
            }
            Err(error) => tracing::error!("brew {name} was not learnt from: {error}"),
        }
    }
}

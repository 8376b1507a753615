//! How a tun's profile grows in the record.
//!
//! Owns the reading of the newest profile and the one step at a brew's end: judge, keep the profile's next version,
//! mark the brew. What a lesson means is the core's.

use jiff::Timestamp;
use lauter_core::profile::{Acceptance, BrewLesson, FORMAT, TunProfile};

use super::encoding::{from_json, to_json, unreadable};
use super::{BrewId, Database, StoreError, StoredProfile, TunId};

impl Database {
    /// What has been learnt about a tun; an empty profile where nothing has.
    pub fn tun_profile(&self, tun: TunId) -> Result<TunProfile, StoreError> {
        match self.profile(tun)? {
            Some(stored) => self.decode_profile(&stored),
            None => Ok(TunProfile::default()),
        }
    }

    /// A stored version in the core's words.
    pub fn decode_profile(&self, stored: &StoredProfile) -> Result<TunProfile, StoreError> {
        let what = || format!("version {} of the tun's profile", stored.version);
        let profile: TunProfile = from_json(&self.path, what, &stored.body)?;
        if profile.format != FORMAT {
            let detail = format!(
                "its format is {}, this program knows {FORMAT}; lauterd tun reset begins a new one",
                profile.format
            );
            return Err(unreadable(&self.path, what(), detail));
        }
        Ok(profile)
    }

    /// Judges a brew, keeps what it teaches and marks it. The same brew again takes the place of what it taught.
    pub fn learn(
        &mut self,
        tun: TunId,
        brew: BrewId,
        lesson: &BrewLesson,
        now: Timestamp,
    ) -> Result<Acceptance, StoreError> {
        let (profile, acceptance) = self.tun_profile(tun)?.update(lesson);
        self.save_profile(tun, now, Some(&lesson.brew), &to_json(&profile))?;
        self.mark_accepted(brew, acceptance.accepted)?;
        Ok(acceptance)
    }

    /// Begins a new profile; the versions before it stay in the record.
    pub fn reset_profile(&mut self, tun: TunId, now: Timestamp) -> Result<u64, StoreError> {
        self.save_profile(tun, now, None, &to_json(&TunProfile::default()))
    }
}

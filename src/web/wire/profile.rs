//! The tun's profile as it travels.

use jiff::Timestamp;
use lauter_core::profile::{Figures, TunProfile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Time;
use crate::store::{Database, StoreError, TunId};

/// The newest version of a tun's profile; without a version nothing has been learnt yet.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct KnownProfile {
    pub version: Option<u64>,
    #[schemars(with = "Option<Time>")]
    pub saved: Option<Timestamp>,
    pub figures: Figures,
    pub profile: TunProfile,
}

/// The version that a change has made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ProfileVersion {
    pub version: u64,
}

impl KnownProfile {
    pub fn of(database: &Database, tun: TunId) -> Result<Self, StoreError> {
        let stored = database.profile(tun)?;
        let profile = match &stored {
            Some(stored) => database.decode_profile(stored)?,
            None => TunProfile::default(),
        };
        Ok(Self {
            version: stored.as_ref().map(|stored| stored.version),
            saved: stored.as_ref().map(|stored| stored.saved),
            figures: profile.figures(),
            profile,
        })
    }
}

//! What the world tells the supervisor. Every event is stored by the shell, so that a record can be replayed.

use serde::{Deserialize, Serialize};

pub use crate::alarm::OperatorAction;

use crate::alarm::AlarmId;
use crate::calibration::Correction;
use crate::profile::TunProfile;
use crate::projection::Plan;
use crate::reading::{Moment, Reading};

/// Where a hand sample was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    Runnings,
    Kettle,
}

/// A reading a person took and typed in. Gravity at 20 °C; pH of a cooled sample; volume as metered.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sample {
    pub place: Place,
    pub gravity_p: Option<f64>,
    pub ph: Option<f64>,
    pub volume_l: Option<f64>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LinkState {
    Up,
    Down,
}

/// Why there is nothing of a time, as far as whoever comes after it can tell.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unwatched {
    /// The service had ended, or was ended.
    #[default]
    NotRunning,
    /// The service was there and was given no time.
    StoodStill,
    /// The service watched and could not write it down.
    Unrecorded,
    /// The record was not closed: the service was killed, had no power, or could not write.
    CutOff,
    /// The record was closed. Since then no service ran, or one that could write nothing, not even that it was there.
    Unknown,
}

impl Unwatched {
    /// What a record without a word about it means.
    #[allow(clippy::trivially_copy_pass_by_ref, reason = "serde gives a reference")]
    fn is_usual(&self) -> bool {
        *self == Self::default()
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Event {
    /// `elapsed_s` of everything that follows counts from the event's moment.
    BrewStarted {
        plan: Box<Plan>,
        zero: Moment,
        /// What earlier brews on this tun taught, as it stood when the brew began: with it in the record, a brew
        /// taken up again has the same expectations.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        profile: Option<Box<TunProfile>>,
        /// Which instruments are corrected, and how: of all others the readings are taken as they come.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        corrections: Vec<(usize, Correction)>,
    },
    BrewEnded,
    Reading {
        instrument: usize,
        reading: Reading,
    },
    Sample(Sample),
    /// A hand sample was a slip: it counts no more. Its number is its place among the brew's samples, from 0.
    SampleWithdrawn {
        number: usize,
    },
    /// Something a person wants in the record.
    Note {
        who: String,
        text: String,
    },
    /// A person reports that the rakes run from now on for some minutes, where no instrument sees them.
    Raking {
        who: String,
        minutes: f64,
    },
    /// A link came up or went down; `detail` says why, in words.
    Link {
        name: String,
        state: LinkState,
        detail: String,
    },
    /// A publisher's oldest undelivered row and how many wait; `refused` says why the receiver will not have
    /// them, if a person has to mend that.
    Delivery {
        publisher: String,
        oldest_age_s: f64,
        depth: u64,
        refused: Option<String>,
    },
    Operator {
        alarm: AlarmId,
        instrument: Option<String>,
        who: String,
        action: OperatorAction,
    },
    /// From now on an instrument's readings are corrected by this; by nothing, where it is None.
    Corrected {
        instrument: usize,
        correction: Option<Correction>,
        who: String,
    },
    /// Somebody did what another event tells without a name: for the trail alone.
    Deed {
        who: String,
        deed: String,
    },
    /// There is nothing of the time since that moment.
    Interrupted {
        since: Moment,
        #[serde(default, skip_serializing_if = "Unwatched::is_usual")]
        why: Unwatched,
    },
    /// Nothing happened but time.
    Tick,
}

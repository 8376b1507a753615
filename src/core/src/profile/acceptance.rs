//! Whether a brew teaches.
//!
//! Owns the rules, all robust: what spoiled the brew itself, and whether its washout is unlike the tun's other
//! brews. One odd brew is set aside; several odd ones that agree mean that the tun has changed.

use serde::{Deserialize, Serialize};

use super::TunProfile;
use super::habits::{Parameters, Traits, spread};
use super::lesson::BrewLesson;
use crate::conditioning::median;

/// The limits of the rules. Common practice, no source; tried against the simulated tun.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rules {
    /// A run-off shorter than this teaches nothing, s, 60 to 3600.
    pub least_flowing_s: f64,
    /// Greatest shares of the run-off without gravity or flow, 0.01 to 0.5.
    pub missing_share: f64,
    /// Deviations from the middle, in spreads, from which a brew is unlike the others, 2 to 10.
    pub unlike_deviations: f64,
    /// Brews from which on there are others to be unlike, 2 to 10.
    pub known_brews: usize,
    /// Unlike brews in a row that must agree to make the tun another one, 2 to 5.
    pub alike_brews: usize,
}

impl Default for Rules {
    fn default() -> Self {
        Self {
            least_flowing_s: 600.0,
            missing_share: 0.1,
            unlike_deviations: 4.0,
            known_brews: 3,
            alike_brews: 3,
        }
    }
}

/// Why a brew teaches or does not.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Reason {
    Teaches,
    /// It is unlike the earlier ones but like the last refused ones, which are accepted with it.
    TunChanged,
    TargetNotReached,
    Channelled,
    InstrumentsDisagreed,
    GravityMissing,
    FlowMissing,
    TooShort,
    UnlikeOthers,
}

impl Reason {
    /// For the people at the tun.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Teaches => "nothing speaks against it",
            Self::TunChanged => "it is like the last ones set aside: the tun has changed",
            Self::TargetNotReached => "the target gravity was not reached",
            Self::Channelled => "the bed channelled",
            Self::InstrumentsDisagreed => "instruments contradicted each other",
            Self::GravityMissing => "runnings gravity was missing for too long",
            Self::FlowMissing => "the run-off flow was missing for too long",
            Self::TooShort => "the run-off was too short",
            Self::UnlikeOthers => "its washout is unlike the tun's other brews",
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Acceptance {
    pub accepted: bool,
    pub reason: Reason,
}

/// Judges a brew by itself and against the profile, which must not hold it.
pub(super) fn judge(profile: &TunProfile, lesson: &BrewLesson) -> Acceptance {
    let rules = Rules::default();
    let reason = spoiled(&rules, lesson).unwrap_or_else(|| against_others(&rules, profile, lesson));
    Acceptance {
        accepted: matches!(reason, Reason::Teaches | Reason::TunChanged),
        reason,
    }
}

fn spoiled(rules: &Rules, lesson: &BrewLesson) -> Option<Reason> {
    let quality = &lesson.quality;
    [
        (
            !quality.target_reached || Traits::of(lesson).is_none(),
            Reason::TargetNotReached,
        ),
        (quality.channelled, Reason::Channelled),
        (quality.disagreed, Reason::InstrumentsDisagreed),
        (
            quality.gravity_missing_share > rules.missing_share,
            Reason::GravityMissing,
        ),
        (
            quality.flow_missing_share > rules.missing_share,
            Reason::FlowMissing,
        ),
        (quality.flowing_s < rules.least_flowing_s, Reason::TooShort),
    ]
    .into_iter()
    .find_map(|(holds, reason)| holds.then_some(reason))
}

fn against_others(rules: &Rules, profile: &TunProfile, lesson: &BrewLesson) -> Reason {
    let known: Vec<Traits> = profile.lessons.iter().filter_map(Traits::of).collect();
    let Some(own) = Traits::of(lesson).filter(|_| known.len() >= rules.known_brews) else {
        return Reason::Teaches;
    };
    if !is_unlike(rules, &known, &own) {
        return Reason::Teaches;
    }
    let mut odd: Vec<Traits> = profile.set_aside.iter().filter_map(Traits::of).collect();
    odd.push(own);
    if odd.len() >= rules.alike_brews && agree(rules, &odd) {
        Reason::TunChanged
    } else {
        Reason::UnlikeOthers
    }
}

fn is_unlike(rules: &Rules, known: &[Traits], own: &Traits) -> bool {
    let parameters = Parameters::default();
    let populations = parameters.all();
    own.all().into_iter().enumerate().any(|(index, value)| {
        let values: Vec<f64> = known.iter().map(|each| each.all()[index]).collect();
        let usual = spread(&values, populations[index], parameters.usual_spread_brews);
        (value - usual.middle).abs() > rules.unlike_deviations * usual.spread
    })
}

/// Whether odd brews lie within the usual spread of their own middle.
fn agree(rules: &Rules, odd: &[Traits]) -> bool {
    let populations = Parameters::default().all();
    populations.iter().enumerate().all(|(index, population)| {
        let mut values: Vec<f64> = odd.iter().map(|each| each.all()[index]).collect();
        let middle = median(&mut values);
        values
            .iter()
            .all(|value| (value - middle).abs() <= rules.unlike_deviations * population.within)
    })
}

//! The tun profile: what finished brews taught about a tun, and the prior they give the next.
//!
//! Owns which brews teach (by robust rules alone), what is kept of them and what follows from it. It does not know
//! where profiles are kept, nor the run-off itself; the supervisor makes a lesson of each brew and takes the prior.

mod acceptance;
mod figures;
mod habits;
mod lesson;
mod teaching;

use serde::{Deserialize, Serialize};

pub use acceptance::{Acceptance, Reason, Rules};
pub use figures::{Figure, Figures};
pub use habits::{Habit, Parameters, Population};
pub(crate) use lesson::rounded;
pub use lesson::{BedLesson, BrewLesson, PhLesson, Quality, RakeLesson, StopLesson, WashoutLesson};

use crate::projection::Plan;
use crate::washout::{self, Expectation, Teaching};
use habits::Traits;
use teaching::Habits;

/// Form of the profile's text; another one is not read.
pub const FORMAT: u32 = 1;
/// Lessons and verdicts that are kept: a tun's last two dozen brews. Older ones tell of older rakes and screens.
pub const LESSONS_KEPT: usize = 24;

/// How one brew was judged.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Verdict {
    pub brew: String,
    #[serde(flatten)]
    pub acceptance: Acceptance,
}

/// What brews taught about one tun. Which tun, the store knows.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct TunProfile {
    pub format: u32,
    /// Accepted ones, the oldest first.
    pub lessons: Vec<BrewLesson>,
    /// Refused only because they were unlike the others, in a row: three alike mean that the tun has changed.
    pub set_aside: Vec<BrewLesson>,
    /// Every brew judged, the oldest first.
    pub verdicts: Vec<Verdict>,
}

impl Default for TunProfile {
    fn default() -> Self {
        Self {
            format: FORMAT,
            lessons: Vec::new(),
            set_aside: Vec::new(),
            verdicts: Vec::new(),
        }
    }
}

impl TunProfile {
    /// The profile as if this brew had never been: before a brew is run or learnt once more.
    #[must_use]
    pub fn without(&self, brew: &str) -> Self {
        let mut profile = self.clone();
        profile.lessons.retain(|lesson| lesson.brew != brew);
        profile.set_aside.retain(|lesson| lesson.brew != brew);
        profile.verdicts.retain(|verdict| verdict.brew != brew);
        profile
    }

    /// Judges a brew and learns from it if it teaches. The same brew again takes the place of what it taught.
    #[must_use]
    pub fn update(&self, lesson: &BrewLesson) -> (Self, Acceptance) {
        let mut profile = self.without(&lesson.brew);
        let acceptance = acceptance::judge(&profile, lesson);
        match acceptance.reason {
            Reason::TunChanged => {
                profile.lessons = std::mem::take(&mut profile.set_aside);
                profile.lessons.push(lesson.clone());
            }
            Reason::UnlikeOthers => profile.set_aside.push(lesson.clone()),
            Reason::Teaches => {
                profile.set_aside.clear();
                profile.lessons.push(lesson.clone());
            }
            _ => {}
        }
        profile.verdicts.push(Verdict {
            brew: lesson.brew.clone(),
            acceptance,
        });
        keep_last(&mut profile.lessons, LESSONS_KEPT);
        keep_last(&mut profile.set_aside, Rules::default().alike_brews - 1);
        keep_last(&mut profile.verdicts, LESSONS_KEPT);
        (profile, acceptance)
    }

    /// What the next brew may expect; None while nothing has been learnt.
    pub fn teaching(
        &self,
        plan: &Plan,
        expectation: Expectation,
        washout: &washout::Parameters,
    ) -> Option<Teaching> {
        let traits: Vec<Traits> = self.lessons.iter().filter_map(Traits::of).collect();
        (!traits.is_empty()).then(|| {
            Habits::of(&traits, &Parameters::default()).teaching(plan, expectation, washout)
        })
    }
}

fn keep_last<T>(list: &mut Vec<T>, count: usize) {
    list.drain(..list.len().saturating_sub(count));
}

#[cfg(test)]
mod tests;

//! In which part of the run-off the tun is, found from the signals.
//!
//! Owns the transitions and the sentence that says why each was made. A phase goes forward only, but for
//! recirculation, which may interrupt any of them.

use serde::{Deserialize, Serialize};

use crate::reading::Moment;
use crate::washout::Washout;

use super::brew::Picture;
use super::brew::cut_off::CutOff;
use super::output::Phase;

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct PhaseWatch {
    phase: Phase,
    /// The phase that recirculation interrupted.
    interrupted: Phase,
    /// Since when the signals ask for another phase, and which.
    asked: Option<(Phase, Moment)>,
    change: Option<(Phase, String)>,
}

/// How long the signals must agree, s. Common practice, no source.
const AGREED_S: f64 = 20.0;
/// Runnings below this share of the first wort mean that liquor has come through.
const DILUTED_SHARE: f64 = 0.97;

impl PhaseWatch {
    pub fn phase(&self) -> Phase {
        self.phase
    }

    /// The change since the last call, with its evidence.
    pub fn take_change(&mut self) -> Option<(Phase, String)> {
        self.change.take()
    }

    pub fn advance(
        &mut self,
        picture: &Picture,
        to_kettle: bool,
        washout: &Washout,
        stopped: bool,
        now: Moment,
        cut_off: CutOff,
    ) {
        let (wanted, why) = self.wanted(picture, to_kettle, washout, stopped, cut_off);
        if wanted == self.phase {
            self.asked = None;
            return;
        }
        match self.asked {
            Some((asked, since)) if asked == wanted => {
                if now.since(since) >= AGREED_S {
                    self.enter(wanted, why);
                }
            }
            _ => self.asked = Some((wanted, now)),
        }
    }

    fn enter(&mut self, phase: Phase, why: String) {
        if phase == Phase::Recirculation {
            self.interrupted = self.phase;
        }
        self.phase = phase;
        self.asked = None;
        self.change = Some((phase, why));
    }

    fn wanted(
        &self,
        picture: &Picture,
        to_kettle: bool,
        washout: &Washout,
        stopped: bool,
        cut_off: CutOff,
    ) -> (Phase, String) {
        let flow_l_min = picture.flow_l_min.unwrap_or(0.0);
        if picture.recirculating && flow_l_min > cut_off.runoff_l_min {
            return (
                Phase::Recirculation,
                format!("{flow_l_min:.0} L/min go back to the tun"),
            );
        }
        if !to_kettle {
            let finished = stopped && self.phase != Phase::Idle;
            return if finished {
                (
                    Phase::Finished,
                    "flow has stopped after the stop-point".to_owned(),
                )
            } else {
                (self.phase, String::new())
            };
        }
        if self.phase == Phase::Recirculation && self.interrupted != Phase::Idle {
            return (self.interrupted, "wort runs to the kettle again".to_owned());
        }
        let current = self.phase;
        match current {
            Phase::Idle | Phase::Recirculation => (
                Phase::FirstWort,
                format!("{flow_l_min:.0} L/min run to the kettle"),
            ),
            Phase::FirstWort => match (picture.sparge_l_min, picture.runnings_gravity_p) {
                (Some(sparge_l_min), _) if sparge_l_min > cut_off.sparge_l_min => (
                    Phase::Sparge,
                    format!("sparge liquor runs at {sparge_l_min:.0} L/min"),
                ),
                (None, Some(gravity))
                    if gravity.value < DILUTED_SHARE * washout.first_wort_gravity_p() =>
                {
                    (
                        Phase::Sparge,
                        format!("runnings have fallen to {:.1} °P", gravity.value),
                    )
                }
                _ => (Phase::FirstWort, String::new()),
            },
            Phase::Sparge => match picture.sparge_l_min {
                Some(sparge_l_min) if sparge_l_min <= cut_off.sparge_l_min => (
                    Phase::Draining,
                    "the sparge has ended and the bed drains".to_owned(),
                ),
                _ => (Phase::Sparge, String::new()),
            },
            Phase::Draining => match picture.sparge_l_min {
                Some(sparge_l_min) if sparge_l_min > cut_off.sparge_l_min => (
                    Phase::Sparge,
                    format!("sparge liquor runs again at {sparge_l_min:.0} L/min"),
                ),
                _ => (Phase::Draining, String::new()),
            },
            Phase::Finished => (Phase::Finished, String::new()),
        }
    }
}

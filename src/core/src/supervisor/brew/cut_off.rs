//! Below which flow a meter's word is its own error.
//!
//! Owns when the run-off begins: a meter that shows a little while nothing runs must not begin it, for the pace, the
//! time to go and the phase would all be reckoned from then on.

use super::super::parameters::{Parameters, Plant};
use super::Brew;

/// Flows below which a meter's word counts as none, L/min.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in super::super) struct CutOff {
    pub runoff_l_min: f64,
    pub sparge_l_min: f64,
}

impl Brew {
    /// Once wort has run a flow however small is one: a bed that is nearly stuck must not look like a pause.
    pub(in super::super) fn cut_off(&self, p: &Parameters, plant: &Plant) -> CutOff {
        let error_l_min = (p.cut_off_share * self.planned_flow_l_min(plant)).max(p.no_flow_l_min);
        CutOff {
            runoff_l_min: match self.flow_started {
                Some(_) => p.no_flow_l_min,
                None => error_l_min,
            },
            sparge_l_min: error_l_min,
        }
    }

    /// `volume_l`: litres of this step. Before the first wort a counter that comes back may bring in one step what ran
    /// unseen; a minute's worth of error is no such thing.
    pub(super) fn is_flow(&self, flow_l_min: f64, volume_l: f64, cut_off: CutOff) -> bool {
        let came_back = self.flow_started.is_none() && volume_l > cut_off.runoff_l_min;
        flow_l_min > cut_off.runoff_l_min || came_back
    }
}

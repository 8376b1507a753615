//! Stretches of the run-off whose runnings say nothing about the bed as a whole.
//!
//! Owns which readings the fit leaves aside: while a channel is open the runnings are those of the channel, and
//! a curve fitted to them would move the stop-point on a drop that hardly moves the kettle. A stretch ends by
//! itself after a while, because a bed that stays channelled is then the bed there is.

use serde::{Deserialize, Serialize};

/// The stretches, in run-off volume.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Aside {
    longest_l: f64,
    stretches: Vec<(f64, f64)>,
    open: Option<f64>,
}

impl Aside {
    /// No stretch is longer than `longest_l`.
    pub fn new(longest_l: f64) -> Self {
        Self {
            longest_l,
            stretches: Vec::new(),
            open: None,
        }
    }

    /// From `volume_l` on the runnings are suspect. Does nothing while a stretch is open.
    pub fn open(&mut self, volume_l: f64) {
        self.open.get_or_insert(volume_l);
    }

    /// The runnings up to `volume_l` were indeed not the bed's.
    pub fn close(&mut self, volume_l: f64) {
        if let Some(from_l) = self.open.take() {
            self.stretches
                .push((from_l, volume_l.min(from_l + self.longest_l)));
        }
    }

    /// The suspicion was wrong: the runnings count after all.
    pub fn drop_open(&mut self) {
        self.open = None;
    }

    pub fn is_open(&self) -> bool {
        self.open.is_some()
    }

    pub fn contains(&self, volume_l: f64) -> bool {
        let open = self.open.map(|from_l| (from_l, from_l + self.longest_l));
        self.stretches
            .iter()
            .copied()
            .chain(open)
            .any(|(from_l, to_l)| volume_l > from_l && volume_l <= to_l)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_open_stretch_ends_by_itself() {
        let mut aside = Aside::new(100.0);
        aside.open(1000.0);
        assert!(aside.contains(1050.0) && !aside.contains(1101.0) && !aside.contains(999.0));
        aside.close(1500.0);
        assert!(aside.contains(1050.0) && !aside.contains(1101.0));
    }

    #[test]
    fn a_wrong_suspicion_leaves_nothing_aside() {
        let mut aside = Aside::new(100.0);
        aside.open(1000.0);
        aside.drop_open();
        assert!(!aside.contains(1050.0));
    }
}

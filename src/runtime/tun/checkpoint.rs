//! The state of a tun's watch as it is stored, and taken up again.
//!
//! Owns what belongs to it and who can read it. With it, a brew is taken up by giving the events of the last minute
//! instead of all of them.

use lauter_core::reading::Moment;
use lauter_core::supervisor::{SummaryLine, Supervisor};
use serde::{Deserialize, Serialize};

use super::super::latest::Kept;
use super::Tun;
use crate::config::Configuration;
use crate::engine;
use crate::store::{Checkpoint, ClockMark};

/// Time between two checkpoints, s: what a start has to give anew. Own choice.
const EVERY_S: f64 = 60.0;
/// The same at most: what somebody waits for is written without one, since it takes milliseconds to make. Own choice.
const AT_LEAST_EVERY_S: f64 = 90.0;

#[derive(Debug, PartialEq, Serialize, Deserialize)]
struct State {
    supervisor: Supervisor,
    latest: Kept,
    last: Moment,
    summary: Option<SummaryLine>,
}

/// Names the engine: another version or other settings would go on differently.
pub(super) fn engine_name(configuration: &Configuration) -> String {
    format!(
        "{} {}",
        env!("CARGO_PKG_VERSION"),
        engine::digest(configuration)
    )
}

impl Tun {
    /// The state now, if one is due. One that would not come back as it is, is not kept: the events are.
    pub(super) fn checkpoint(&mut self) -> Option<Checkpoint> {
        let every_s = if self.hastens {
            AT_LEAST_EVERY_S
        } else {
            EVERY_S
        };
        let due = self
            .checkpointed
            .is_none_or(|at| self.last.since(at) >= every_s);
        if !due || self.supervisor.plan().is_none() {
            return None;
        }
        self.checkpointed = Some(self.last);
        let state = State {
            supervisor: self.supervisor.clone(),
            latest: Kept::from(&self.latest),
            last: self.last,
            summary: self.summary.clone(),
        };
        let text = serde_json::to_string(&state).ok()?;
        let back: Option<State> = serde_json::from_str(&text).ok();
        if back.as_ref() != Some(&state) {
            tracing::warn!("the state of the watch cannot be stored; a restart would take longer");
            return None;
        }
        Some(Checkpoint {
            engine: engine_name(&self.setting.configuration),
            state: text,
        })
    }

    /// Takes a stored state up. False where it cannot be read.
    pub(super) fn take_up(&mut self, checkpoint: &Checkpoint) -> bool {
        let state: State = match serde_json::from_str(&checkpoint.state) {
            Ok(state) => state,
            Err(error) => {
                tracing::warn!("the stored state of the watch cannot be read: {error}");
                return false;
            }
        };
        self.supervisor = state.supervisor;
        self.latest = state.latest.into();
        self.last = state.last;
        self.summary = state.summary;
        true
    }

    pub(super) fn clock_mark(&self) -> Option<ClockMark> {
        let mark = self.setting.clock.mark()?;
        Some(ClockMark {
            boot: mark.uptime.boot,
            uptime_us: mark.uptime.uptime_us,
            at: mark.at,
        })
    }
}

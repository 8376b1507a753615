//! Steps the brewhouse in time with the clock, faster where a speed says so.
//!
//! The simulated time wanted is always computed from the start, so that a late tick is caught up by the next one
//! and nothing is lost by rounding.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::{Instant, MissedTickBehavior};
use tokio_util::sync::CancellationToken;

use super::Snapshot;
use super::servers::Shown;
use crate::fault::{Fault, FaultError};
use crate::model::Brewhouse;

/// Time between two ticks: that of a second of the brewhouse, so that nobody who reads every second sees stairs, and
/// within what a machine keeps up with.
const SHORTEST_TICK: Duration = Duration::from_millis(10);
const LONGEST_TICK: Duration = Duration::from_millis(50);

/// Simulated time in one go, s, or that of one second at higher speeds: faults and stops are heard in between when
/// much has to be caught up.
const PORTION_S: f64 = 600.0;

/// A fault and where its answer goes.
#[derive(Debug)]
pub struct Command {
    pub fault: Fault,
    pub reply: oneshot::Sender<Result<(), FaultError>>,
}

/// The task that owns the brewhouse.
#[derive(Debug)]
pub struct Stepper {
    pub brewhouse: Brewhouse,
    pub links: Vec<String>,
    pub speed: f64,
    pub start_after: Duration,
    pub publish: watch::Sender<Arc<Snapshot>>,
    pub show: watch::Sender<Arc<Shown>>,
    pub queue: mpsc::Receiver<Command>,
}

impl Stepper {
    /// Runs until stopped. After the end of the run the flow stands still and the instruments go on.
    pub async fn run(mut self, stop: CancellationToken) {
        let start = Instant::now() + self.start_after;
        let tick = Duration::from_secs_f64(1.0 / self.speed);
        let tick = tick.clamp(SHORTEST_TICK, LONGEST_TICK);
        let mut ticks = tokio::time::interval(tick);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Skip);
        let mut finished = false;
        loop {
            tokio::select! {
                () = stop.cancelled() => return,
                Some(command) = self.queue.recv() => {
                    let answer = self.brewhouse.inject(&command.fault);
                    // Whoever asked may have gone.
                    let _ = command.reply.send(answer);
                }
                _ = ticks.tick() => {}
            }
            let wanted_s = Instant::now()
                .saturating_duration_since(start)
                .as_secs_f64()
                * self.speed;
            let portion_ends_s = self.brewhouse.elapsed_s() + PORTION_S.max(self.speed);
            self.brewhouse.advance_to(wanted_s.min(portion_ends_s));
            if !finished && self.brewhouse.is_finished() {
                finished = true;
                self.brewhouse.stop_flow();
            }
            let snapshot = Snapshot::of(&self.brewhouse, &self.links, finished);
            self.show.send_replace(Arc::new(snapshot.shown()));
            self.publish.send_replace(Arc::new(snapshot));
        }
    }
}

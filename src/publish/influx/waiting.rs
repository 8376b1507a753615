//! Rows on their way from the runtime to a request.
//!
//! Owns how many may wait, and when those that wait are worth a request. Both ends write to and take from one place, for
//! a channel would want a text of its own for each row, and would wake the publisher for each.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::sleep;

use super::batch::{Batch, Draft, Row};

/// Rows that may wait in memory; the others wait in the outbox. A minute of twelve instruments every second,
/// several times over.
pub const ROWS_BOUND: usize = 4096;

/// Rings that may wait to be heard: one says as much as many.
const RINGS_BOUND: usize = 1;

/// Rows that wait, cut into batches as they come.
#[derive(Debug)]
struct Waiting {
    whole: VecDeque<Batch>,
    last: Draft,
    /// Rows of a whole batch, 1 or more.
    full: usize,
}

impl Waiting {
    fn len(&self) -> usize {
        self.whole.len() * self.full + self.last.len()
    }

    fn push(&mut self, row: Row<'_>) {
        self.last.push(row);
        if self.last.len() == self.full {
            self.whole.push_back(self.last.close());
        }
    }

    fn take(&mut self) -> Batch {
        self.whole.pop_front().unwrap_or_else(|| self.last.close())
    }
}

/// The runtime's end: rows go in here.
#[derive(Clone, Debug)]
pub struct Feed {
    waiting: Arc<Mutex<Waiting>>,
    /// Rings when rows have come where none were, and when a batch is whole.
    bell: mpsc::Sender<()>,
}

/// The publisher's end.
#[derive(Debug)]
pub(super) struct Gatherer {
    waiting: Arc<Mutex<Waiting>>,
    bell: mpsc::Receiver<()>,
    /// How long the first row of a batch may wait for others.
    every: Duration,
}

/// Two ends for batches of `full` rows, 1 or more.
pub(super) fn ends(full: usize, every: Duration) -> (Feed, Gatherer) {
    let waiting = Arc::new(Mutex::new(Waiting {
        whole: VecDeque::new(),
        last: Draft::default(),
        full,
    }));
    let (ring, bell) = mpsc::channel(RINGS_BOUND);
    let feed = Feed {
        waiting: Arc::clone(&waiting),
        bell: ring,
    };
    let gatherer = Gatherer {
        waiting,
        bell,
        every,
    };
    (feed, gatherer)
}

fn locked(waiting: &Mutex<Waiting>) -> MutexGuard<'_, Waiting> {
    waiting.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Feed {
    /// Hands over the first of these rows, as many as there is room for, and gives how many that were: none where the
    /// publisher has ended. The others are still in the outbox.
    pub fn put<'a>(&self, rows: impl IntoIterator<Item = Row<'a>>) -> usize {
        if self.bell.is_closed() {
            return 0;
        }
        let mut waiting = locked(&self.waiting);
        let (before, whole) = (waiting.len(), waiting.whole.len());
        for row in rows.into_iter().take(ROWS_BOUND.saturating_sub(before)) {
            waiting.push(row);
        }
        let taken = waiting.len() - before;
        let rings = taken > 0 && (before == 0 || waiting.whole.len() > whole);
        drop(waiting);
        if rings {
            // A ring that has not been heard yet will do for this one.
            let _ = self.bell.try_send(());
        }
        taken
    }
}

impl Gatherer {
    /// The next batch: as many rows as fit, or what has come within `every`. None when every feed is gone and nothing
    /// waits.
    pub(super) async fn next(&mut self) -> Option<Batch> {
        while locked(&self.waiting).len() == 0 {
            self.bell.recv().await?;
        }
        let pause = sleep(self.every);
        tokio::pin!(pause);
        while locked(&self.waiting).whole.is_empty() {
            tokio::select! {
                () = &mut pause => break,
                rung = self.bell.recv() => if rung.is_none() { break },
            }
        }
        Some(locked(&self.waiting).take())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FULL: usize = 100;
    const SOON: Duration = Duration::from_millis(1);
    /// No test waits so long: what goes does not wait for it.
    const NEVER: Duration = Duration::from_secs(86_400);

    fn put(feed: &Feed, ids: std::ops::Range<i64>) -> usize {
        feed.put(ids.map(|id| Row {
            id,
            line: "a b=1 1",
        }))
    }

    fn ids(batch: Option<Batch>) -> Vec<i64> {
        batch.map_or_else(Vec::new, |batch| batch.ids().collect())
    }

    #[tokio::test]
    async fn a_whole_batch_does_not_wait() {
        let (feed, mut gatherer) = ends(FULL, NEVER);
        assert_eq!(put(&feed, 0..250), 250);
        assert_eq!(ids(gatherer.next().await), (0..100).collect::<Vec<_>>());
        assert_eq!(ids(gatherer.next().await), (100..200).collect::<Vec<_>>());
        let filling = async { put(&feed, 250..310) };
        let (batch, _) = tokio::join!(gatherer.next(), filling);
        assert_eq!(ids(batch), (200..300).collect::<Vec<_>>());
    }

    #[tokio::test]
    async fn a_part_of_a_batch_goes_when_its_time_is_up() {
        let (feed, mut gatherer) = ends(FULL, SOON);
        assert_eq!(put(&feed, 0..50), 50);
        assert_eq!(ids(gatherer.next().await), (0..50).collect::<Vec<_>>());
    }

    #[tokio::test]
    async fn what_finds_no_room_is_told_and_finds_it_when_a_batch_is_taken() {
        let (feed, mut gatherer) = ends(FULL, SOON);
        let bound = i64::try_from(ROWS_BOUND).unwrap();
        assert_eq!(put(&feed, 0..bound + 7), ROWS_BOUND);
        assert_eq!(put(&feed, bound..bound + 7), 0);
        assert_eq!(ids(gatherer.next().await).len(), FULL);
        assert_eq!(put(&feed, bound..bound + 7), 7);
    }

    #[tokio::test]
    async fn what_waits_is_given_out_when_the_feeds_are_gone_and_then_it_ends() {
        let (feed, mut gatherer) = ends(FULL, SOON);
        assert_eq!(put(&feed, 0..3), 3);
        drop(feed);
        assert_eq!(ids(gatherer.next().await), [0, 1, 2]);
        assert_eq!(gatherer.next().await, None);
    }

    #[tokio::test]
    async fn nothing_is_taken_for_a_publisher_that_has_ended() {
        let (feed, gatherer) = ends(FULL, SOON);
        drop(gatherer);
        assert_eq!(put(&feed, 0..3), 0);
    }
}

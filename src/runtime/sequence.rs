//! Sequence numbers for what leaves the service, never used twice.
//!
//! Owns a block of numbers that the store has already marked as used, so that handing one out needs no disk.
//! The block is extended long before it ends.
//!
//! A run whose record cannot be written leaves no word of what it gave out, and the next must begin above it all the same.
//! So each run begins by as many numbers above the reserved ones as milliseconds have passed since the record was written
//! last, and at least at the milliseconds since 1970. Fewer than a thousand messages a second are sent.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use lauter_core::reading::Moment;

use crate::clock::Clock;
use crate::store::{Store, StoreError, TunId};

/// Numbers reserved at one time. So many that hours on a disk that takes nothing do not use them up: what is handed out
/// beyond the reserved ones would come a second time after a restart.
const BLOCK: u32 = 1_000_000;
/// The block is extended when fewer than this are left.
const LOW: u64 = 500_000;

/// One tun's numbers. Clones share them.
#[derive(Clone, Debug)]
pub struct Sequence {
    next: Arc<AtomicU64>,
    end: Arc<AtomicU64>,
}

impl Sequence {
    /// Numbers of the store's, from `at_least` on; where it gives none now, they are reserved once it does.
    pub async fn open(store: &Store, tun: TunId, at_least: u64) -> Self {
        let block = match store.sequences_from(tun, BLOCK, at_least).await {
            Ok(block) => block,
            Err(error) => {
                tracing::warn!("numbers are given out without the record: {error}");
                at_least..at_least
            }
        };
        Self {
            next: Arc::new(AtomicU64::new(block.start)),
            end: Arc::new(AtomicU64::new(block.end)),
        }
    }

    /// The first number of a run that begins now, where the record has reserved those below `reserved` and was written last
    /// at `written`. The axis of time goes on over a restart also where the wall clock was set back.
    pub fn first(reserved: u64, written: Option<Moment>, clock: Clock) -> u64 {
        let now = clock.now();
        let by_clock_ms = clock.wall(now).as_millisecond().max(now.0 / 1000);
        let unwritten_ms = written.map_or(0, |written| (now.0 - written.0) / 1000);
        let ms = |ms: i64| ms.max(0).cast_unsigned();
        (reserved + ms(unwritten_ms)).max(ms(by_clock_ms))
    }

    pub fn next(&self) -> u64 {
        self.next.fetch_add(1, Ordering::Relaxed)
    }

    /// Reserves more when few are left. Blocks of one tun follow each other, since only its task reserves.
    pub async fn refill(&self, store: &Store, tun: TunId) -> Result<(), StoreError> {
        let next = self.next.load(Ordering::Relaxed);
        let end = self.end.load(Ordering::Relaxed);
        if end.saturating_sub(next) < LOW {
            let block = store.sequences_from(tun, BLOCK, next).await?;
            if next >= end {
                // Nothing was reserved, and the record may have come further than was known.
                self.next.fetch_max(block.start, Ordering::Relaxed);
            }
            self.end.store(block.end, Ordering::Relaxed);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use jiff::Timestamp;
    use tempfile::tempdir;

    use super::*;
    use crate::clock::Start;

    const NOON_MS: i64 = 1_776_000_000_000;

    fn clock(wall: fn() -> Timestamp) -> Clock {
        Clock::start(&Start {
            wall: Some(wall),
            ..Start::default()
        })
    }

    fn noon() -> Timestamp {
        Timestamp::from_millisecond(NOON_MS).expect("a time")
    }

    #[tokio::test]
    async fn numbers_grow_over_runs_that_could_not_keep_which_ones_they_gave() {
        let directory = tempdir().unwrap();
        let store = Store::start(directory.path(), Duration::from_secs(5))
            .await
            .unwrap();
        let tun = store.tun("north-yard", "tun-1").await.unwrap();
        let first = Sequence::first(1, None, clock(noon));
        let mut last = Sequence::open(&store, tun, first).await.next();
        let written = Some(Moment(NOON_MS * 1000));
        let reserved = last + u64::from(BLOCK);
        // Neither of two finds its tun in the record, and so they keep nothing.
        let later: [fn() -> Timestamp; 2] = [
            || noon() + Duration::from_secs(10),
            || noon() + Duration::from_secs(20),
        ];
        for wall in later {
            let first = Sequence::first(reserved, written, clock(wall));
            let unkept = Sequence::open(&store, TunId::UNKNOWN, first).await;
            let given: Vec<u64> = (0..9_000).map(|_| unkept.next()).collect();
            assert!(given.is_sorted() && last < given[0], "{last} {}", given[0]);
            last = unkept.next();
        }
        let wall = || noon() + Duration::from_secs(30);
        let first = Sequence::first(reserved, written, clock(wall));
        let after = Sequence::open(&store, tun, first).await.next();
        assert!(last < after, "{last} {after}");
        // A clock that was set back does no harm where the record keeps what is given.
        let back = Sequence::open(&store, tun, Sequence::first(1, None, clock(noon))).await;
        let back = back.next();
        assert!(after < back && back < 1 << 53, "{after} {back}");
        store.close().await.unwrap();
    }

    #[test]
    fn without_any_record_numbers_begin_at_the_milliseconds_of_the_clock() {
        let first = Sequence::first(1, None, clock(noon));
        assert!(first >= NOON_MS.cast_unsigned());
    }
}

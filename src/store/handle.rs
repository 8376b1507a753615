//! The service's handle to the record: a `Database` on its own thread behind a bounded channel.
//!
//! Owns who waits, how long, and who is refused. Every call but `offer` and `write` waits for room and for its answer, which
//! comes after the commit; these two never wait, so that a slow disk cannot hold up the supervisor.

use std::fmt;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::thread;
use std::time::Duration;

use jiff::Timestamp;
use tokio::sync::{mpsc, oneshot};
use tokio_util::sync::CancellationToken;

use super::health::{Shared, StoreHealth};
use super::thread::{Keeper, Order, serve};
use super::{
    Backlog, Batch, BrewHeader, BrewId, Database, FinishedBrew, Keep, Message, Publisher, Receipt,
    StoreError, StoreParameters, Stretch, TunId, Written,
};

/// Jobs that may wait for the store's thread. At one batch a second and tun this is over a minute of a stalled
/// disk; beyond it offered batches are refused and counted.
pub const JOBS_BOUND: usize = 128;

/// A handle to the record. Clones share one thread.
#[derive(Clone)]
pub struct Store {
    orders: mpsc::Sender<Order>,
    shared: Arc<Shared>,
    directory: Arc<Path>,
    ended: CancellationToken,
    /// How long a call may wait for its answer.
    patience: Option<Duration>,
}

/// A stretch on its way to the disk.
#[derive(Debug)]
pub struct Writing(oneshot::Receiver<Written>);

impl Writing {
    /// What became of it, with what is left of the stretch; None when that is not known within `limit`. It can be asked
    /// again.
    pub async fn within(&mut self, limit: Duration) -> Option<Result<Written, StoreError>> {
        let answer = tokio::time::timeout(limit, &mut self.0).await.ok()?;
        Some(answer.map_err(|_| StoreError::Closed))
    }
}

impl Store {
    /// Opens the store in `directory` and starts its thread. Blocks while the file is opened.
    pub fn open(directory: &Path) -> Result<Self, StoreError> {
        Self::open_with(directory, StoreParameters::default())
    }

    pub fn open_with(directory: &Path, parameters: StoreParameters) -> Result<Self, StoreError> {
        let database = Database::open_with(directory, parameters)?;
        Self::around(directory, parameters, Some(database))
    }

    /// Starts the thread and has it open the store, for which it gets `limit`. What passes by itself (a full disk, one that
    /// is read-only or does not answer) is no fault here: calls fail until the store is open, and each tries again.
    pub async fn start(directory: &Path, limit: Duration) -> Result<Self, StoreError> {
        let store = Self::around(directory, StoreParameters::default(), None)?;
        match store.within(limit).flush().await {
            Err(error) if error.is_passing() => {
                tracing::error!(
                    "the record cannot be written: {error}; the watch begins without it"
                );
            }
            other => other?,
        }
        Ok(store)
    }

    fn around(
        directory: &Path,
        parameters: StoreParameters,
        database: Option<Database>,
    ) -> Result<Self, StoreError> {
        let (orders, receiver) = mpsc::channel(JOBS_BOUND);
        let ended = CancellationToken::new();
        let guard = ended.clone().drop_guard();
        let keeper = Keeper::new(directory.to_owned(), parameters, database);
        thread::Builder::new()
            .name("store".to_owned())
            .spawn(move || {
                // Dropped however the thread ends.
                let _guard = guard;
                serve(keeper, receiver);
            })
            .map_err(|source| StoreError::Directory {
                path: directory.to_owned(),
                source,
            })?;
        Ok(Self {
            orders,
            shared: Arc::default(),
            directory: directory.into(),
            ended,
            patience: None,
        })
    }

    /// The same store for callers that must not wait longer: their calls fail with `Stalled` instead. What has not begun
    /// by then is not done.
    #[must_use]
    pub fn within(&self, limit: Duration) -> Self {
        Self {
            patience: Some(limit),
            ..self.clone()
        }
    }

    /// Runs `query` on a connection of its own beside the store's thread, so that a long one (a whole brew's
    /// readings, an export) never holds up a batch. It sees everything that was committed before.
    pub async fn read<T, F>(&self, query: F) -> Result<T, StoreError>
    where
        T: Send + 'static,
        F: FnOnce(&mut Database) -> Result<T, StoreError> + Send + 'static,
    {
        let directory = Arc::clone(&self.directory);
        tokio::task::spawn_blocking(move || query(&mut Database::open_read_only(&directory)?))
            .await
            .map_err(|_| StoreError::Closed)?
    }

    /// Runs `job` on the store's thread. For everything `Database` can do that has no method here; long queries
    /// belong to `read`.
    pub async fn run<T, F>(&self, job: F) -> Result<T, StoreError>
    where
        T: Send + 'static,
        F: FnOnce(&mut Database) -> Result<T, StoreError> + Send + 'static,
    {
        let (answer, answered) = oneshot::channel();
        let shared = Arc::clone(&self.shared);
        let bounded = self.patience.is_some();
        let order = Order::Run(Box::new(move |keeper| {
            // Whoever gave up waiting was told that it is not done.
            if bounded && answer.is_closed() {
                return;
            }
            let result = keeper.database().and_then(job);
            if let Err(error) = &result {
                shared.note_failure(error);
            }
            // The caller may have gone; the work is done all the same.
            let _ = answer.send(result);
        }));
        let wait = async {
            let sent = self.orders.send(order).await;
            sent.map_err(|_| StoreError::Closed)?;
            answered.await.map_err(|_| StoreError::Closed)?
        };
        match self.patience {
            None => wait.await,
            Some(limit) => tokio::time::timeout(limit, wait).await.unwrap_or_else(|_| {
                self.shared.note_failure(&StoreError::Stalled);
                Err(StoreError::Stalled)
            }),
        }
    }

    /// Hands a stretch over without waiting. It comes back when there is no room for it.
    pub fn write(&self, mut stretch: Box<Stretch>) -> Result<Writing, Box<Stretch>> {
        let Ok(permit) = self.orders.try_reserve() else {
            self.shared.refused.fetch_add(1, Ordering::Relaxed);
            return Err(stretch);
        };
        let (answer, answered) = oneshot::channel();
        let shared = Arc::clone(&self.shared);
        permit.send(Order::Run(Box::new(move |keeper| {
            let written = keeper.database().and_then(|database| {
                let learnt = database.write_stretch(&mut stretch)?;
                shared.note_success(database.thinned());
                Ok(learnt)
            });
            keeper.note(written.as_ref().map(drop));
            if let Err(error) = &written {
                shared.note_failure(error);
            }
            // The caller may have gone; what is written is written.
            let _ = answer.send((stretch, written));
        })));
        Ok(Writing(answered))
    }

    /// Has the thread look whether the record is where it belongs, which it also does before it writes. Waits for nothing;
    /// the thread logs what it finds.
    pub fn look_after(&self) {
        if let Ok(permit) = self.orders.try_reserve() {
            permit.send(Order::Run(Box::new(|keeper| {
                if let Err(error) = keeper.database() {
                    tracing::debug!("looking after the record: {error}");
                }
            })));
        }
    }

    /// Says in `health` that the disk does not answer.
    pub fn note_stall(&self) {
        self.shared.note_failure(&StoreError::Stalled);
    }

    /// Takes a batch in; returns after it is on the disk. For batches with alarms or events.
    pub async fn append(&self, batch: Batch) -> Result<Receipt, StoreError> {
        let shared = Arc::clone(&self.shared);
        self.run(move |database| {
            let receipt = database.append(&batch)?;
            shared.note_success(database.thinned());
            Ok(receipt)
        })
        .await
    }

    /// Hands a batch over without waiting for room or for the disk. When the thread does not keep up, the batch
    /// comes back and is counted as refused; the caller decides what of it to keep. A failure on the disk shows
    /// in `health`.
    pub fn offer(&self, batch: Batch) -> Result<(), Batch> {
        let Ok(permit) = self.orders.try_reserve() else {
            self.shared.refused.fetch_add(1, Ordering::Relaxed);
            return Err(batch);
        };
        let shared = Arc::clone(&self.shared);
        permit.send(Order::Run(Box::new(move |keeper| {
            let taken = keeper.database().and_then(|database| {
                database.append(&batch)?;
                shared.note_success(database.thinned());
                Ok(())
            });
            if let Err(error) = taken {
                shared.note_failure(&error);
            }
        })));
        Ok(())
    }

    pub async fn tun(&self, site: &str, name: &str) -> Result<TunId, StoreError> {
        let (site, name) = (site.to_owned(), name.to_owned());
        self.run(move |database| database.tun(&site, &name)).await
    }

    pub async fn begin_brew(&self, header: BrewHeader) -> Result<BrewId, StoreError> {
        self.run(move |database| database.begin_brew(&header)).await
    }

    pub async fn finish_brew(&self, brew: BrewId, end: FinishedBrew) -> Result<(), StoreError> {
        self.run(move |database| database.finish_brew(brew, &end))
            .await
    }

    pub async fn outbox(
        &self,
        tun: TunId,
        publisher: Publisher,
        after: i64,
        limit: usize,
    ) -> Result<Vec<Message>, StoreError> {
        self.run(move |database| database.outbox(tun, publisher, after, limit))
            .await
    }

    pub async fn acknowledge(&self, ids: Vec<i64>) -> Result<(), StoreError> {
        self.run(move |database| database.acknowledge(&ids)).await
    }

    pub async fn backlog(&self, tun: TunId, publisher: Publisher) -> Result<Backlog, StoreError> {
        self.run(move |database| database.backlog(tun, publisher))
            .await
    }

    pub async fn next_sequences(
        &self,
        tun: TunId,
        count: u32,
    ) -> Result<std::ops::Range<u64>, StoreError> {
        self.run(move |database| database.next_sequences(tun, count))
            .await
    }

    /// The same, and none of them below `first`.
    pub async fn sequences_from(
        &self,
        tun: TunId,
        count: u32,
        first: u64,
    ) -> Result<std::ops::Range<u64>, StoreError> {
        self.run(move |database| database.sequences_from(tun, count, first))
            .await
    }

    pub async fn save_profile(
        &self,
        tun: TunId,
        saved: Timestamp,
        brew: Option<String>,
        body: String,
    ) -> Result<u64, StoreError> {
        self.run(move |database| database.save_profile(tun, saved, brew.as_deref(), &body))
            .await
    }

    /// Removes what has passed its time, slice by slice, so that batches and messages get in between. Returns
    /// the number of rows removed.
    pub async fn retention(&self, now: Timestamp, keep: Keep) -> Result<u64, StoreError> {
        let mut removed = 0;
        self.run(move |database| database.age(now)).await?;
        loop {
            let slice = self
                .run(move |database| database.retention_slice(keep))
                .await?;
            removed += slice.removed;
            if !slice.more {
                return Ok(removed);
            }
        }
    }

    /// Returns when everything handed over before is on the disk.
    pub async fn flush(&self) -> Result<(), StoreError> {
        self.run(|_| Ok(())).await
    }

    /// Does what waits, folds the log into the file and ends the thread. Later calls get `Closed`.
    pub async fn close(&self) -> Result<(), StoreError> {
        let (answer, answered) = oneshot::channel();
        self.orders
            .send(Order::Close(answer))
            .await
            .map_err(|_| StoreError::Closed)?;
        answered.await.map_err(|_| StoreError::Closed)?
    }

    /// Returns when the thread has ended, in order or not.
    pub async fn ended(&self) {
        self.ended.cancelled().await;
    }

    /// Reads the whole file beside the thread's work and says whether its pages fit together and its blocks are as they
    /// were written; what is wrong shows in `health` as well.
    pub async fn check(&self) -> Result<(), StoreError> {
        let checked = self.read(|database| database.check()).await;
        if let Err(StoreError::DamagedBlocks { blocks, .. }) = &checked {
            // The record can be written all the same.
            let _ = self.shared.damaged_blocks.set(blocks.clone());
        } else if let Err(error) = &checked {
            self.shared.note_failure(error);
            if matches!(error, StoreError::Corrupt { .. }) {
                // Only the first finding counts.
                let _ = self.shared.damage.set(error.to_string());
            }
        }
        checked
    }

    pub fn health(&self) -> StoreHealth {
        let shared = &self.shared;
        StoreHealth {
            refused: shared.refused.load(Ordering::Relaxed),
            failed: shared.failed.load(Ordering::Relaxed),
            thinned: shared.thinned.load(Ordering::Relaxed),
            queued: self.orders.max_capacity() - self.orders.capacity(),
            last_error: shared
                .last_error()
                .clone()
                .or_else(|| shared.damage.get().cloned()),
            damage: shared.damage.get().cloned(),
            damaged_blocks: shared.damaged_blocks.get().map(ToString::to_string),
        }
    }
}

impl fmt::Debug for Store {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Store")
            .field("shared", &self.shared)
            .finish_non_exhaustive()
    }
}

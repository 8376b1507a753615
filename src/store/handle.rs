//! The service's handle to the record: a `Database` on its own thread behind a bounded channel.
//!
//! Owns who waits and who is refused. Every call but `offer` waits for room and for its answer, which comes
//! after the commit; `offer` never waits, so that a slow disk cannot hold up the supervisor.

use std::fmt;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;

use jiff::Timestamp;
use tokio::sync::{mpsc, oneshot};
use tokio_util::sync::CancellationToken;

use super::{
    Backlog, Batch, BrewHeader, BrewId, Database, FinishedBrew, Keep, Message, Publisher, Receipt,
    StoreError, StoreParameters, TunId,
};

/// Jobs that may wait for the store's thread. At one batch a second and tun this is over a minute of a stalled
/// disk; beyond it offered batches are refused and counted.
pub const JOBS_BOUND: usize = 128;

type Job = Box<dyn FnOnce(&mut Database) + Send>;

enum Order {
    Run(Job),
    Close(oneshot::Sender<Result<(), StoreError>>),
}

/// A handle to the record. Clones share one thread.
#[derive(Clone)]
pub struct Store {
    orders: mpsc::Sender<Order>,
    shared: Arc<Shared>,
    directory: Arc<Path>,
    ended: CancellationToken,
}

#[derive(Debug, Default)]
struct Shared {
    refused: AtomicU64,
    failed: AtomicU64,
    thinned: AtomicU64,
    last_error: Mutex<Option<String>>,
}

/// How the record fares.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StoreHealth {
    /// Offered batches refused because the thread did not keep up.
    pub refused: u64,
    /// Calls that failed.
    pub failed: u64,
    /// Messages given up because a publisher had too many waiting.
    pub thinned: u64,
    /// Jobs that wait now.
    pub queued: usize,
    /// The latest failure; None once a batch has been taken in since.
    pub last_error: Option<String>,
}

impl Store {
    /// Opens the store in `directory` and starts its thread. Blocks while the file is opened.
    pub fn open(directory: &Path) -> Result<Self, StoreError> {
        Self::open_with(directory, StoreParameters::default())
    }

    pub fn open_with(directory: &Path, parameters: StoreParameters) -> Result<Self, StoreError> {
        let database = Database::open_with(directory, parameters)?;
        let (orders, receiver) = mpsc::channel(JOBS_BOUND);
        let ended = CancellationToken::new();
        let guard = ended.clone().drop_guard();
        thread::Builder::new()
            .name("store".to_owned())
            .spawn(move || {
                // Dropped however the thread ends.
                let _guard = guard;
                serve(database, receiver);
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
        })
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
        let order = Order::Run(Box::new(move |database| {
            let result = job(database);
            if let Err(error) = &result {
                shared.note_failure(error);
            }
            // The caller may have gone; the work is done all the same.
            let _ = answer.send(result);
        }));
        self.orders
            .send(order)
            .await
            .map_err(|_| StoreError::Closed)?;
        answered.await.map_err(|_| StoreError::Closed)?
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
        permit.send(Order::Run(Box::new(move |database| {
            match database.append(&batch) {
                Ok(_) => shared.note_success(database.thinned()),
                Err(error) => shared.note_failure(&error),
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
        loop {
            let slice = self
                .run(move |database| database.retention_slice(now, keep))
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

    /// Reads the whole file beside the thread's work and says whether its pages fit together; what is wrong shows in
    /// `health` as well.
    pub async fn check(&self) -> Result<(), StoreError> {
        let checked = self.read(|database| database.check()).await;
        if let Err(error) = &checked {
            self.shared.note_failure(error);
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
            last_error: shared.last_error().clone(),
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

impl Shared {
    fn note_success(&self, thinned: u64) {
        self.thinned.store(thinned, Ordering::Relaxed);
        *self.last_error() = None;
    }

    fn note_failure(&self, error: &StoreError) {
        self.failed.fetch_add(1, Ordering::Relaxed);
        *self.last_error() = Some(error.to_string());
    }

    fn last_error(&self) -> std::sync::MutexGuard<'_, Option<String>> {
        self.last_error
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }
}

fn serve(mut database: Database, mut orders: mpsc::Receiver<Order>) {
    let mut closing = None;
    while let Some(order) = orders.blocking_recv() {
        match order {
            Order::Run(job) => job(&mut database),
            Order::Close(answer) => {
                orders.close();
                closing = Some(answer);
            }
        }
    }
    let result = database.close();
    match (closing, result) {
        (Some(answer), result) => {
            // The caller may have gone; the file is closed all the same.
            let _ = answer.send(result);
        }
        (None, Err(error)) => tracing::error!(%error, "closing the record"),
        (None, Ok(())) => {}
    }
}

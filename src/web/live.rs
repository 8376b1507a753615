//! The live state of one tun, looked at once for all who watch.
//!
//! Owns the look: when there is news and somebody watches, the tun is asked once and everybody gets the same
//! answer, so that fifty screens cost the tun's own task no more than one. It does not know what is shown.

use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use jiff::Timestamp;
use lauter_core::supervisor::{AlarmLine, Occurrence, Sample, TableLine};
use tokio::sync::{Notify, watch};
use tokio::time::{MissedTickBehavior, interval, sleep};
use tokio_util::sync::CancellationToken;

use crate::clock::wall_now;
use crate::runtime::request::{Refusal, TunHandle, TunStatus};
use crate::store::{Store, StoreError};

/// Least time between two looks. Own choice: nobody reads faster, and the state changes once a second.
const LOOK_EVERY: Duration = Duration::from_millis(100);
/// A look waits this long after the news, so that what the news sends to other programs, alarms first, is sent before any
/// page is drawn. Own choice: nobody sees it.
const GIVE_WAY: Duration = Duration::from_millis(20);
/// A look is taken at least this often, so that whoever watches knows that silence is a broken connection. Own choice.
const LOOK_AT_LEAST_EVERY: Duration = Duration::from_secs(4);
/// Pause after a tun did not answer.
const SILENT_PAUSE: Duration = Duration::from_secs(1);

/// The tun at one moment.
#[derive(Clone, Debug)]
pub struct Look {
    pub status: TunStatus,
    pub notebook: Arc<Notebook>,
    /// Wall-clock time at which the news came that this look answers.
    pub changed: Timestamp,
    pub drawn: Drawn,
}

/// The parts of a page, by the id of their element.
pub type Parts = BTreeMap<&'static str, String>;

/// What is sent of a look: made by the first that asks, the same for all.
#[derive(Clone, Debug, Default)]
pub struct Drawn {
    pub run_off: Page,
    pub instruments: Page,
    /// The state as JSON.
    pub state: OnceLock<String>,
}

/// A page's parts, and what its streams are sent.
#[derive(Clone, Debug, Default)]
pub struct Page {
    pub parts: OnceLock<Arc<Parts>>,
    /// For those that were sent the parts named first, which are all that have kept up: what has changed since, as JSON.
    pub changes: OnceLock<(Arc<Parts>, String)>,
}

/// What the record has of the brew under way, or of the last one.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Notebook {
    pub brew: Option<String>,
    pub table: Vec<TableLine>,
    /// Those that stand, with `elapsed_s`.
    pub samples: Vec<(f64, Sample)>,
    /// Their numbers, counted from 1 over all that were taken.
    pub sample_numbers: Vec<usize>,
    /// What was noted and reported by hand, with `elapsed_s`.
    pub notes: Vec<(f64, Occurrence)>,
    /// The last change of each alarm about an instrument.
    pub changes: Vec<AlarmLine>,
    /// Grows when charts should be drawn anew.
    pub drawn: u64,
}

/// Where the looks of one tun can be watched.
#[derive(Clone, Debug)]
pub struct Live {
    looks: watch::Receiver<Option<Arc<Look>>>,
    wanted: Arc<Notify>,
}

impl Live {
    /// Starts looking at a tun, for as long as somebody watches and until `stop`.
    pub fn start(handle: TunHandle, store: Store, stop: CancellationToken) -> Self {
        let (sender, looks) = watch::channel(None);
        let wanted = Arc::new(Notify::new());
        let desk = Desk {
            handle,
            store,
            sender,
            wanted: Arc::clone(&wanted),
            seen: None,
        };
        tokio::spawn(async move {
            stop.run_until_cancelled(desk.run()).await;
        });
        Self { looks, wanted }
    }

    /// A receiver of looks; the first comes at once.
    pub fn watch(&self) -> watch::Receiver<Option<Arc<Look>>> {
        let watching = self.looks.clone();
        self.wanted.notify_one();
        watching
    }
}

/// One look, outside the stream.
pub async fn look(handle: &TunHandle, store: &Store) -> Result<Look, LookError> {
    let status = handle.status().await?;
    let notebook = Arc::new(notebook(handle, store, &status).await?);
    Ok(Look {
        status,
        notebook,
        changed: wall_now(),
        drawn: Drawn::default(),
    })
}

/// Why there is nothing to look at.
#[derive(Debug, thiserror::Error)]
pub enum LookError {
    #[error(transparent)]
    Refused(#[from] Refusal),
    #[error(transparent)]
    Record(#[from] StoreError),
}

async fn notebook(
    handle: &TunHandle,
    store: &Store,
    status: &TunStatus,
) -> Result<Notebook, StoreError> {
    if handle.place.get().is_none() {
        // There is no record yet: everything but its pages is shown.
        return Ok(Notebook::default());
    }
    let (id, sought) = (handle.id(), status.brew.clone());
    let drawn = handle.news.borrow().recorded;
    store
        .read(move |database| {
            let brew = match &sought {
                Some(name) => database.find_brew(id, name)?,
                None => database.brews(id)?.into_iter().next(),
            };
            let Some(brew) = brew else {
                return Ok(Notebook::default());
            };
            let origin = brew.header.origin;
            let recorded = database.recorded_samples(brew.id)?.into_iter();
            let (sample_numbers, samples) = (1..)
                .zip(recorded)
                .filter(|(_, it)| it.withdrawn.is_none())
                .map(|(number, it)| (number, (it.at.since(origin), it.sample)))
                .unzip();
            let told = database.occurrences(brew.id)?.into_iter();
            Ok(Notebook {
                brew: Some(brew.header.plan.brew),
                table: database.table(brew.id)?,
                samples,
                sample_numbers,
                notes: told
                    .filter(|(_, it)| {
                        matches!(it.event.as_str(), "note" | "raking" | "rake-effect")
                    })
                    .map(|(at, it)| (at.since(origin), it))
                    .collect(),
                changes: last_changes(database.alarms(brew.id)?),
                drawn,
            })
        })
        .await
}

/// The last line of each alarm about an instrument, in their order.
fn last_changes(alarms: Vec<AlarmLine>) -> Vec<AlarmLine> {
    let mut last: Vec<AlarmLine> = Vec::new();
    for line in alarms {
        if line.instrument.is_some() {
            last.retain(|it| (it.alarm, &it.instrument) != (line.alarm, &line.instrument));
            last.push(line);
        }
    }
    last
}

struct Desk {
    handle: TunHandle,
    store: Store,
    sender: watch::Sender<Option<Arc<Look>>>,
    wanted: Arc<Notify>,
    /// The notebook with the count of recordings and the brew it was read for.
    seen: Option<(u64, Option<String>, Arc<Notebook>)>,
}

impl Desk {
    async fn run(mut self) {
        let mut news = self.handle.news.clone();
        let mut pace = interval(LOOK_EVERY);
        pace.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            // The `Live` holds one receiver itself.
            while self.sender.receiver_count() <= 1 {
                // What was last seen would be old when somebody comes.
                self.sender.send_replace(None);
                self.wanted.notified().await;
            }
            let first = self.sender.borrow().is_none();
            if !first {
                tokio::select! {
                    changed = news.changed() => if changed.is_err() { return },
                    () = self.wanted.notified() => continue,
                    () = sleep(LOOK_AT_LEAST_EVERY) => {}
                }
            }
            let changed = wall_now();
            if !first {
                sleep(GIVE_WAY).await;
            }
            pace.tick().await;
            news.mark_unchanged();
            let recorded = news.borrow().recorded;
            match self.look(changed, recorded).await {
                Ok(look) => {
                    self.sender.send_replace(Some(Arc::new(look)));
                }
                Err(LookError::Refused(_)) => return,
                Err(LookError::Record(error)) => {
                    tracing::debug!(%error, "the record cannot be read for the page");
                    sleep(SILENT_PAUSE).await;
                }
            }
        }
    }

    async fn look(&mut self, changed: Timestamp, recorded: u64) -> Result<Look, LookError> {
        let status = self.handle.status().await?;
        let notebook = match &self.seen {
            Some((known, brew, notebook)) if *known == recorded && *brew == status.brew => {
                Arc::clone(notebook)
            }
            _ => {
                let read = Arc::new(notebook(&self.handle, &self.store, &status).await?);
                self.seen = Some((recorded, status.brew.clone(), Arc::clone(&read)));
                read
            }
        };
        Ok(Look {
            status,
            notebook,
            changed,
            drawn: Drawn::default(),
        })
    }
}

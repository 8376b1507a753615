//! The record's beginning and its upkeep.
//!
//! Owns what happens when the file cannot be used, its check, and the removal of what has passed its time.

use std::path::PathBuf;
use std::time::Duration;

use lauter_core::reading::Moment;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

use crate::clock::wall_now;
use crate::config::Configuration;
use crate::exit::Failure;
use crate::store::{ClockMark, Keep, Store, StoreError, TunId};

/// How often old records are removed.
const RETENTION_EVERY: Duration = Duration::from_secs(3600);

/// How long a start waits for the record. A disk that has not answered by then is watched without.
const OPEN_LIMIT: Duration = Duration::from_secs(5);

/// Opens a record, or goes on without one for as long as its disk takes nothing.
pub async fn open_store(directory: PathBuf) -> Result<Store, Failure> {
    let store = Store::start(&directory, OPEN_LIMIT).await?;
    let checked = store.clone();
    tokio::spawn(async move {
        match checked.check().await {
            Ok(()) => {}
            Err(error) if error.is_passing() || matches!(error, StoreError::Missing { .. }) => {
                tracing::warn!("the record was not checked: {error}");
            }
            Err(error) => tracing::error!("{error}"),
        }
    });
    Ok(store)
}

/// What the record says about a tun before its watch begins.
#[derive(Debug, Default)]
pub struct Before {
    /// None where there is no record to enter it in.
    pub tun: Option<TunId>,
    /// The last event of the brew under way.
    pub last: Option<Moment>,
    pub mark: Option<ClockMark>,
    /// The first number that the record has not reserved.
    pub number: u64,
}

/// Asks the record, which may be readable even where it cannot be written.
pub async fn before(store: &Store, configuration: &Configuration) -> Before {
    let (site, name) = (configuration.site.clone(), configuration.tun.name.clone());
    let entered = store.tun(&site, &name).await;
    let read = store.read(move |database| {
        let Some(tun) = database.find_tun(&site, &name)? else {
            return Ok(Before::default());
        };
        let unfinished = super::tun::readable(database.unfinished_brew(tun))?;
        let last = unfinished.map(|brew| database.last_event_at(brew.id));
        let before = Before {
            tun: Some(tun),
            last: last.transpose()?.flatten(),
            mark: database.clock_mark(tun)?,
            number: database.next_number(tun)?,
        };
        Ok(before)
    });
    let read = timeout(OPEN_LIMIT, read).await;
    let mut before = read
        .unwrap_or(Err(StoreError::Stalled))
        .unwrap_or_else(|error| {
            tracing::warn!("the record does not say what was before: {error}");
            Before::default()
        });
    before.tun = entered.ok().or(before.tun);
    before
}

/// Removes what is older than the configuration keeps, now and then.
pub async fn retain(store: Store, keep: Keep, stop: CancellationToken) {
    loop {
        let removed = tokio::select! {
            () = stop.cancelled() => return,
            removed = store.retention(wall_now(), keep) => removed,
        };
        match removed {
            Ok(removed) if removed > 0 => {
                tracing::info!("{removed} old rows removed from the record");
            }
            Ok(_) => {}
            Err(error) => tracing::warn!("old records cannot be removed: {error}"),
        }
        tokio::select! {
            () = stop.cancelled() => return,
            () = tokio::time::sleep(RETENTION_EVERY) => {}
        }
    }
}

//! The record's beginning and its upkeep.
//!
//! Owns what happens when the file cannot be used, its check, and the removal of what has passed its time.

use std::path::PathBuf;
use std::time::Duration;

use tokio_util::sync::CancellationToken;

use crate::clock::wall_now;
use crate::exit::{Failure, Kind};
use crate::store::{Database, Keep, Store, StoreError};

/// How often old records are removed.
const RETENTION_EVERY: Duration = Duration::from_secs(3600);

/// Opens a record. A damaged one is put aside, so that the watch goes on: the wort does not wait.
pub async fn open_store(directory: PathBuf) -> Result<Store, Failure> {
    let opened = tokio::task::spawn_blocking(move || {
        let damaged = match Store::open(&directory) {
            Err(damaged @ StoreError::Corrupt { .. }) => damaged,
            other => return other,
        };
        let aside = Database::move_away(&directory, wall_now())?;
        tracing::error!(
            "{damaged}. It was moved to {} and a new record begins; brews and profiles before now are in the old one, and a \
             brew under way has to be started anew",
            aside.display()
        );
        Store::open(&directory)
    });
    let store = opened
        .await
        .map_err(|error| Failure::new(Kind::Io, error.to_string()))??;
    let checked = store.clone();
    tokio::spawn(async move {
        if let Err(error) = checked.check().await {
            tracing::error!("{error}");
        }
    });
    Ok(store)
}

/// Removes what is older than the configuration keeps, now and then.
pub async fn retain(store: Store, keep: Keep, stop: CancellationToken) {
    loop {
        match store.retention(wall_now(), keep).await {
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

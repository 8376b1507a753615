//! The store's thread: the one place where the record is open for writing.
//!
//! Owns the opening. A disk that is full, read-only or does not answer at the start is no reason not to watch: each order
//! tries again until the record is open. A damaged record is put aside and a new one begins: the wort does not wait.

use std::path::PathBuf;

use tokio::sync::{mpsc, oneshot};

use super::{Database, StoreError, StoreParameters};
use crate::clock::wall_now;

pub(super) type Job = Box<dyn FnOnce(&mut Keeper) + Send>;

pub(super) enum Order {
    Run(Job),
    Close(oneshot::Sender<Result<(), StoreError>>),
}

/// The record, or where it will be.
pub(super) struct Keeper {
    pub directory: PathBuf,
    pub parameters: StoreParameters,
    pub database: Option<Database>,
}

impl Keeper {
    /// The open record; opens it where it is not.
    pub fn database(&mut self) -> Result<&mut Database, StoreError> {
        if self.database.is_none() {
            let database = self.open()?;
            if let Some(lost) = database.lost() {
                tracing::error!("{lost}");
            }
            return Ok(self.database.insert(database));
        }
        self.database.as_mut().ok_or(StoreError::Closed)
    }

    /// A slice of packing, while nobody waits.
    fn pack(&mut self) {
        if let Some(Err(error)) = self.database.as_mut().map(Database::pack_slice) {
            tracing::warn!("{error}");
        }
    }

    fn open(&self) -> Result<Database, StoreError> {
        let damaged = match Database::open_with(&self.directory, self.parameters) {
            Err(damaged @ StoreError::Corrupt { .. }) => damaged,
            other => return other,
        };
        let aside = Database::move_away(&self.directory, wall_now())?;
        tracing::error!(
            "{damaged}. It was moved to {} and a new record begins; brews and profiles before now are in the old one, and a \
             brew under way has to be started anew",
            aside.display()
        );
        Database::open_with(&self.directory, self.parameters)
    }
}

pub(super) fn serve(mut keeper: Keeper, mut orders: mpsc::Receiver<Order>) {
    let mut closing = None;
    while let Some(order) = orders.blocking_recv() {
        match order {
            Order::Run(job) => {
                job(&mut keeper);
                if orders.is_empty() {
                    keeper.pack();
                }
            }
            Order::Close(answer) => {
                orders.close();
                closing = Some(answer);
            }
        }
    }
    let result = keeper.database.take().map_or(Ok(()), Database::close);
    match (closing, result) {
        (Some(answer), result) => {
            // The caller may have gone; the file is closed all the same.
            let _ = answer.send(result);
        }
        (None, Err(error)) => tracing::error!(%error, "closing the record"),
        (None, Ok(())) => {}
    }
}

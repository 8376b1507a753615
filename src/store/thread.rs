//! The store's thread: the one place where the record is open for writing.
//!
//! Owns the opening. A disk that is full, read-only or does not answer at the start is no reason not to watch: each order
//! tries again until the record is open. A damaged record is put aside and a new one begins: the wort does not wait.

use std::path::PathBuf;

use tokio::sync::{mpsc, oneshot};

use super::{Database, FILE_NAME, StoreError, StoreParameters};
use crate::clock::{Pace, wall_now};

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
    /// When it was last seen in its place, and whether it was not.
    looked: Pace,
    is_gone: bool,
    /// When packing could last not be written.
    packed: Pace,
    /// The disk took nothing for want of room when it was last asked.
    is_full: bool,
}

impl Keeper {
    pub fn new(
        directory: PathBuf,
        parameters: StoreParameters,
        database: Option<Database>,
    ) -> Self {
        Self {
            directory,
            parameters,
            database,
            looked: Pace::started(),
            is_gone: false,
            packed: Pace::started(),
            is_full: false,
        }
    }

    /// The open record; opens it where it is not.
    pub fn database(&mut self) -> Result<&mut Database, StoreError> {
        if self.looked.is_due(self.parameters.looked_after) {
            self.look_after()?;
        } else if self.is_gone {
            let path = self.directory.join(FILE_NAME);
            return Err(StoreError::Gone { path });
        }
        if self.database.is_none() {
            let database = self.open()?;
            if let Some(lost) = database.lost() {
                tracing::error!("{lost}");
            }
            return Ok(self.database.insert(database));
        }
        self.database.as_mut().ok_or(StoreError::Closed)
    }

    /// Puts the record back where it has gone from its place.
    fn look_after(&mut self) -> Result<(), StoreError> {
        let database = self.database.as_mut();
        let Some(gone) = database.filter(|database| !database.is_in_place()) else {
            self.is_gone = false;
            return Ok(());
        };
        let path = gone.path().to_owned();
        if !self.is_gone {
            self.is_gone = true;
            let path = path.clone();
            tracing::error!("{}", StoreError::Gone { path });
        }
        let aside = gone.copy_back(wall_now())?;
        let copied = self.database.take().map(Database::opened_again);
        self.is_gone = false;
        self.database = copied.transpose()?;
        let aside = aside.map_or_else(String::new, |aside| {
            format!(". What stood there is kept as {}", aside.display())
        });
        tracing::error!(
            "the record {} was removed or replaced; it has been put back from what was open, and nothing is missing in \
             it{aside}",
            path.display()
        );
        Ok(())
    }

    /// What became of something that was to be written.
    pub fn note(&mut self, written: Result<(), &StoreError>) {
        match written {
            Err(error) => self.is_full |= error.is_full(),
            Ok(()) if self.is_full => {
                self.is_full = false;
                if let Some(database) = &mut self.database {
                    database.pack_again();
                }
            }
            Ok(()) => {}
        }
    }

    /// A slice of packing, while nobody waits.
    fn pack(&mut self) {
        let Some(database) = &mut self.database else {
            return;
        };
        if self.is_gone {
            return;
        }
        if database.has_put_off() && self.packed.is_due(self.parameters.pack_again) {
            database.pack_again();
        }
        if let Err(error) = database.pack_slice() {
            self.packed = Pace::started();
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

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use jiff::Timestamp;
    use lauter_core::reading::{Moment, Reading, Status};
    use lauter_core::supervisor::Event;

    use super::*;
    use crate::store::{Batch, BrewHeader, BrewId, DatedEvent};

    /// A record with so many readings that one block is due.
    fn keeper(directory: &std::path::Path, pack_again: Duration) -> (Keeper, BrewId) {
        let parameters = StoreParameters {
            packed_rows: 4,
            pack_again,
            ..StoreParameters::default()
        };
        let mut database = Database::open_with(directory, parameters).unwrap();
        let tun = database.tun("north-yard", "tun-1").unwrap();
        let instrument = serde_json::json!({
            "id": "flow", "measures": "runoff-flow", "unit": "L/min", "span": null, "temperature": null, "low": null,
            "high": null, "stale_after_s": 10.0, "zero": 0.0, "link": null
        });
        let plan = serde_json::json!({
            "brew": "2026-0412", "recipe": "Harbour Stout", "grist_kg": 980.0, "target_gravity_p": 12.4,
            "planned_volume_l": 5200.0, "runoff_minutes": 90.0, "first_wort_gravity_p": null, "gravity_floor_p": 3.0,
            "ph_ceiling": 6.0, "ph_basis": "room"
        });
        let header = BrewHeader {
            tun,
            plan: serde_json::from_value(plan).unwrap(),
            instruments: vec![serde_json::from_value(instrument).unwrap()],
            config_digest: String::new(),
            started: Timestamp::UNIX_EPOCH,
            started_at: Moment(0),
            origin: Moment(0),
        };
        let brew = database.begin_brew(&header).unwrap();
        let events = (1..=4).map(|second| {
            let at = Moment(second * 1_000_000);
            let reading = Reading {
                value: Ok(60.0),
                status: Status::Good,
                at,
            };
            let event = Event::Reading {
                instrument: 0,
                reading,
            };
            DatedEvent { at, event }
        });
        let batch = Batch {
            events: events.collect(),
            ..Batch::new(tun, Some(brew))
        };
        database.append(&batch).unwrap();
        let keeper = Keeper::new(directory.to_owned(), parameters, Some(database));
        (keeper, brew)
    }

    fn takes_nothing(keeper: &mut Keeper, is: bool) {
        let connection = &keeper.database.as_ref().unwrap().connection;
        connection.pragma_update(None, "query_only", is).unwrap();
    }

    fn blocks(keeper: &Keeper) -> i64 {
        let connection = &keeper.database.as_ref().unwrap().connection;
        connection
            .query_row("SELECT count(*) FROM packed", [], |row| row.get(0))
            .unwrap()
    }

    #[test]
    fn a_slice_that_could_not_be_written_is_tried_again_after_a_while() {
        let directory = tempfile::tempdir().unwrap();
        let (mut keeper, _) = keeper(directory.path(), Duration::ZERO);
        takes_nothing(&mut keeper, true);
        keeper.pack();
        takes_nothing(&mut keeper, false);
        assert_eq!(blocks(&keeper), 0);
        keeper.pack();
        assert_eq!(blocks(&keeper), 1);
    }

    #[test]
    fn packing_rests_after_a_slice_that_could_not_be_written_until_a_full_disk_has_room() {
        let directory = tempfile::tempdir().unwrap();
        let (mut keeper, brew) = keeper(directory.path(), Duration::from_secs(3600));
        takes_nothing(&mut keeper, true);
        keeper.pack();
        takes_nothing(&mut keeper, false);
        keeper.pack();
        keeper.note(Ok(()));
        keeper.pack();
        assert_eq!(blocks(&keeper), 0, "an hour has not passed");
        let full = StoreError::DiskFull {
            path: directory.path().to_owned(),
            doing: "packing readings",
        };
        keeper.note(Err(&full));
        keeper.pack();
        assert_eq!(blocks(&keeper), 0);
        keeper.note(Ok(()));
        keeper.pack();
        assert_eq!(blocks(&keeper), 1);
        let database = keeper.database().unwrap();
        assert_eq!(database.events(brew).unwrap().len(), 4);
    }
}

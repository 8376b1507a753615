//! The record: SQLite on its own thread.
//!
//! Owns everything that must outlive the process: brews with every event the supervisor was given, what it
//! answered, alarms as an audit trail, tun profiles, sequence numbers, and the outbox of messages that no
//! receiver has acknowledged yet. One store serves every tun of a service. It knows the core's words and no
//! adapter: a message's topic and payload are opaque to it.
//!
//! `Database` does the work and blocks; replay and export use it directly. `Store` is the service's handle to a
//! `Database` on its own thread.

mod backup;
mod beside;
mod blocks;
mod brews;
mod calibration;
mod changes;
mod checkpoints;
mod crush;
mod damaged;
mod database;
mod encoding;
mod error;
mod events;
mod export;
mod gaps;
mod handle;
mod health;
mod in_place;
mod learning;
mod outbox;
mod outputs;
mod packed;
mod packing;
mod parameters;
mod profiles;
mod readings;
mod remains;
mod retention;
mod schema;
mod sequences;
mod set_aside;
mod stretch;
mod thread;

pub use backup::Copied;
pub use brews::{Brew, BrewHeader, BrewId, FinishedBrew, TunId};
pub use calibration::{MadeCorrection, NewCheck, StoredCheck, StoredCorrection};
pub use changes::{Changed, changes, write_changes};
pub use checkpoints::{Beginning, Checkpoint, ClockMark};
pub use crush::{Crush, Fraction};
pub use damaged::{DamagedBlock, DamagedBlocks};
pub use database::{Database, FILE_NAME, LOCK_NAME};
pub use error::StoreError;
pub use events::{DatedEvent, RecordedSample};
pub use export::{files as export_files, write_lines, write_run, write_samples, write_table};
pub use gaps::{GAP_COLUMNS, Gap, gaps, write_gaps};
pub use handle::{JOBS_BOUND, Store, Writing};
pub use health::StoreHealth;
pub use outbox::{Backlog, Message, MessageClass, NewMessage, Publisher};
pub use outputs::{Batch, Receipt};
pub use parameters::StoreParameters;
pub use profiles::StoredProfile;
pub use readings::RecordedReading;
pub use retention::{Keep, Slice};
pub use sequences::Sequencer;
pub use set_aside::SetAside;
pub use stretch::{BrewEnd, Learnt, Stretch, Written};

//! Opening the record's file: who may write, which schema, how durable.
//!
//! Owns the connection and the lock file. One process writes; others may read the same file meanwhile, since
//! SQLite's write-ahead log keeps readers and the writer apart.

use std::collections::{HashMap, HashSet};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use lauter_core::reading::Moment;
use rusqlite::{Connection, OpenFlags};

use super::backup;
use super::beside::Beside;
use super::brews::{BrewId, TunId};
use super::in_place::Identity;
use super::outbox::Publisher;
use super::remains::{LOG_NAME, escaped, is_empty, lost_before, rename_record};
use super::schema;
use super::{StoreError, StoreParameters};

/// The record's file in the store directory.
pub const FILE_NAME: &str = "lauterd.sqlite3";

/// Locked by the process that writes. The file stays; only the lock on it counts.
pub const LOCK_NAME: &str = "lauterd.lock";

/// The record, opened. Every call blocks until SQLite has answered; in the service it lives behind `Store`.
#[derive(Debug)]
pub struct Database {
    pub(super) connection: Connection,
    pub(super) path: PathBuf,
    pub(super) parameters: StoreParameters,
    pub(super) progress: HashMap<BrewId, Progress>,
    /// Rows waiting for each publisher, counted once and kept up since.
    pub(super) waiting: HashMap<(TunId, Publisher), u64>,
    /// Outbox rows given up because a publisher had too many waiting.
    pub(super) thinned: u64,
    /// A record of an earlier version that is only read has none.
    pub(super) has_blocks: bool,
    /// Whether everything this version asks for is in it.
    pub(super) is_current: bool,
    /// Brews whose rows fit into no block.
    pub(super) left_as_rows: HashSet<BrewId>,
    /// Brews whose block could not be written, until that is tried again.
    pub(super) put_off: HashSet<BrewId>,
    /// Whether a brew to which nothing is added any more may have rows to pack.
    pub(super) may_have_unpacked: bool,
    /// Held for its lock as well, which ends with the process whatever happens to it.
    pub(super) beside: Option<Beside>,
    /// The file that was opened for writing.
    pub(super) file: Option<Identity>,
    /// What was lost before this opening, in words.
    lost: Option<String>,
}

/// Where the rows of a brew stand.
#[derive(Clone, Debug, Default)]
pub(super) struct Progress {
    pub next_event: i64,
    pub next_conditioned: i64,
    pub last_runoff: Option<Moment>,
    /// Rows that could be packed, of each kind of block.
    pub live: [i64; 2],
    /// Ids in the order of the brew's header.
    pub instruments: Vec<String>,
}

impl Database {
    /// Opens the store in `directory` for writing, making both if they are not there.
    pub fn open(directory: &Path) -> Result<Self, StoreError> {
        Self::open_with(directory, StoreParameters::default())
    }

    pub fn open_with(directory: &Path, parameters: StoreParameters) -> Result<Self, StoreError> {
        fs::create_dir_all(directory).map_err(|source| StoreError::directory(directory, source))?;
        let beside = Beside::lock(directory)?;
        Self::open_beside(directory, parameters, beside)
    }

    /// Opens the record of a directory that is locked already.
    pub(super) fn open_beside(
        directory: &Path,
        parameters: StoreParameters,
        beside: Beside,
    ) -> Result<Self, StoreError> {
        let path = directory.join(FILE_NAME);
        if path.is_dir() {
            return Err(StoreError::Directory {
                path,
                source: io::ErrorKind::IsADirectory.into(),
            });
        }
        let lost = lost_before(&beside, directory)?;
        let mut connection = connect(&path, parameters, OpenFlags::default())?;
        // What may not be written is opened for reading, silently, and would stay so when it may be written again.
        if connection
            .is_readonly("main")
            .map_err(|source| StoreError::sql(&path, "opening it", source))?
        {
            return Err(StoreError::not_writable(&path, "opening it"));
        }
        prepare_for_writing(&connection)
            .map_err(|source| StoreError::sql(&path, "opening it", source))?;
        schema::migrate(&mut connection, &path)?;
        let small = fs::metadata(&path).is_ok_and(|file| file.len() <= parameters.checked_bytes);
        if small {
            backup::check(&connection, &path)?;
        }
        let file = Identity::of(&path);
        let mut database = Self::around(connection, path, parameters, Some(beside));
        database.file = file;
        database.lost = lost;
        if !small {
            database.probe()?;
        }
        Ok(database)
    }

    /// What was found missing when the record was opened: a file or its log that has gone.
    pub fn lost(&self) -> Option<&str> {
        self.lost.as_deref()
    }

    /// Opens an existing store for reading only; a service may be writing to it meanwhile.
    pub fn open_read_only(directory: &Path) -> Result<Self, StoreError> {
        let path = directory.join(FILE_NAME);
        if !path.is_file() {
            return Err(StoreError::Missing { path });
        }
        let parameters = StoreParameters::default();
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let opened = connect(&path, parameters, flags).and_then(|connection| {
            let version = schema::recognise(&connection, &path)?;
            Ok((connection, version))
        });
        let (connection, version) = match opened {
            // There is no room for what SQLite puts beside the file. Where there is no log, the file alone is all.
            Err(error) if error.is_passing() && is_empty(&directory.join(LOG_NAME)) => {
                let flags = flags | OpenFlags::SQLITE_OPEN_URI;
                let address = format!("file:{}?immutable=1", escaped(&path));
                let connection = connect(Path::new(&address), parameters, flags)?;
                let version = schema::recognise(&connection, &path)?;
                (connection, version)
            }
            other => other?,
        };
        let mut database = Self::around(connection, path, parameters, None);
        database.has_blocks = version >= schema::WITH_BLOCKS;
        database.is_current = version == schema::NEWEST;
        Ok(database)
    }

    fn around(
        connection: Connection,
        path: PathBuf,
        parameters: StoreParameters,
        beside: Option<Beside>,
    ) -> Self {
        // Every statement of an append and of the publishers stays prepared.
        connection.set_prepared_statement_cache_capacity(64);
        Self {
            connection,
            path,
            parameters,
            progress: HashMap::new(),
            waiting: HashMap::new(),
            thinned: 0,
            has_blocks: true,
            is_current: true,
            left_as_rows: HashSet::new(),
            put_off: HashSet::new(),
            file: None,
            may_have_unpacked: true,
            beside,
            lost: None,
        }
    }

    /// The record's file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Reads the whole file and says whether its pages fit together and its blocks are as they were written. For large
    /// files, beside the service's work.
    pub fn check(&self) -> Result<(), StoreError> {
        backup::check(&self.connection, &self.path)?;
        self.check_blocks()
    }

    /// Puts a damaged record out of the way, so that the watch can go on with a new one. Gives its new name. Nobody else
    /// may have it open.
    pub fn move_away(directory: &Path, now: Timestamp) -> Result<PathBuf, StoreError> {
        let failed = |source| StoreError::Directory {
            path: directory.to_owned(),
            source,
        };
        let _beside = Beside::lock(directory)?;
        rename_record(directory, "damaged", now).map_err(failed)
    }

    /// Reads what a start needs, whatever it says: whether it can be read at all. For files too large to be checked whole
    /// while people wait.
    pub fn probe(&self) -> Result<(), StoreError> {
        let failed = self.failed("reading what a start needs");
        let newest = "(SELECT max(id) FROM brew GROUP BY tun_id)";
        for query in [
            "SELECT id, site, name, next_sequence FROM tun".to_owned(),
            "SELECT * FROM clock_mark".to_owned(),
            format!("SELECT * FROM brew WHERE id IN {newest}"),
            format!("SELECT * FROM checkpoint WHERE brew_id IN {newest}"),
            format!(
                "SELECT event.* FROM brew JOIN event ON event.brew_id = brew.id LEFT JOIN checkpoint ON \
                 checkpoint.brew_id = brew.id WHERE brew.id IN {newest} AND brew.ended_us IS NULL AND \
                 event.seq >= coalesce(checkpoint.next_event, 0)"
            ),
            format!(
                "SELECT packed.* FROM brew JOIN packed ON packed.brew_id = brew.id LEFT JOIN checkpoint ON \
                 checkpoint.brew_id = brew.id WHERE brew.id IN {newest} AND brew.ended_us IS NULL AND \
                 packed.last_seq >= coalesce(checkpoint.next_event, 0)"
            ),
            "SELECT max(id) FROM output".to_owned(),
            "SELECT min(id), max(id) FROM outbox".to_owned(),
        ] {
            let mut statement = self.connection.prepare(&query).map_err(&failed)?;
            let mut rows = statement.query([]).map_err(&failed)?;
            while rows.next().map_err(&failed)?.is_some() {}
        }
        Ok(())
    }

    /// Outbox rows given up since opening.
    pub fn thinned(&self) -> u64 {
        self.thinned
    }

    /// Folds the write-ahead log into the file and closes it.
    pub fn close(self) -> Result<(), StoreError> {
        self.connection
            .pragma(None, "wal_checkpoint", "TRUNCATE", |_| Ok(()))
            .map_err(|source| StoreError::sql(&self.path, "folding its log", source))?;
        self.connection
            .close()
            .map_err(|(_, source)| StoreError::sql(&self.path, "closing it", source))?;
        if let Some(mut beside) = self.beside {
            beside.set_in_use(false);
        }
        Ok(())
    }

    /// An error of SQLite while `doing` something with this file.
    pub(super) fn failed(
        &self,
        doing: &'static str,
    ) -> impl Fn(rusqlite::Error) -> StoreError + 'static {
        let path = self.path.clone();
        move |source| StoreError::sql(&path, doing, source)
    }
}

fn connect(
    path: &Path,
    parameters: StoreParameters,
    flags: OpenFlags,
) -> Result<Connection, StoreError> {
    let failed = |source| StoreError::sql(path, "opening it", source);
    let connection = Connection::open_with_flags(path, flags).map_err(failed)?;
    connection
        .busy_timeout(parameters.busy_timeout)
        .map_err(failed)?;
    Ok(connection)
}

fn prepare_for_writing(connection: &Connection) -> rusqlite::Result<()> {
    // Takes effect only while the file is empty: lets the retention give room back in small steps.
    connection.pragma_update(None, "auto_vacuum", "INCREMENTAL")?;
    connection
        .pragma_update_and_check(None, "journal_mode", "WAL", |row| row.get::<_, String>(0))?;
    // A commit is on the disk before an alarm is published, power cut or not.
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "foreign_keys", true)
}

#[cfg(test)]
mod tests {
    use jiff::Timestamp;
    use lauter_core::supervisor::Event;

    use crate::store::{
        Batch, Database, DatedEvent, MessageClass, NewMessage, Publisher, StoreError,
    };
    use lauter_core::reading::Moment;

    fn limit_pages(database: &Database, pages: i64) {
        database
            .connection
            .pragma_update_and_check(None, "max_page_count", pages, |row| row.get::<_, i64>(0))
            .unwrap();
    }

    #[test]
    fn a_full_disk_costs_the_batch_but_neither_the_record_nor_the_count() {
        let directory = tempfile::tempdir().unwrap();
        let mut database = Database::open(directory.path()).unwrap();
        let tun = database.tun("north-yard", "tun-1").unwrap();
        let message = NewMessage {
            publisher: Publisher::Mqtt,
            class: MessageClass::Record,
            topic: "event".to_owned(),
            payload: "x".repeat(2_000),
            retain: false,
            created: Timestamp::UNIX_EPOCH,
        };
        let batch = Batch {
            events: vec![DatedEvent {
                at: Moment(1),
                event: Event::BrewEnded,
            }],
            messages: vec![message; 10],
            ..Batch::new(tun, None)
        };
        database.append(&batch).unwrap();
        limit_pages(&database, 60);
        let mut taken = 1;
        let error = loop {
            match database.append(&batch) {
                Ok(_) => taken += 1,
                Err(error) => break error,
            }
            assert!(taken < 1_000);
        };
        assert!(matches!(error, StoreError::DiskFull { .. }), "{error}");
        assert!(error.is_passing());
        let depth = |database: &mut Database| database.backlog(tun, Publisher::Mqtt).unwrap().depth;
        assert_eq!(depth(&mut database), taken * 10);
        limit_pages(&database, 1_000_000);
        database.append(&batch).unwrap();
        assert_eq!(depth(&mut database), (taken + 1) * 10);
        drop(database);
        let mut again = Database::open(directory.path()).unwrap();
        assert_eq!(depth(&mut again), (taken + 1) * 10);
        let events = again.idle_events(tun, Moment::ZERO).unwrap();
        assert_eq!(events.len() as u64, taken + 1);
    }

    #[test]
    fn a_disk_that_turns_read_only_is_named_and_writing_goes_on_when_it_is_mended() {
        let directory = tempfile::tempdir().unwrap();
        let mut database = Database::open(directory.path()).unwrap();
        let tun = database.tun("north-yard", "tun-1").unwrap();
        let batch = Batch {
            events: vec![DatedEvent {
                at: Moment(1),
                event: Event::BrewEnded,
            }],
            ..Batch::new(tun, None)
        };
        let read_only = |database: &Database, is: bool| {
            let pragma = database.connection.pragma_update(None, "query_only", is);
            pragma.unwrap();
        };
        read_only(&database, true);
        let error = database.append(&batch).unwrap_err();
        assert!(matches!(error, StoreError::Permission { .. }), "{error}");
        read_only(&database, false);
        database.append(&batch).unwrap();
        assert_eq!(database.idle_events(tun, Moment::ZERO).unwrap().len(), 1);
    }

    #[test]
    fn the_outbox_is_read_in_order_without_sorting_it() {
        let directory = tempfile::tempdir().unwrap();
        let database = Database::open(directory.path()).unwrap();
        let plan: Vec<String> = database
            .connection
            .prepare(&format!(
                "EXPLAIN QUERY PLAN {}",
                crate::store::outbox::NEXT
            ))
            .unwrap()
            .query_map((1, "mqtt", 0, 10), |row| row.get("detail"))
            .unwrap()
            .collect::<Result<_, _>>()
            .unwrap();
        assert!(
            plan.iter().any(|step| step.contains("outbox_of_publisher")),
            "{plan:?}"
        );
        assert!(
            !plan.iter().any(|step| step.contains("TEMP B-TREE")),
            "{plan:?}"
        );
    }
}

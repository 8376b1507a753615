//! Opening: new, old, newer, foreign, damaged and missing files.

use std::fs;

use lauterd::store::{
    Batch, Checkpoint, Database, FILE_NAME, LOCK_NAME, Publisher, StoreError, StoreParameters,
};
use rusqlite::Connection;
use tempfile::tempdir;

use crate::fixtures::{alarm, header, sample_event, wall};

#[test]
fn a_directory_that_is_not_there_is_made() {
    let directory = tempdir().unwrap();
    let store = directory.path().join("a/b");
    Database::open(&store).unwrap().close().unwrap();
    assert!(store.join(FILE_NAME).is_file());
}

#[test]
fn an_empty_file_is_brought_to_the_newest_schema() {
    let directory = tempdir().unwrap();
    let path = directory.path().join(FILE_NAME);
    fs::write(&path, []).unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    database.close().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    assert_eq!(database.tun("north-yard", "tun-1").unwrap(), tun);
    let version: i64 = Connection::open(&path)
        .unwrap()
        .pragma_query_value(None, "user_version", |row| row.get(0))
        .unwrap();
    assert_eq!(version, 7);
}

#[test]
fn the_log_is_written_ahead_and_synchronised_in_full() {
    let directory = tempdir().unwrap();
    let _database = Database::open(directory.path()).unwrap();
    let mode: String = Connection::open(directory.path().join(FILE_NAME))
        .unwrap()
        .pragma_query_value(None, "journal_mode", |row| row.get(0))
        .unwrap();
    assert_eq!(mode, "wal");
}

#[test]
fn a_newer_schema_is_refused_and_left_alone() {
    let directory = tempdir().unwrap();
    Database::open(directory.path()).unwrap().close().unwrap();
    let path = directory.path().join(FILE_NAME);
    let connection = Connection::open(&path).unwrap();
    connection.pragma_update(None, "user_version", 99).unwrap();
    drop(connection);
    let error = Database::open(directory.path()).unwrap_err();
    assert!(matches!(error, StoreError::NewerSchema { found: 99, .. }));
    assert!(error.to_string().contains("newer lauterd"), "{error}");
}

#[test]
fn a_database_of_another_program_is_refused() {
    let directory = tempdir().unwrap();
    let path = directory.path().join(FILE_NAME);
    let connection = Connection::open(&path).unwrap();
    connection.execute_batch("CREATE TABLE mail (id)").unwrap();
    drop(connection);
    let error = Database::open(directory.path()).unwrap_err();
    assert!(matches!(error, StoreError::Foreign { .. }), "{error}");
}

#[test]
fn a_file_that_is_no_database_is_called_damaged() {
    let directory = tempdir().unwrap();
    fs::write(directory.path().join(FILE_NAME), [b'x'; 8192]).unwrap();
    let error = Database::open(directory.path()).unwrap_err();
    assert!(matches!(error, StoreError::Corrupt { .. }), "{error}");
}

#[test]
fn a_directory_that_cannot_be_made_is_named() {
    let directory = tempdir().unwrap();
    let file = directory.path().join("file");
    fs::write(&file, "").unwrap();
    let error = Database::open(&file.join("store")).unwrap_err();
    assert!(matches!(error, StoreError::Directory { .. }), "{error}");
    assert!(error.to_string().contains("file/store"), "{error}");
}

#[test]
fn a_reader_sees_what_is_committed_while_the_writer_goes_on() {
    let directory = tempdir().unwrap();
    assert!(matches!(
        Database::open_read_only(directory.path()),
        Err(StoreError::Missing { .. })
    ));
    let mut writer = Database::open(directory.path()).unwrap();
    let tun = writer.tun("north-yard", "tun-1").unwrap();
    let brew = writer.begin_brew(&header(tun, "2026-0412", 1)).unwrap();
    let mut reader = Database::open_read_only(directory.path()).unwrap();
    for count in 1..=3 {
        let batch = Batch {
            events: vec![sample_event(f64::from(count), 12.0)],
            outputs: vec![alarm(1.0)],
            ..Batch::new(tun, Some(brew))
        };
        writer.append(&batch).unwrap();
        assert_eq!(reader.alarms(brew).unwrap().len(), count as usize);
    }
    assert_eq!(reader.find_tun("north-yard", "tun-1").unwrap(), Some(tun));
    let error = reader.tun("north-yard", "tun-9").unwrap_err();
    assert!(matches!(error, StoreError::Permission { .. }), "{error}");
}

/// The files of every released schema, in order: a migration never changes once it has been released.
const RELEASED: [&str; 6] = [
    include_str!("../../src/store/migrations/001.sql"),
    include_str!("../../src/store/migrations/002.sql"),
    include_str!("../../src/store/migrations/003.sql"),
    include_str!("../../src/store/migrations/004.sql"),
    include_str!("../../src/store/migrations/005.sql"),
    include_str!("../../src/store/migrations/006.sql"),
];

#[test]
fn a_record_of_every_released_schema_is_brought_up_to_date_with_its_content() {
    for released in 1..=RELEASED.len() {
        let directory = tempdir().unwrap();
        let connection = Connection::open(directory.path().join(FILE_NAME)).unwrap();
        for migration in &RELEASED[..released] {
            connection.execute_batch(migration).unwrap();
        }
        connection
            .pragma_update(None, "user_version", released.cast_signed())
            .unwrap();
        connection
            .pragma_update(None, "application_id", 0x6c74_7264)
            .unwrap();
        let header = header_json();
        connection
            .execute_batch(&format!(
                "INSERT INTO tun (site, name, next_sequence) VALUES ('north-yard', 'tun-1', 42);
                 INSERT INTO brew (tun_id, brew, plan, instruments, config_digest, started_us, started_at_us, origin_at_us)
                 VALUES (1, '2026-0412', '{}', '{}', 'digest', 1, 1, 1);
                 INSERT INTO event (brew_id, seq, at_us, kind, instrument, value) VALUES (1, 0, 5, 0, 0, 12.5);
                 INSERT INTO outbox (tun_id, publisher, class, topic, payload, retain, created_us)
                 VALUES (1, 'mqtt', 2, 'event', 'kept', 0, 1);",
                header.0, header.1
            ))
            .unwrap();
        drop(connection);
        let reader = Database::open_read_only(directory.path()).unwrap();
        let tun = reader.find_tun("north-yard", "tun-1").unwrap().unwrap();
        let brew = reader.unfinished_brew(tun).unwrap().unwrap().id;
        assert_eq!(reader.events(brew).unwrap().len(), 1, "only read");
        assert!(reader.readings(brew).unwrap().is_empty());
        reader.check().unwrap();
        drop(reader);
        let mut database = Database::open(directory.path()).unwrap();
        assert_eq!(
            database.next_sequences(tun, 1).unwrap().start,
            42,
            "{released}"
        );
        let brew = database.unfinished_brew(tun).unwrap().unwrap();
        assert_eq!(database.events(brew.id).unwrap().len(), 1);
        let beginning = database.beginning(brew.id, "any").unwrap();
        assert_eq!((beginning.checkpoint, beginning.events.len()), (None, 1));
        let waiting = database.outbox(tun, Publisher::Mqtt, 0, 9).unwrap();
        assert_eq!(waiting[0].message.payload, "kept");
        database
            .set_aside(&[waiting[0].id], "too large", wall(1.0))
            .unwrap();
        assert_eq!(
            database.all_set_aside(tun, 9).unwrap()[0].reason,
            "too large"
        );
        assert_eq!(database.backlog(tun, Publisher::Mqtt).unwrap().depth, 0);
    }
}

/// Plan and instruments as the record keeps them.
fn header_json() -> (String, String) {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let header = header(tun, "2026-0412", 1);
    (
        serde_json::to_string(&header.plan).unwrap(),
        serde_json::to_string(&header.instruments).unwrap(),
    )
}

/// A record that is too large to be checked at the opening, with one kind of page spoiled.
fn large_with_spoiled(table: &str) -> tempfile::TempDir {
    let directory = filled();
    let path = directory.path().join(FILE_NAME);
    let connection = Connection::open(&path).unwrap();
    let page: u64 = connection
        .query_row(
            "SELECT rootpage FROM sqlite_schema WHERE name = ?1",
            [table],
            |row| row.get::<_, i64>(0).map(|page| page as u64),
        )
        .unwrap();
    drop(connection);
    let mut bytes = fs::read(&path).unwrap();
    let from = (page as usize - 1) * 4096;
    bytes[from..from + 4096].fill(0xa5);
    fs::write(&path, bytes).unwrap();
    directory
}

#[test]
fn a_large_record_that_cannot_be_read_where_a_start_needs_it_is_called_damaged() {
    let parameters = StoreParameters {
        checked_bytes: 0,
        ..StoreParameters::default()
    };
    for table in ["event", "clock_mark", "tun", "checkpoint"] {
        let directory = large_with_spoiled(table);
        let error = Database::open_with(directory.path(), parameters).unwrap_err();
        assert!(
            matches!(error, StoreError::Corrupt { .. }),
            "{table}: {error}"
        );
        let sound = Database::open_with(filled().path(), parameters);
        assert!(sound.is_ok());
    }
}

#[test]
fn a_record_whose_header_was_written_over_is_called_damaged_and_not_another_programs() {
    let directory = filled();
    let path = directory.path().join(FILE_NAME);
    let mut bytes = fs::read(&path).unwrap();
    bytes[60..100].fill(0);
    fs::write(&path, bytes).unwrap();
    let error = Database::open(directory.path()).unwrap_err();
    assert!(matches!(error, StoreError::Corrupt { .. }), "{error}");
}

#[test]
fn a_record_that_has_gone_and_one_whose_log_has_gone_are_told_of() {
    let directory = filled();
    assert!(Database::open(directory.path()).unwrap().lost().is_none());
    fs::write(directory.path().join(FILE_NAME), []).unwrap();
    let database = Database::open(directory.path()).unwrap();
    let lost = database.lost().expect("told").to_owned();
    assert!(lost.contains("has gone or is empty"), "{lost}");
    drop(database);

    // Killed: the lock file says that rows stood in the log alone, and the log is not there.
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    database.next_sequences(tun, 1).unwrap();
    let after = tempdir().unwrap();
    for name in [FILE_NAME, LOCK_NAME] {
        fs::copy(directory.path().join(name), after.path().join(name)).unwrap();
    }
    let opened = Database::open(after.path()).unwrap();
    let lost = opened.lost().expect("told");
    assert!(lost.contains("-wal, has gone"), "{lost}");
}

#[test]
fn a_directory_in_place_of_the_file_is_named_as_such() {
    let directory = tempdir().unwrap();
    fs::create_dir(directory.path().join(FILE_NAME)).unwrap();
    let error = Database::open(directory.path()).unwrap_err();
    assert!(!error.is_passing());
    assert!(
        error.to_string().contains("a directory stands where"),
        "{error}"
    );
}

/// A record with some brews' worth of rows, closed.
fn filled() -> tempfile::TempDir {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brew = database.begin_brew(&header(tun, "2026-0412", 1)).unwrap();
    for second in 0..2000 {
        let batch = Batch {
            events: vec![sample_event(f64::from(second), 12.0); 4],
            ..Batch::new(tun, Some(brew))
        };
        database.append(&batch).unwrap();
    }
    database.close().unwrap();
    directory
}

#[test]
fn a_file_that_was_torn_or_scribbled_on_is_found_at_the_opening() {
    let length = |path: &std::path::Path| fs::metadata(path).unwrap().len();
    for spoil in ["torn", "scribbled"] {
        let directory = filled();
        let path = directory.path().join(FILE_NAME);
        let mut bytes = fs::read(&path).unwrap();
        assert!(length(&path) > 100_000);
        if spoil == "torn" {
            bytes.truncate(bytes.len() / 2);
        } else {
            let middle = bytes.len() / 2;
            bytes[middle..middle + 40_000].fill(0xa5);
        }
        fs::write(&path, bytes).unwrap();
        let error = Database::open(directory.path()).unwrap_err();
        assert!(
            matches!(error, StoreError::Corrupt { .. }),
            "{spoil}: {error}"
        );
        let aside = Database::move_away(directory.path(), wall(0.0)).unwrap();
        assert!(aside.is_file());
        Database::open(directory.path()).expect("a new record begins");
    }
}

#[test]
fn a_torn_log_costs_the_last_batch_and_nothing_before_it() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brew = database.begin_brew(&header(tun, "2026-0412", 1)).unwrap();
    for second in 0..50 {
        let batch = Batch {
            events: vec![sample_event(f64::from(second), 12.0)],
            ..Batch::new(tun, Some(brew))
        };
        database.append(&batch).unwrap();
    }
    // As a power cut leaves it: the file and its log without an orderly end.
    let after = tempdir().unwrap();
    for end in ["", "-wal"] {
        let name = format!("{FILE_NAME}{end}");
        fs::copy(directory.path().join(&name), after.path().join(&name)).unwrap();
    }
    let log = after.path().join(format!("{FILE_NAME}-wal"));
    let bytes = fs::read(&log).unwrap();
    fs::write(&log, &bytes[..bytes.len() - 1000]).unwrap();
    let database = Database::open(after.path()).unwrap();
    let events = database.events(brew).unwrap();
    assert_eq!(events.len(), 49);
    assert_eq!(events[48], sample_event(48.0, 12.0));
}

#[test]
fn a_checkpoint_stands_in_for_the_events_before_it_and_for_its_engine_only() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brew = database.begin_brew(&header(tun, "2026-0412", 1)).unwrap();
    let batch = |from: u32, checkpoint: Option<Checkpoint>| Batch {
        events: (from..from + 3)
            .map(|second| sample_event(f64::from(second), 12.0))
            .collect(),
        checkpoint: checkpoint.map(Box::new),
        ..Batch::new(tun, Some(brew))
    };
    let checkpoint = Checkpoint {
        engine: "1 abc".to_owned(),
        state: "{}".to_owned(),
    };
    database.append(&batch(0, None)).unwrap();
    database
        .append(&batch(3, Some(checkpoint.clone())))
        .unwrap();
    database.append(&batch(6, None)).unwrap();
    let from = database.beginning(brew, "1 abc").unwrap();
    assert_eq!(from.checkpoint, Some(checkpoint));
    assert_eq!(from.events, batch(6, None).events);
    let other = database.beginning(brew, "2 abc").unwrap();
    assert_eq!((other.checkpoint, other.events.len()), (None, 9));
    assert_eq!(
        database.last_event_at(brew).unwrap(),
        Some(sample_event(8.0, 12.0).at)
    );
    let copy = directory.path().join("copy");
    database.backup(&copy).unwrap();
    let copied = Database::open_read_only(&copy).unwrap();
    assert_eq!(copied.events(brew).unwrap().len(), 9);
}

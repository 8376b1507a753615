//! Opening: new, old, newer, foreign, damaged and missing files.

use std::fs;

use lauterd::store::{Batch, Database, FILE_NAME, StoreError};
use rusqlite::Connection;
use tempfile::tempdir;

use crate::fixtures::{alarm, header, sample_event};

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
    assert_eq!(version, 2);
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

//! The schema and its numbered migrations.
//!
//! `PRAGMA user_version` counts the migrations a file has had. A migration, once released, never changes: what
//! must be different becomes the next one.

use std::path::Path;

use rusqlite::Connection;

use super::StoreError;

/// Marks a file as ours (`PRAGMA application_id`): "ltrd" in ASCII.
pub(super) const APPLICATION_ID: i64 = 0x6c74_7264;

/// Migration `n` (from 0) brings a file from version `n` to `n + 1`.
const MIGRATIONS: [&str; 7] = [
    include_str!("migrations/001.sql"),
    include_str!("migrations/002.sql"),
    include_str!("migrations/003.sql"),
    include_str!("migrations/004.sql"),
    include_str!("migrations/005.sql"),
    include_str!("migrations/006.sql"),
    include_str!("migrations/007.sql"),
];

/// The version that every record has that was opened for writing.
pub(super) const NEWEST: usize = MIGRATIONS.len();

/// The first version in which readings stand in blocks.
pub(super) const WITH_BLOCKS: usize = 6;

/// Brings the file to the newest schema, each migration in its own transaction.
pub(super) fn migrate(connection: &mut Connection, path: &Path) -> Result<(), StoreError> {
    let found = recognise(connection, path)?;
    let sql = |source| StoreError::sql(path, "bringing its schema up to date", source);
    for (index, migration) in MIGRATIONS.iter().enumerate().skip(found) {
        let transaction = connection.transaction().map_err(sql)?;
        transaction.execute_batch(migration).map_err(sql)?;
        transaction
            .pragma_update(None, "user_version", index.cast_signed() + 1)
            .map_err(sql)?;
        transaction
            .pragma_update(None, "application_id", APPLICATION_ID)
            .map_err(sql)?;
        transaction.commit().map_err(sql)?;
    }
    Ok(())
}

/// The file's schema version, after making sure that it is a store this program can read.
pub(super) fn recognise(connection: &Connection, path: &Path) -> Result<usize, StoreError> {
    let sql = |source| StoreError::sql(path, "reading its schema version", source);
    let pragma = |name| connection.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    let version = pragma("user_version").map_err(sql)?;
    let application = pragma("application_id").map_err(sql)?;
    let tables: i64 = connection
        .query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))
        .map_err(sql)?;
    let fresh = version == 0 && application == 0 && tables == 0;
    if !fresh && application == 0 && has_our_tables(connection).map_err(sql)? {
        return Err(StoreError::Corrupt {
            path: path.to_owned(),
            doing: "reading its schema version",
            detail: "its header was overwritten".to_owned(),
        });
    }
    if !fresh && application != APPLICATION_ID {
        return Err(StoreError::Foreign {
            path: path.to_owned(),
        });
    }
    match usize::try_from(version) {
        Ok(version) if version <= MIGRATIONS.len() => Ok(version),
        _ => Err(StoreError::NewerSchema {
            path: path.to_owned(),
            found: version,
            known: MIGRATIONS.len(),
        }),
    }
}

/// Whether it was ours before something wrote over its header.
fn has_our_tables(connection: &Connection) -> rusqlite::Result<bool> {
    connection.query_row(
        "SELECT count(*) = 3 FROM sqlite_schema WHERE type = 'table' AND name IN ('tun', 'brew', 'outbox')",
        [],
        |row| row.get(0),
    )
}

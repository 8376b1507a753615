//! Damaged blocks, and readings that fit into none.

use std::fs;
use std::path::Path;

use lauterd::store::{BrewId, Database, FILE_NAME, StoreError};
use rusqlite::Connection;
use tempfile::tempdir;

use crate::fixtures::{header, wall};
use crate::packing::{batch, count, end, pack, packed};

/// Changes a byte in the second block with the readings as they came of a brew.
fn spoil(directory: &Path, brew: BrewId, kind: i64) {
    let connection = Connection::open(directory.join(FILE_NAME)).unwrap();
    let key = (brew.number(), kind);
    let query =
        "SELECT body FROM packed WHERE brew_id = ?1 AND kind = ?2 AND first_seq BETWEEN 1 AND 199";
    let mut body: Vec<u8> = connection.query_row(query, key, |row| row.get(0)).unwrap();
    let middle = body.len() / 2;
    body[middle] ^= 1;
    let query = "UPDATE packed SET body = ?3 WHERE brew_id = ?1 AND kind = ?2 AND first_seq BETWEEN 1 AND 199";
    let changed = connection.execute(query, (key.0, key.1, body)).unwrap();
    assert_eq!(changed, 1);
}

#[test]
fn a_damaged_block_is_named_and_costs_its_own_readings_only() {
    let (directory, database, brews) = packed(&["2026-0412", "2026-0413"]);
    let whole = database.readings(brews[0]).unwrap();
    spoil(directory.path(), brews[0], 0);
    spoil(directory.path(), brews[0], 1);

    let error = database.events(brews[0]).unwrap_err();
    assert!(matches!(error, StoreError::Unreadable { .. }), "{error}");
    let text = error.to_string();
    assert!(
        text.contains("the block with the readings as they came 1"),
        "{text}"
    );
    assert!(
        text.contains(&format!("of brew {}", brews[0].number())),
        "{text}"
    );
    assert!(text.contains("its checksum does not fit"), "{text}");

    let left = database.readings(brews[0]).unwrap();
    assert_eq!(left.len(), 900);
    assert_eq!(left[..100], whole[..100]);
    assert_eq!(left[100..], whole[200..]);
    assert_eq!(database.raw_readings(brews[0]).unwrap().len(), 900);
    assert_eq!(database.samples(brews[0]).unwrap().len(), 5);
    assert_eq!(database.events(brews[1]).unwrap().len(), 1005);
    assert_eq!(database.readings(brews[1]).unwrap(), whole);

    let error = database.check().unwrap_err().to_string();
    assert_eq!(
        error.matches("brew 2026-0412 of north-yard/tun-1").count(),
        2,
        "{error}"
    );
}

#[test]
fn a_record_with_a_damaged_block_is_opened_exported_copied_and_put_back() {
    let (directory, database, brews) = packed(&["2026-0412"]);
    spoil(directory.path(), brews[0], 0);
    let out = directory.path().join("export");
    let error = database.export(brews[0], &out).unwrap_err();
    assert!(matches!(error, StoreError::DamagedBlocks { .. }), "{error}");
    let run = fs::read_to_string(out.join("RUN.csv")).unwrap();
    assert_eq!(run.lines().count(), 1 + 450);
    assert!(out.join("alarms.jsonl").is_file());
    let copy = directory.path().join("copy");
    let copied = database.backup(&copy).unwrap();
    let damaged: Vec<String> = copied.damaged.iter().map(ToString::to_string).collect();
    let stretch = "from 2026-04-23 12:00:49 to 12:01:39 UTC";
    assert_eq!(
        damaged,
        [format!(
            "brew 2026-0412 of north-yard/tun-1, readings as they came {stretch}: its checksum does not fit"
        )]
    );
    database.close().unwrap();
    let (placed, _) = Database::restore(directory.path(), &copy, wall(0.0)).unwrap();
    assert_eq!(placed.damaged, copied.damaged);
    let database = Database::open(directory.path()).unwrap();
    assert_eq!(database.raw_readings(brews[0]).unwrap().len(), 900);
}

#[test]
fn a_block_whose_row_says_something_else_is_damaged() {
    for change in [
        "rows = rows + 1",
        "last_seq = last_seq + 1",
        "body = x'01'",
        "body = x''",
    ] {
        let (directory, database, brews) = packed(&["2026-0412"]);
        Connection::open(directory.path().join(FILE_NAME))
            .unwrap()
            .execute(
                &format!("UPDATE packed SET {change} WHERE first_seq = 0"),
                [],
            )
            .unwrap();
        let error = database.events(brews[0]).unwrap_err();
        assert!(
            matches!(error, StoreError::Unreadable { .. }),
            "{change}: {error}"
        );
    }
}

#[test]
fn readings_that_fit_into_no_block_stay_rows_and_the_others_are_packed() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brews = ["old", "new"].map(|name| {
        let brew = database.begin_brew(&header(tun, name, 2)).unwrap();
        database.append(&batch(tun, brew, 0..50)).unwrap();
        database.finish_brew(brew, &end(50.0)).unwrap();
        brew
    });
    Connection::open(directory.path().join(FILE_NAME))
        .unwrap()
        .execute(
            "UPDATE event SET instrument = 100000 WHERE brew_id = ?1 AND seq = 10",
            [brews[1].number()],
        )
        .unwrap();
    let before = database.events(brews[1]).unwrap();
    let error = database.pack_slice().unwrap_err();
    assert!(matches!(error, StoreError::NotPacked { .. }), "{error}");
    pack(&mut database);
    let rows = |brew: BrewId| {
        count(
            directory.path(),
            &format!("event WHERE kind = 0 AND brew_id = {}", brew.number()),
        )
    };
    assert_eq!((rows(brews[0]), rows(brews[1])), (0, 100));
    assert_eq!(database.events(brews[1]).unwrap(), before);
}

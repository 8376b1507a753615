//! Copies while the record is written, and their way back.

use std::fs;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

use lauterd::store::{Batch, Database, FILE_NAME, StoreError};
use tempfile::tempdir;

use crate::fixtures::{header, sample_event, wall};

/// A brew with so many samples.
fn record(database: &mut Database, name: &str, samples: u32) {
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brew = database.begin_brew(&header(tun, name, 1)).unwrap();
    let batch = Batch {
        events: (0..samples)
            .map(|second| sample_event(f64::from(second), 12.0))
            .collect(),
        ..Batch::new(tun, Some(brew))
    };
    database.append(&batch).unwrap();
}

fn brews(database: &Database) -> Vec<String> {
    let tun = database.find_tun("north-yard", "tun-1").unwrap().unwrap();
    let brews = database.brews(tun).unwrap().into_iter();
    brews.map(|brew| brew.header.plan.brew).collect()
}

#[test]
fn a_copy_ends_and_is_of_one_moment_however_much_is_written_meanwhile() {
    let directory = tempdir().unwrap();
    let mut writer = Database::open(directory.path()).unwrap();
    record(&mut writer, "large", 100_000);
    let reader = Database::open_read_only(directory.path()).unwrap();
    let copying = AtomicBool::new(true);
    let written = AtomicU32::new(0);
    let to = directory.path().join("copy");
    let made = std::thread::scope(|scope| {
        scope.spawn(|| {
            while copying.load(Ordering::Relaxed) {
                let name = format!("small-{}", written.load(Ordering::Relaxed));
                record(&mut writer, &name, 1);
                written.fetch_add(1, Ordering::Relaxed);
            }
        });
        while written.load(Ordering::Relaxed) == 0 {
            std::thread::yield_now();
        }
        let made = reader.backup(&to);
        copying.store(false, Ordering::Relaxed);
        made
    });
    made.unwrap();
    let copied = Database::open_read_only(&to).unwrap();
    assert!(brews(&copied).contains(&"large".to_owned()));
}

#[test]
fn a_copy_that_fails_leaves_nothing_behind_and_names_what_is_damaged() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    record(&mut database, "2026-0412", 5_000);
    database.close().unwrap();
    let path = directory.path().join(FILE_NAME);
    let mut bytes = fs::read(&path).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle..middle + 40_000].fill(0xa5);
    fs::write(&path, bytes).unwrap();
    let to = directory.path().join("copy");
    let reader = Database::open_read_only(directory.path()).unwrap();
    let error = reader.backup(&to).unwrap_err();
    assert!(matches!(error, StoreError::DamagedSource { .. }), "{error}");
    assert!(
        error.to_string().contains(&path.display().to_string()),
        "{error}"
    );
    assert_eq!(fs::read_dir(&to).unwrap().count(), 0);
}

#[test]
fn a_copy_is_put_back_without_the_log_of_the_record_it_replaces_and_gives_no_number_again() {
    let directory = tempdir().unwrap();
    let store = directory.path().join("store");
    let mut database = Database::open(&store).unwrap();
    record(&mut database, "before", 10);
    let tun = database.find_tun("north-yard", "tun-1").unwrap().unwrap();
    database.next_sequences(tun, 100).unwrap();
    let copy = directory.path().join("copy");
    database.backup(&copy).unwrap();
    record(&mut database, "after", 10_000);
    let given_out = database.next_sequences(tun, 5_000_000).unwrap().end;
    let in_use = Database::restore(&store, &copy, wall(0.0)).unwrap_err();
    assert!(matches!(in_use, StoreError::InUse { .. }), "{in_use}");

    // As a killed service leaves it: with a log beside the file.
    let killed = directory.path().join("killed");
    fs::create_dir(&killed).unwrap();
    for entry in fs::read_dir(&store).unwrap().map(Result::unwrap) {
        fs::copy(entry.path(), killed.join(entry.file_name())).unwrap();
    }
    let log = killed.join(format!("{FILE_NAME}-wal"));
    assert!(fs::metadata(&log).unwrap().len() > 0);
    let (_, aside) = Database::restore(&killed, &copy, wall(0.0)).unwrap();
    assert!(!log.exists());
    assert!(aside.expect("the record of before is kept").is_file());
    let mut restored = Database::open(&killed).unwrap();
    assert_eq!(restored.lost(), None);
    restored.check().unwrap();
    assert_eq!(brews(&restored), ["before"]);
    let tun = restored.find_tun("north-yard", "tun-1").unwrap().unwrap();
    let next = restored.next_sequences(tun, 1).unwrap().start;
    assert!(next >= given_out, "{next} after {given_out}");

    // Where nothing is known of the numbers they are moved far on.
    let elsewhere = directory.path().join("elsewhere");
    Database::restore(&elsewhere, &copy, wall(0.0)).unwrap();
    let mut restored = Database::open(&elsewhere).unwrap();
    assert!(restored.next_sequences(tun, 1).unwrap().start > 100_000_000);
}

#[test]
fn a_new_record_after_damage_goes_on_with_the_numbers_of_the_old_one() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let given_out = database.next_sequences(tun, 4711).unwrap().end;
    drop(database);
    fs::write(directory.path().join(FILE_NAME), [b'x'; 8192]).unwrap();
    Database::open(directory.path()).unwrap_err();
    Database::move_away(directory.path(), wall(0.0)).unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    assert_eq!(database.next_sequences(tun, 1).unwrap().start, given_out);
}

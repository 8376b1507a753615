//! A record that somebody removes or replaces while the service has it open.

use std::fs;
use std::path::Path;
use std::time::Duration;

use lauterd::store::{Batch, BrewId, Database, FILE_NAME, Store, StoreParameters, TunId};
use tempfile::{TempDir, tempdir};

use crate::fixtures::{header, reading_event};

async fn store() -> (TempDir, Store, TunId, BrewId) {
    let home = tempdir().unwrap();
    let parameters = StoreParameters {
        looked_after: Duration::ZERO,
        ..StoreParameters::default()
    };
    let store = Store::open_with(&home.path().join("store"), parameters).unwrap();
    let tun = store.tun("north-yard", "tun-1").await.unwrap();
    store.next_sequences(tun, 1000).await.unwrap();
    let brew = store.begin_brew(header(tun, "2026-0412", 1)).await.unwrap();
    append(&store, tun, brew, 0.0).await;
    (home, store, tun, brew)
}

async fn append(store: &Store, tun: TunId, brew: BrewId, second: f64) {
    let batch = Batch {
        events: vec![reading_event(second, 0, Ok(second))],
        ..Batch::new(tun, Some(brew))
    };
    store.append(batch).await.unwrap();
}

/// The readings' values as they stand in the directory.
fn recorded(directory: &Path) -> Vec<f64> {
    let database = Database::open_read_only(directory).unwrap();
    let tun = database.find_tun("north-yard", "tun-1").unwrap().unwrap();
    let brew = database.find_brew(tun, "2026-0412").unwrap().unwrap();
    let readings = database.events(brew.id).unwrap().into_iter();
    readings
        .filter_map(|dated| match dated.event {
            lauter_core::supervisor::Event::Reading { reading, .. } => reading.value.ok(),
            _ => None,
        })
        .collect()
}

#[tokio::test]
async fn a_record_removed_with_its_directory_is_put_back_whole_and_goes_on() {
    let (home, store, tun, brew) = store().await;
    let directory = home.path().join("store");
    fs::remove_dir_all(&directory).unwrap();
    append(&store, tun, brew, 1.0).await;
    assert_eq!(recorded(&directory), [0.0, 1.0]);
    append(&store, tun, brew, 2.0).await;
    let reserved = store.next_sequences(tun, 10).await.unwrap();
    assert_eq!(reserved.start, 1001, "no number comes twice");
    store.close().await.unwrap();
    let mut names: Vec<_> = fs::read_dir(&directory)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, ["lauterd.lock", FILE_NAME]);
    assert_eq!(recorded(&directory), [0.0, 1.0, 2.0]);
    let again = Database::open(&directory).unwrap();
    assert_eq!(again.lost(), None);
}

#[tokio::test]
async fn what_stands_in_the_place_of_a_replaced_record_is_put_aside_and_the_open_one_goes_on() {
    let (home, store, tun, brew) = store().await;
    let directory = home.path().join("store");
    let other = home.path().join("other");
    Database::open(&other).unwrap().close().unwrap();
    fs::rename(other.join(FILE_NAME), directory.join(FILE_NAME)).unwrap();
    append(&store, tun, brew, 1.0).await;
    store.close().await.unwrap();
    assert_eq!(recorded(&directory), [0.0, 1.0]);
    let kept = fs::read_dir(&directory).unwrap().filter(|entry| {
        let name = entry.as_ref().unwrap().file_name();
        let name = name.to_string_lossy();
        name.contains(".replaced-") && !name.ends_with("-wal") && !name.ends_with("-shm")
    });
    assert_eq!(kept.count(), 1);
}

#[tokio::test]
async fn while_the_record_cannot_be_put_back_nothing_is_taken_and_afterwards_nothing_is_missing() {
    let (home, store, tun, brew) = store().await;
    let directory = home.path().join("store");
    fs::remove_dir_all(&directory).unwrap();
    fs::write(&directory, "in the way").unwrap();
    let batch = Batch {
        events: vec![reading_event(1.0, 0, Ok(1.0))],
        ..Batch::new(tun, Some(brew))
    };
    let error = store.append(batch).await.unwrap_err();
    assert!(error.to_string().contains("a file stands there"), "{error}");
    assert!(store.health().last_error.is_some());
    fs::remove_file(&directory).unwrap();
    append(&store, tun, brew, 1.0).await;
    store.close().await.unwrap();
    assert_eq!(recorded(&directory), [0.0, 1.0]);
}

#[tokio::test]
async fn a_removed_lock_file_is_made_again_with_what_stood_in_it() {
    let (home, store, tun, brew) = store().await;
    let directory = home.path().join("store");
    fs::remove_dir_all(&directory).unwrap();
    append(&store, tun, brew, 1.0).await;
    let error = Database::open(&directory).unwrap_err();
    assert!(error.to_string().contains("in use"), "{error}");
    store.close().await.unwrap();
    fs::remove_file(directory.join(FILE_NAME)).unwrap();
    let mut fresh = Database::open(&directory).unwrap();
    assert!(fresh.lost().is_some(), "there was a record");
    let tun = fresh.tun("north-yard", "tun-1").unwrap();
    assert!(fresh.next_sequences(tun, 1).unwrap().start >= 1000);
}

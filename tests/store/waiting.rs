//! What waits for a disk that does not answer, or for a record that is not there yet.

use std::sync::mpsc;
use std::time::Duration;

use lauterd::store::{
    Batch, BrewEnd, Database, FinishedBrew, MessageClass, Publisher, Store, StoreError, Stretch,
};
use tempfile::tempdir;

use crate::fixtures::{alarm, at, header, message, wall};

/// Keeps the store's thread busy until the sender is dropped or used.
async fn stall(store: &Store) -> mpsc::Sender<()> {
    let (begun, has_begun) = tokio::sync::oneshot::channel();
    let (release, held) = mpsc::channel::<()>();
    let store = store.clone();
    tokio::spawn(async move {
        let job = move |_: &mut Database| {
            let _ = begun.send(());
            let _ = held.recv();
            Ok(())
        };
        store.run(job).await
    });
    has_begun.await.unwrap();
    release
}

#[tokio::test]
async fn a_caller_in_a_hurry_is_told_that_the_disk_does_not_answer_and_nothing_is_done_behind_its_back()
 {
    let directory = tempdir().unwrap();
    let store = Store::open(directory.path()).unwrap();
    let tun = store.tun("north-yard", "tun-1").await.unwrap();
    let release = stall(&store).await;
    let hurried = store.within(Duration::from_millis(20));
    let batch = Batch {
        outputs: vec![alarm(1.0)],
        ..Batch::new(tun, None)
    };
    let refused = hurried.append(batch).await;
    assert!(matches!(refused, Err(StoreError::Stalled)), "{refused:?}");
    assert!(
        store
            .health()
            .last_error
            .unwrap()
            .contains("does not answer")
    );
    drop(release);
    let alarms = store.run(move |db| db.idle_alarms(tun)).await.unwrap();
    assert!(alarms.is_empty());
}

#[tokio::test]
async fn a_stretch_waits_for_the_disk_and_is_written_once_with_its_brews_beginning_and_end() {
    let directory = tempdir().unwrap();
    let store = Store::open(directory.path()).unwrap();
    let tun = store.tun("north-yard", "tun-1").await.unwrap();
    let release = stall(&store).await;
    let stretch = Stretch {
        begins: Some(header(tun, "2026-0412", 1)),
        replaces: true,
        ends: Some(BrewEnd {
            finished: FinishedBrew {
                ended: wall(60.0),
                ended_at: at(60.0),
                summary: None,
            },
            lesson: None,
        }),
        ..Stretch::new(Batch {
            outputs: vec![alarm(1.0)],
            messages: vec![message(Publisher::Mqtt, MessageClass::Record, "{}")],
            ..Batch::new(tun, None)
        })
    };
    let mut writing = store.write(Box::new(stretch)).unwrap();
    assert!(writing.within(Duration::from_millis(20)).await.is_none());
    drop(release);
    let (rest, written) = writing
        .within(Duration::from_secs(60))
        .await
        .expect("in time")
        .unwrap();
    written.unwrap();
    assert!(rest.is_empty());
    let outbox = store.outbox(tun, Publisher::Mqtt, 0, 10).await.unwrap();
    assert_eq!(rest.rows, outbox);
    assert_eq!(outbox.len(), 1);
    // Once more is not twice.
    let again = store
        .write(rest)
        .unwrap()
        .within(Duration::from_secs(60))
        .await;
    again.expect("in time").unwrap().1.unwrap();
    let brews = store.run(move |db| db.brews(tun)).await.unwrap();
    assert_eq!(brews.len(), 1);
    let id = brews[0].id;
    assert_eq!(brews[0].finished.as_ref().unwrap().ended_at, at(60.0));
    let alarms = store.run(move |db| db.alarms(id)).await.unwrap();
    assert_eq!(alarms.len(), 1);
}

#[test]
fn a_brew_begun_without_sight_of_the_record_replaces_none_in_it() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    database.begin_brew(&header(tun, "2026-0412", 1)).unwrap();
    for replaces in [false, false, true] {
        let mut stretch = Stretch {
            begins: Some(header(tun, "2026-0412", 1)),
            replaces,
            ..Stretch::new(Batch::new(tun, None))
        };
        database.write_stretch(&mut stretch).unwrap();
    }
    let brews = database.brews(tun).unwrap().into_iter();
    let mut names: Vec<String> = brews.map(|brew| brew.header.plan.brew).collect();
    names.sort();
    assert_eq!(names, ["2026-0412", "2026-0412-part-2", "2026-0412-part-3"]);
}

#[tokio::test]
async fn a_store_that_cannot_be_opened_yet_is_opened_by_the_first_call_that_can() {
    let directory = tempdir().unwrap();
    // As a start finds it while an earlier part of the same process still closes the record.
    let first = Database::open(directory.path()).unwrap();
    let store = Store::start(directory.path(), Duration::from_secs(60))
        .await
        .unwrap();
    assert!(store.tun("north-yard", "tun-1").await.is_err());
    assert!(store.health().last_error.is_some());
    first.close().unwrap();
    store.tun("north-yard", "tun-1").await.unwrap();
    // What does not pass by itself is a fault at once.
    let file = directory.path().join("file");
    std::fs::write(&file, "").unwrap();
    let refused = Store::start(&file, Duration::from_secs(60)).await;
    assert!(matches!(refused, Err(StoreError::Directory { .. })));
}

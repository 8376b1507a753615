//! The outbox, sequence numbers, profiles and the handle.

use std::sync::mpsc;

use lauterd::store::{
    Batch, Database, JOBS_BOUND, MessageClass, Publisher, Sequencer, Store, StoreError,
    StoreParameters,
};
use proptest::prelude::*;
use tempfile::tempdir;

use crate::fixtures::{alarm, header, message, wall};

#[test]
fn a_message_waits_until_it_is_acknowledged() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let messages = vec![
        message(Publisher::Mqtt, MessageClass::Record, "one"),
        message(Publisher::Influx, MessageClass::Reading, "two"),
        message(Publisher::Mqtt, MessageClass::State, "three"),
    ];
    let batch = Batch {
        messages: messages.clone(),
        ..Batch::new(tun, None)
    };
    let ids = database.append(&batch).unwrap().messages;
    assert_eq!(ids.len(), 3);
    let waiting = database.outbox(tun, Publisher::Mqtt, 0, 10).unwrap();
    assert_eq!(
        waiting.iter().map(|m| m.id).collect::<Vec<_>>(),
        [ids[0], ids[2]]
    );
    assert_eq!(waiting[0].message, messages[0]);
    let later = database.outbox(tun, Publisher::Mqtt, ids[0], 10).unwrap();
    assert_eq!(later.len(), 1);
    let backlog = database.backlog(tun, Publisher::Mqtt).unwrap();
    assert_eq!((backlog.depth, backlog.oldest), (2, Some(wall(0.0))));
    // Twice: a receiver may repeat itself.
    database.acknowledge(&[ids[0], ids[1]]).unwrap();
    database.acknowledge(&[ids[0], ids[1]]).unwrap();
    assert_eq!(database.backlog(tun, Publisher::Mqtt).unwrap().depth, 1);
    assert_eq!(database.backlog(tun, Publisher::Influx).unwrap().depth, 0);
    drop(database);
    let mut database = Database::open(directory.path()).unwrap();
    assert_eq!(database.backlog(tun, Publisher::Mqtt).unwrap().depth, 1);
    database.acknowledge(&[ids[2]]).unwrap();
    let batch = Batch {
        messages: vec![message(Publisher::Mqtt, MessageClass::Record, "four")],
        ..Batch::new(tun, None)
    };
    let fourth = database.append(&batch).unwrap().messages[0];
    assert!(fourth > ids[2], "an id must never be used again");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn the_outbox_stays_bounded_and_gives_up_readings_first(
        classes in proptest::collection::vec(0..10_u8, 100..400),
    ) {
        let directory = tempdir().unwrap();
        let parameters = StoreParameters { outbox_rows: 100, ..StoreParameters::default() };
        let mut database = Database::open_with(directory.path(), parameters).unwrap();
        let tun = database.tun("north-yard", "tun-1").unwrap();
        let mut records = Vec::new();
        for class in &classes {
            let class = match class {
                0 => MessageClass::Record,
                1 => MessageClass::State,
                _ => MessageClass::Reading,
            };
            let batch = Batch {
                messages: vec![message(Publisher::Influx, class, "x")],
                ..Batch::new(tun, None)
            };
            let id = database.append(&batch).unwrap().messages[0];
            if class == MessageClass::Record {
                records.push(id);
            }
            prop_assert!(database.backlog(tun, Publisher::Influx).unwrap().depth <= 100);
        }
        let waiting = database.outbox(tun, Publisher::Influx, 0, 1000).unwrap();
        prop_assert_eq!(waiting.len() as u64, database.backlog(tun, Publisher::Influx).unwrap().depth);
        prop_assert_eq!(waiting.len() as u64 + database.thinned(), classes.len() as u64);
        let kept: Vec<i64> = waiting
            .iter()
            .filter(|m| m.message.class == MessageClass::Record)
            .map(|m| m.id)
            .collect();
        if records.len() <= 90 {
            prop_assert_eq!(kept, records);
        }
    }
}

#[test]
fn thinning_leaves_a_coarser_history_instead_of_a_hole() {
    let directory = tempdir().unwrap();
    let parameters = StoreParameters {
        outbox_rows: 1000,
        ..StoreParameters::default()
    };
    let mut database = Database::open_with(directory.path(), parameters).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let batch = Batch {
        messages: vec![message(Publisher::Influx, MessageClass::Reading, "x"); 1010],
        ..Batch::new(tun, None)
    };
    let ids = database.append(&batch).unwrap().messages;
    let waiting = database.outbox(tun, Publisher::Influx, 0, 2000).unwrap();
    assert_eq!(waiting.len(), 990);
    assert_eq!(waiting[0].id, ids[0]);
    let widest = waiting.windows(2).map(|pair| pair[1].id - pair[0].id).max();
    assert_eq!(widest, Some(2));
}

#[test]
fn profiles_keep_their_versions() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    assert_eq!(database.profile(tun).unwrap(), None);
    assert_eq!(
        database
            .save_profile(tun, wall(1.0), Some("a"), "{}")
            .unwrap(),
        1
    );
    assert_eq!(
        database.save_profile(tun, wall(2.0), None, "[]").unwrap(),
        2
    );
    assert_eq!(database.profile(tun).unwrap().unwrap().body, "[]");
    assert_eq!(database.profile_history(tun).unwrap().len(), 2);
}

#[tokio::test]
async fn sequence_numbers_go_on_after_an_opening_and_per_tun() {
    let directory = tempdir().unwrap();
    let mut last = 0;
    for _ in 0..3 {
        let store = Store::open(directory.path()).unwrap();
        let tun = store.tun("north-yard", "tun-1").await.unwrap();
        let mut sequencer = Sequencer::new(store.clone(), tun);
        for _ in 0..1500 {
            let next = sequencer.next().await.unwrap();
            assert!(next > last);
            last = next;
        }
        store.close().await.unwrap();
    }
    let store = Store::open(directory.path()).unwrap();
    let other = store.tun("north-yard", "tun-2").await.unwrap();
    assert_eq!(Sequencer::new(store, other).next().await.unwrap(), 1);
}

#[tokio::test]
async fn a_receipt_means_that_another_reader_finds_the_alarm() {
    let directory = tempdir().unwrap();
    let store = Store::open(directory.path()).unwrap();
    let tun = store.tun("north-yard", "tun-1").await.unwrap();
    let brew = store.begin_brew(header(tun, "2026-0412", 1)).await.unwrap();
    let batch = Batch {
        outputs: vec![alarm(1.0)],
        messages: vec![message(Publisher::Mqtt, MessageClass::Record, "alarm")],
        ..Batch::new(tun, Some(brew))
    };
    let receipt = store.append(batch).await.unwrap();
    let reader = Database::open_read_only(directory.path()).unwrap();
    assert_eq!(reader.alarms(brew).unwrap().len(), 1);
    let waiting = reader.outbox(tun, Publisher::Mqtt, 0, 9).unwrap();
    assert_eq!(waiting[0].id, receipt.messages[0]);
}

#[tokio::test]
async fn a_stalled_thread_refuses_offers_counts_them_and_gives_them_back() {
    let directory = tempdir().unwrap();
    let store = Store::open(directory.path()).unwrap();
    let tun = store.tun("north-yard", "tun-1").await.unwrap();
    let brew = store.begin_brew(header(tun, "2026-0412", 1)).await.unwrap();
    let (stalled, begun) = tokio::sync::oneshot::channel();
    let (release, held) = mpsc::channel::<()>();
    let stall = {
        let store = store.clone();
        tokio::spawn(async move {
            store
                .run(move |_| {
                    let _ = stalled.send(());
                    let _ = held.recv();
                    Ok(())
                })
                .await
        })
    };
    begun.await.unwrap();
    let batch = Batch {
        outputs: vec![alarm(1.0)],
        ..Batch::new(tun, Some(brew))
    };
    for _ in 0..JOBS_BOUND {
        store.offer(batch.clone()).unwrap();
    }
    assert_eq!(store.offer(batch.clone()), Err(batch.clone()));
    assert_eq!(store.health().refused, 1);
    assert_eq!(store.health().queued, JOBS_BOUND);
    release.send(()).unwrap();
    stall.await.unwrap().unwrap();
    store.append(batch).await.unwrap();
    let alarms = store.run(move |db| db.alarms(brew)).await.unwrap();
    assert_eq!(alarms.len(), JOBS_BOUND + 1);
}

#[tokio::test]
async fn a_long_query_does_not_hold_up_a_batch() {
    let directory = tempdir().unwrap();
    let store = Store::open(directory.path()).unwrap();
    let tun = store.tun("north-yard", "tun-1").await.unwrap();
    let brew = store.begin_brew(header(tun, "2026-0412", 1)).await.unwrap();
    let (release, held) = mpsc::channel::<()>();
    let long = tokio::spawn({
        let store = store.clone();
        async move {
            store
                .read(move |database| {
                    let before = database.alarms(brew)?.len();
                    let _ = held.recv();
                    Ok((before, database.alarms(brew)?.len()))
                })
                .await
        }
    });
    let batch = Batch {
        outputs: vec![alarm(1.0)],
        ..Batch::new(tun, Some(brew))
    };
    store.append(batch).await.unwrap();
    release.send(()).unwrap();
    let (before, after) = long.await.unwrap().unwrap();
    assert!(before <= 1);
    assert_eq!(after, 1);
}

#[tokio::test]
async fn closing_does_what_waits_and_refuses_what_comes_later() {
    let directory = tempdir().unwrap();
    let store = Store::open(directory.path()).unwrap();
    let tun = store.tun("north-yard", "tun-1").await.unwrap();
    let batch = Batch {
        messages: vec![message(Publisher::Mqtt, MessageClass::Record, "last")],
        ..Batch::new(tun, None)
    };
    store.offer(batch).unwrap();
    store.close().await.unwrap();
    assert!(matches!(store.flush().await, Err(StoreError::Closed)));
    let mut database = Database::open(directory.path()).unwrap();
    assert_eq!(database.backlog(tun, Publisher::Mqtt).unwrap().depth, 1);
}

#[tokio::test]
async fn a_failed_offer_shows_in_the_health_until_a_batch_is_taken_in() {
    let directory = tempdir().unwrap();
    let store = Store::open(directory.path()).unwrap();
    let tun = store.tun("north-yard", "tun-1").await.unwrap();
    let brew = store.begin_brew(header(tun, "2026-0412", 1)).await.unwrap();
    store.begin_brew(header(tun, "2026-0412", 1)).await.unwrap();
    let orphan = Batch {
        outputs: vec![alarm(1.0)],
        ..Batch::new(tun, Some(brew))
    };
    store.offer(orphan).unwrap();
    store.flush().await.unwrap();
    let health = store.health();
    assert_eq!(health.failed, 1);
    assert!(health.last_error.unwrap().contains("no brew"));
    store.append(Batch::new(tun, None)).await.unwrap();
    assert_eq!(store.health().last_error, None);
}

//! Two processes and a killed one. The second process is this test binary with one test asked for.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};

use lauterd::store::{Batch, Database, DatedEvent, StoreError, StoreParameters};
use tempfile::tempdir;

use crate::fixtures::{conditioned, header, reading_event, sample_event};

const DIRECTORY: &str = "LAUTERD_TEST_STORE_DIRECTORY";

/// Not a test of its own: the other process. Writes until it is killed.
#[test]
fn the_other_process() {
    let Some(directory) = std::env::var_os(DIRECTORY) else {
        return;
    };
    let parameters = StoreParameters {
        packed_rows: 5,
        ..StoreParameters::default()
    };
    let mut database = Database::open_with(Path::new(&directory), parameters).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brew = database.begin_brew(&header(tun, "2026-0412", 1)).unwrap();
    let mut out = std::io::stderr();
    for count in 0.. {
        let sequences = database.next_sequences(tun, 10).unwrap();
        let batch = Batch {
            events: events(count).to_vec(),
            outputs: vec![conditioned(f64::from(count), 0, 12.0)],
            ..Batch::new(tun, Some(brew))
        };
        database.append(&batch).unwrap();
        database.pack_slice().unwrap();
        writeln!(out, "done {count} {}", sequences.end).unwrap();
    }
}

/// What belongs to one commit.
fn events(count: u32) -> [DatedEvent; 3] {
    let time = f64::from(count);
    [
        sample_event(time, 12.0),
        reading_event(time, 0, Ok(time)),
        reading_event(time, 0, Ok(12.5)),
    ]
}

fn start(directory: &Path) -> (Child, impl Iterator<Item = (u64, u64)>) {
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args(["process::the_other_process", "--exact", "--nocapture"])
        .env(DIRECTORY, directory)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let lines = BufReader::new(child.stderr.take().unwrap()).lines();
    let done = lines.map_while(Result::ok).filter_map(|line| {
        let mut words = line.strip_prefix("done ")?.split(' ');
        Some((words.next()?.parse().ok()?, words.next()?.parse().ok()?))
    });
    (child, done)
}

#[test]
fn a_second_process_is_told_who_holds_the_store() {
    let directory = tempdir().unwrap();
    let (mut child, mut done) = start(directory.path());
    done.next().expect("the other process writes");
    let error = Database::open(directory.path()).unwrap_err();
    let process = child.id();
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(
        matches!(error, StoreError::InUse { process: Some(id), .. } if id == process),
        "{error}"
    );
    Database::open(directory.path()).expect("the lock ends with its process");
}

#[test]
fn after_a_kill_everything_acknowledged_is_there_and_no_sequence_number_comes_twice() {
    let directory = tempdir().unwrap();
    let mut highest = 0;
    for _ in 0..3 {
        let (mut child, done) = start(directory.path());
        let seen: Vec<(u64, u64)> = done.take(25).collect();
        child.kill().unwrap();
        child.wait().unwrap();
        let (count, sequence_end) = *seen.last().unwrap();
        assert!(seen[0].1 > highest);
        let mut database = Database::open(directory.path()).unwrap();
        let tun = database.find_tun("north-yard", "tun-1").unwrap().unwrap();
        let brew = database.unfinished_brew(tun).unwrap().unwrap();
        let recorded = database.events(brew.id).unwrap();
        let commits = recorded.len() / 3;
        assert!(commits as u64 > count);
        let written: Vec<_> = (0..commits).flat_map(|n| events(n as u32)).collect();
        assert_eq!(recorded, written, "in rows or in a block, but once");
        assert_eq!(database.readings(brew.id).unwrap().len(), commits);
        let next = database.next_sequences(tun, 1).unwrap();
        assert!(next.start >= sequence_end);
        highest = next.end;
    }
}

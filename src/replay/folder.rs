//! Many recorded brews at once: a folder of folders, each with the files of one replay.
//!
//! Owns which folders hold a brew and the sharing of them among threads. Every brew is a replay of its own, so the
//! answers are those of replaying them one by one; only one brew a thread is in memory at any time.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;
use std::thread;

use super::{Told, fault::DataFault};
use crate::exit::Failure;

/// The files of a brew, as `lauterd brew export` and the simulators name them.
pub const DATA: &str = "RUN.csv";
pub const PLAN: &str = "plan.toml";
pub const SAMPLES: &str = "samples.csv";
pub const CORRECTIONS: &str = "corrections.jsonl";
pub const GAPS: &str = "gaps.csv";
pub const CONFIGURATION: &str = "config.toml";

/// Answers that wait for whoever shows them. Own choice: a few brews a thread.
const WAITING_ANSWERS: usize = 16;

/// What became of one brew.
pub type Outcome = Result<Told, Failure>;

/// The folders with a brew: `folder` itself, or those in it, by name. One with a plan counts, so that a recording that is
/// missing or misnamed is told and not passed over.
pub fn brews(folder: &Path) -> Result<Vec<PathBuf>, DataFault> {
    if folder.join(DATA).is_file() {
        return Ok(vec![folder.to_owned()]);
    }
    let unreadable = |error: std::io::Error| match error.kind() {
        std::io::ErrorKind::NotFound => DataFault::Missing(folder.to_owned()),
        _ => DataFault::Unreadable {
            path: folder.to_owned(),
            reason: error.to_string(),
        },
    };
    let mut brews = Vec::new();
    for entry in fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        if [DATA, PLAN].iter().any(|name| path.join(name).is_file()) {
            brews.push(path);
        }
    }
    brews.sort_unstable();
    if brews.is_empty() {
        let text = format!("there is no brew in it; each needs a folder with {DATA} and {PLAN}");
        let path = folder.to_owned();
        return Err(DataFault::Empty { path, text });
    }
    Ok(brews)
}

/// Replays every brew on `threads` threads; `each` is told every outcome as it comes, with the brew's index.
pub fn replay_all(
    brews: &[PathBuf],
    threads: usize,
    replay: &(dyn Fn(&Path) -> Outcome + Sync),
    mut each: impl FnMut(usize, Outcome),
) {
    let next = AtomicUsize::new(0);
    let (done, outcomes) = mpsc::sync_channel(WAITING_ANSWERS);
    thread::scope(|scope| {
        for _ in 0..threads.clamp(1, brews.len().max(1)) {
            let (done, next) = (done.clone(), &next);
            scope.spawn(move || {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    let Some(brew) = brews.get(index) else { break };
                    if done.send((index, replay(brew))).is_err() {
                        break;
                    }
                }
            });
        }
        drop(done);
        for (index, outcome) in outcomes {
            each(index, outcome);
        }
    });
}

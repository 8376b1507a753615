//! `bdSeq`: the number that ties a node's death to its birth, one higher with each connection.
//!
//! Owns the number from one start of the program to the next, in a file of its own: a will that a broker still holds from
//! before a restart must not look like that of the new connection.

use std::io;
use std::path::{Path, PathBuf};

/// Gives the number of the next connection.
#[derive(Debug)]
pub struct BirthNumbers {
    file: PathBuf,
    last: Option<u8>,
    /// The file's trouble has been told.
    told: bool,
}

impl BirthNumbers {
    pub fn of(file: PathBuf) -> Self {
        Self {
            file,
            last: None,
            told: false,
        }
    }

    /// 0 to 255, then 0 again. A file that cannot be kept costs only the memory over a restart.
    pub async fn next(&mut self) -> u8 {
        if self.last.is_none() {
            let text = tokio::fs::read_to_string(&self.file).await;
            self.last = text.ok().and_then(|text| text.trim().parse().ok());
        }
        let next = self.last.map_or(0, |last| last.wrapping_add(1));
        self.last = Some(next);
        if let Err(error) = keep(&self.file, next).await
            && !std::mem::replace(&mut self.told, true)
        {
            tracing::warn!(
                "Sparkplug: {}: {error}; bdSeq begins anew after a restart",
                self.file.display()
            );
        }
        next
    }
}

async fn keep(file: &Path, number: u8) -> io::Result<()> {
    // The first connection may come before the record has made its directory.
    if let Some(directory) = file.parent() {
        tokio::fs::create_dir_all(directory).await?;
    }
    let beside = file.with_extension("new");
    tokio::fs::write(&beside, format!("{number}\n")).await?;
    tokio::fs::rename(&beside, file).await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn numbers_go_on_over_a_restart_and_begin_anew_after_255() {
        let directory = tempfile::tempdir().expect("a directory");
        let file = directory.path().join("store/sparkplug-node");
        let mut numbers = BirthNumbers::of(file.clone());
        assert_eq!((numbers.next().await, numbers.next().await), (0, 1));
        let mut restarted = BirthNumbers::of(file.clone());
        assert_eq!(restarted.next().await, 2);
        tokio::fs::write(&file, "255").await.expect("written");
        assert_eq!(BirthNumbers::of(file.clone()).next().await, 0);
        tokio::fs::write(&file, "junk").await.expect("written");
        assert_eq!(BirthNumbers::of(file).next().await, 0);
    }

    #[tokio::test]
    async fn without_a_place_for_the_file_the_numbers_still_grow() {
        let mut numbers = BirthNumbers::of(PathBuf::from("/dev/null/at/all"));
        assert_eq!((numbers.next().await, numbers.next().await), (0, 1));
    }
}

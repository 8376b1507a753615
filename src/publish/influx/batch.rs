//! Rows gathered into one request.
//!
//! Owns which rows go together, and cutting them apart again. The lines stand in the body as they will be sent, so
//! that a row costs no text of its own while it is on its way, and neither a second try nor a half copies them.

use std::time::Duration;

use bytes::Bytes;
use tokio::sync::mpsc;
use tokio::time::sleep;

/// A point as a line of line protocol, with its id in the outbox.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    pub id: i64,
    pub line: String,
}

/// What a batch knows of one of its rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Placed {
    id: i64,
    /// Bytes in the body, with the line break.
    length: usize,
}

/// Rows of one request, in order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Batch {
    rows: Vec<Placed>,
    body: Bytes,
}

impl Batch {
    pub(super) fn new(rows: &[Row]) -> Self {
        let mut body = String::with_capacity(rows.iter().map(|row| row.line.len() + 1).sum());
        let place = |row: &Row| {
            body.push_str(&row.line);
            body.push('\n');
            Placed {
                id: row.id,
                length: row.line.len() + 1,
            }
        };
        Self {
            rows: rows.iter().map(place).collect(),
            body: body.into(),
        }
    }

    pub(super) fn len(&self) -> usize {
        self.rows.len()
    }

    pub(super) fn ids(&self) -> impl Iterator<Item = i64> {
        self.rows.iter().map(|row| row.id)
    }

    /// The lines, each with its line break; they are shared, not copied.
    pub(super) fn body(&self) -> Bytes {
        self.body.clone()
    }

    /// Keeps the first `count` rows, at most all, and gives the others.
    pub(super) fn split_off(&mut self, count: usize) -> Self {
        let rows = self.rows.split_off(count);
        let kept = self.rows.iter().map(|row| row.length).sum();
        Self {
            rows,
            body: self.body.split_off(kept),
        }
    }
}

/// Makes batches of what comes in.
#[derive(Debug)]
pub(super) struct Gatherer {
    pub(super) rows: mpsc::Receiver<Row>,
    /// How long the first row of a batch may wait for others.
    pub(super) every: Duration,
    /// Rows of a full batch, 1 or more.
    pub(super) full: usize,
}

impl Gatherer {
    /// The next batch: as many rows as fit, or what has come within `every`. None when every feed is gone.
    pub(super) async fn next(&mut self) -> Option<Batch> {
        let mut rows = vec![self.rows.recv().await?];
        let pause = sleep(self.every);
        tokio::pin!(pause);
        while rows.len() < self.full {
            let room = self.full - rows.len();
            tokio::select! {
                () = &mut pause => break,
                count = self.rows.recv_many(&mut rows, room) => if count == 0 { break },
            }
        }
        Some(Batch::new(&rows))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn rows(lines: &[String]) -> Vec<Row> {
        let number = |(id, line): (i64, &String)| Row {
            id,
            line: line.clone(),
        };
        (1..).zip(lines).map(number).collect()
    }

    proptest! {
        #[test]
        fn a_part_cut_off_is_the_batch_that_its_rows_alone_would_make(
            lines in prop::collection::vec(any::<String>(), 1..12),
            cut in any::<prop::sample::Index>(),
        ) {
            let rows = rows(&lines);
            let count = cut.index(rows.len() + 1);
            let mut first = Batch::new(&rows);
            let second = first.split_off(count);
            prop_assert_eq!(first, Batch::new(&rows[..count]));
            prop_assert_eq!(second, Batch::new(&rows[count..]));
        }
    }
}

//! Rows of one request.
//!
//! Owns which rows go together, and cutting them apart again. The lines stand in the body as they will be sent, so
//! that a row costs no text of its own while it is on its way, and neither a second try nor a half copies them.

use bytes::{Bytes, BytesMut};

/// A point as a line of line protocol, with its id in the outbox.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Row<'a> {
    pub id: i64,
    pub line: &'a str,
}

/// What a batch knows of one of its rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Placed {
    id: i64,
    /// Bytes in the body, with the line break.
    length: usize,
}

/// A batch that still grows.
#[derive(Debug, Default)]
pub(super) struct Draft {
    rows: Vec<Placed>,
    body: BytesMut,
}

impl Draft {
    pub(super) fn push(&mut self, row: Row<'_>) {
        self.body.extend_from_slice(row.line.as_bytes());
        self.body.extend_from_slice(b"\n");
        self.rows.push(Placed {
            id: row.id,
            length: row.line.len() + 1,
        });
    }

    pub(super) fn len(&self) -> usize {
        self.rows.len()
    }

    /// What has been gathered. The next has room for as much at once.
    pub(super) fn close(&mut self) -> Batch {
        let next = Self {
            rows: Vec::with_capacity(self.rows.len()),
            body: BytesMut::with_capacity(self.body.len()),
        };
        let Self { rows, body } = std::mem::replace(self, next);
        Batch {
            rows,
            body: body.freeze(),
        }
    }
}

/// Rows of one request, in order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Batch {
    rows: Vec<Placed>,
    body: Bytes,
}

impl Batch {
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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn batch(numbered: &[(i64, &String)]) -> Batch {
        let mut draft = Draft::default();
        for (id, line) in numbered {
            draft.push(Row { id: *id, line });
        }
        draft.close()
    }

    proptest! {
        #[test]
        fn a_part_cut_off_is_the_batch_that_its_rows_alone_would_make(
            lines in prop::collection::vec(any::<String>(), 1..12),
            cut in any::<prop::sample::Index>(),
        ) {
            let rows: Vec<(i64, &String)> = (1..).zip(&lines).collect();
            let count = cut.index(rows.len() + 1);
            let mut first = batch(&rows);
            let second = first.split_off(count);
            prop_assert_eq!(first, batch(&rows[..count]));
            prop_assert_eq!(second, batch(&rows[count..]));
        }
    }
}

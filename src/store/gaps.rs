//! When nobody watched during a brew, as a file that `replay` reads again.

use std::io::{self, Write};

use lauter_core::reading::Moment;
use lauter_core::supervisor::{Event, Unwatched};

use super::DatedEvent;
use super::encoding::name_of;
use super::export::elapsed_s;

/// Columns of the file: when the watch went on, since when there was none, and why.
pub const GAP_COLUMNS: [&str; 3] = ["elapsed_s", "since_s", "why"];

/// A time of which a brew's record has nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Gap {
    /// When the watch went on.
    pub at: Moment,
    pub since: Moment,
    pub why: Unwatched,
}

/// The gaps in a brew's record, in order.
pub fn gaps(events: &[DatedEvent]) -> Vec<Gap> {
    let gap = |dated: &DatedEvent| match dated.event {
        Event::Interrupted { since, why } => Some(Gap {
            at: dated.at,
            since,
            why,
        }),
        _ => None,
    };
    events.iter().filter_map(gap).collect()
}

pub fn write_gaps(out: impl Write, origin: Moment, gaps: &[Gap]) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record(GAP_COLUMNS)?;
    for gap in gaps {
        csv.write_record([
            elapsed_s(gap.at, origin),
            elapsed_s(gap.since, origin),
            name_of(&gap.why),
        ])?;
    }
    csv.flush()
}

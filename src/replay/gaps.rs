//! Times in which nobody watched, beside a recording: `elapsed_s,since_s,why`, as an export writes them.
//!
//! Owns the format's checks. A gap lies on the recording's own clock.

use std::path::Path;

use lauter_core::reading::Moment;
use lauter_core::supervisor::{Event, Unwatched};
use serde::Deserialize;

use super::fault::{DataFault, open};
use crate::store::GAP_COLUMNS;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    elapsed_s: f64,
    since_s: f64,
    #[serde(default)]
    why: Unwatched,
}

/// Reads all gaps in time order, each at the moment at which the watch went on.
pub fn read(path: &Path) -> Result<Vec<(Moment, Event)>, DataFault> {
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(open(path)?);
    let header = reader.headers();
    let header = header
        .map_err(|error| DataFault::from_csv(path, &error))?
        .clone();
    let needed = || format!("needed are the columns {}", GAP_COLUMNS.join(", "));
    if !header.iter().eq(GAP_COLUMNS) {
        return Err(DataFault::at(path, 1, needed()));
    }
    let mut gaps = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| DataFault::from_csv(path, &error))?;
        let line = record.position().map_or(0, csv::Position::line);
        let gap: Line = record
            .deserialize(Some(&header))
            .map_err(|error| DataFault::at(path, line, format!("{error}; {}", needed())))?;
        if !(-1e9 <= gap.since_s && gap.since_s <= gap.elapsed_s && gap.elapsed_s <= 1e9) {
            let text =
                "since_s must not be after elapsed_s, and both must be seconds from -1e9 to 1e9";
            return Err(DataFault::at(path, line, text));
        }
        let event = Event::Interrupted {
            since: Moment::from_seconds(gap.since_s),
            why: gap.why,
        };
        gaps.push((Moment::from_seconds(gap.elapsed_s), event));
    }
    gaps.sort_by_key(|(at, _)| *at);
    Ok(gaps)
}

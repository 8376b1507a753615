//! Corrections beside a recording: one JSON object a line, as an export writes them.
//!
//! Owns the format's checks. A change lies on the recording's own clock.

use std::io::{BufRead, BufReader};
use std::path::Path;

use lauter_core::calibration::Correction;
use lauter_core::reading::Moment;
use lauter_core::supervisor::Event;

use super::fault::{DataFault, open};
use crate::store::Changed;

/// What the brew begins with, and what changes on the way, in time order.
#[derive(Debug, Default)]
pub struct Corrections {
    pub at_start: Vec<(usize, Correction)>,
    pub changes: Vec<(Moment, Event)>,
}

/// Reads the file; `ids` are the instruments in their order, `start` is where the brew begins.
pub fn read(path: &Path, ids: &[&str], start: Moment) -> Result<Corrections, DataFault> {
    let mut corrections = Corrections::default();
    for (line, text) in (1..).zip(BufReader::new(open(path)?).lines()) {
        let text = text.map_err(|error| DataFault::at(path, line, error.to_string()))?;
        if text.trim().is_empty() {
            continue;
        }
        let changed: Changed = serde_json::from_str(&text).map_err(|error| {
            let text = format!(
                "{error}; needed are elapsed_s, instrument and correction, as `lauterd brew export` writes them"
            );
            DataFault::at(path, line, text)
        })?;
        let Some(instrument) = ids.iter().position(|id| *id == changed.instrument) else {
            let text = format!(
                "there is no instrument \"{}\"; there are {}",
                changed.instrument,
                ids.join(", ")
            );
            return Err(DataFault::at(path, line, text));
        };
        let at = Moment::from_seconds(changed.elapsed_s);
        if at <= start {
            corrections
                .at_start
                .retain(|(known, _)| *known != instrument);
            corrections.at_start.extend(
                changed
                    .correction
                    .map(|correction| (instrument, correction)),
            );
        } else {
            let event = Event::Corrected {
                instrument,
                correction: changed.correction,
                who: changed.who,
            };
            corrections.changes.push((at, event));
        }
    }
    corrections
        .at_start
        .sort_by_key(|(instrument, _)| *instrument);
    corrections.changes.sort_by_key(|(at, _)| *at);
    Ok(corrections)
}

//! When instruments were corrected by what during a brew, as a file that `replay` reads again: one JSON object a line.

use std::io::{self, Write};

use lauter_core::calibration::Correction;
use lauter_core::supervisor::Event;
use serde::{Deserialize, Serialize};

use super::{BrewHeader, DatedEvent};

/// From a moment on an instrument is corrected by this, or by nothing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Changed {
    /// On the recording's own clock; the corrections that a brew began with bear its beginning.
    pub elapsed_s: f64,
    pub instrument: String,
    pub correction: Option<Correction>,
    #[serde(default)]
    pub who: String,
}

/// The corrections that a brew began with, and their changes, in order.
pub fn changes(header: &BrewHeader, events: &[DatedEvent]) -> Vec<Changed> {
    let named = |index: usize| header.instruments.get(index).map(|it| it.id.clone());
    let mut changes = Vec::new();
    for dated in events {
        let elapsed_s = dated.at.since(header.origin);
        match &dated.event {
            Event::BrewStarted { corrections, .. } => {
                for (index, correction) in corrections {
                    changes.extend(named(*index).map(|instrument| Changed {
                        elapsed_s,
                        instrument,
                        correction: Some(*correction),
                        who: String::new(),
                    }));
                }
            }
            Event::Corrected {
                instrument,
                correction,
                who,
            } => changes.extend(named(*instrument).map(|instrument| Changed {
                elapsed_s,
                instrument,
                correction: *correction,
                who: who.clone(),
            })),
            _ => {}
        }
    }
    changes
}

pub fn write_changes(mut out: impl Write, changes: &[Changed]) -> io::Result<()> {
    for change in changes {
        serde_json::to_writer(&mut out, change)?;
        out.write_all(b"\n")?;
    }
    Ok(())
}

//! What a tun said last, for those who ask.
//!
//! Owns the latest of each output. It computes nothing.

use std::collections::BTreeMap;

use lauter_core::alarm::{AlarmId, AlarmState};
use lauter_core::supervisor::{
    AlarmLine, ConditionedReading, Dated, Line, Output, ProjectionLine, RunoffState,
};
use serde::{Deserialize, Serialize};

/// The same as a list of what was told, to be stored.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Kept {
    runoff: Option<RunoffState>,
    projection: Option<ProjectionLine>,
    readings: Vec<ConditionedReading>,
    alarms: Vec<AlarmLine>,
}

#[derive(Clone, Debug, Default)]
pub struct Latest {
    pub runoff: Option<RunoffState>,
    pub projection: Option<ProjectionLine>,
    readings: BTreeMap<String, ConditionedReading>,
    alarms: BTreeMap<(AlarmId, Option<String>), AlarmLine>,
}

impl From<&Latest> for Kept {
    fn from(latest: &Latest) -> Self {
        Self {
            runoff: latest.runoff.clone(),
            projection: latest.projection.clone(),
            readings: latest.readings.values().cloned().collect(),
            alarms: latest.alarms.values().cloned().collect(),
        }
    }
}

impl From<Kept> for Latest {
    fn from(kept: Kept) -> Self {
        let readings = kept.readings.into_iter();
        let alarms = kept.alarms.into_iter();
        Self {
            runoff: kept.runoff,
            projection: kept.projection,
            readings: readings
                .map(|reading| (reading.instrument.clone(), reading))
                .collect(),
            alarms: alarms
                .map(|line| ((line.alarm, line.instrument.clone()), line))
                .collect(),
        }
    }
}

impl Latest {
    pub fn note(&mut self, dated: &Dated) {
        match &dated.output {
            Output::Reading(reading) => {
                self.readings
                    .insert(reading.instrument.clone(), reading.clone());
            }
            Output::Runoff(runoff) => self.runoff = Some(runoff.clone()),
            Output::Line(Line::Projection(line)) => self.projection = Some(line.clone()),
            Output::Line(Line::Alarm(line)) | Output::Renewed(line) => {
                let key = (line.alarm, line.instrument.clone());
                if line.to == AlarmState::Normal {
                    self.alarms.remove(&key);
                } else {
                    self.alarms.insert(key, line.clone());
                }
            }
            Output::Line(Line::Summary(_)) => self.runoff = None,
            Output::Line(Line::Table(_)) | Output::Occurrence(_) | Output::Lesson(_) => {}
        }
    }

    /// A new brew has begun: what the last one projected says nothing about it.
    pub fn forget_brew(&mut self) {
        self.runoff = None;
        self.projection = None;
    }

    pub fn alarms(&self) -> Vec<Line> {
        self.alarms.values().cloned().map(Line::Alarm).collect()
    }

    /// The line of an alarm that is not normal.
    pub fn alarm(&self, alarm: AlarmId, about: Option<&str>) -> Option<&AlarmLine> {
        self.alarms.get(&(alarm, about.map(str::to_owned)))
    }

    /// In the order of `ids`.
    pub fn readings<'a>(&self, ids: impl Iterator<Item = &'a str>) -> Vec<ConditionedReading> {
        ids.filter_map(|id| self.readings.get(id).cloned())
            .collect()
    }
}

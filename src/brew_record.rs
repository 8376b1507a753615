//! One brew as the record tells it, for charts, page and report.
//!
//! Owns the gathering from the store and what joins its parts: volumes and resistances at a moment. It draws and
//! writes nothing.

use std::collections::BTreeMap;

use lauter_core::alarm::{AlarmId, AlarmState};
use lauter_core::bed::Flowing;
use lauter_core::reading::Cause;
use lauter_core::supervisor::{
    AlarmLine, Event, Occurrence, OperatorAction, ProjectionLine, RunoffState, Sample, TableLine,
};
use lauter_core::units::wort_viscosity_mpa_s;

use crate::store::{Brew, Database, StoreError};

/// A brew with what was told and reported during it.
#[derive(Clone, Debug)]
pub struct BrewRecord {
    pub brew: Brew,
    pub runoff: Vec<RunoffState>,
    pub projections: Vec<ProjectionLine>,
    pub table: Vec<TableLine>,
    /// With `elapsed_s`.
    pub samples: Vec<(f64, Sample)>,
    pub alarms: Vec<AlarmLine>,
    pub occurrences: Vec<Occurrence>,
    /// What people did about alarms, with `elapsed_s`.
    pub deeds: Vec<(f64, Deed)>,
}

/// One action on an alarm.
#[derive(Clone, Debug, PartialEq)]
pub struct Deed {
    pub alarm: AlarmId,
    pub instrument: Option<String>,
    pub who: String,
    pub action: OperatorAction,
}

/// How one instrument fared during a brew.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct InstrumentHealth {
    pub told: usize,
    pub without_value: usize,
    /// Causes and how often each was told, the commonest first.
    pub causes: Vec<(Cause, usize)>,
}

/// The bed that resistances are worked out for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BedSetting {
    pub area_m2: f64,
    pub pressure_drop_limit_kpa: f64,
    pub no_flow_l_min: f64,
    pub assumed_temperature_c: f64,
}

/// Below this share of the planned flow a pressure drop says nothing about the bed (as the core has it).
const LEAST_FLOW_SHARE: f64 = 0.3;

impl BrewRecord {
    pub fn read(database: &Database, brew: Brew) -> Result<Self, StoreError> {
        let origin = brew.header.origin;
        let undated = |pairs: Vec<(_, RunoffState)>| pairs.into_iter().map(|(_, it)| it).collect();
        Ok(Self {
            runoff: undated(database.runoff_states(brew.id)?),
            projections: database.projections(brew.id)?,
            table: database.table(brew.id)?,
            samples: database
                .samples(brew.id)?
                .into_iter()
                .map(|(at, sample)| (at.since(origin), sample))
                .collect(),
            alarms: database.alarms(brew.id)?,
            occurrences: database
                .occurrences(brew.id)?
                .into_iter()
                .map(|(_, occurrence)| occurrence)
                .collect(),
            deeds: database
                .other_events(brew.id)?
                .into_iter()
                .filter_map(|dated| match dated.event {
                    Event::Operator {
                        alarm,
                        instrument,
                        who,
                        action,
                    } => Some((
                        dated.at.since(origin),
                        Deed {
                            alarm,
                            instrument,
                            who,
                            action,
                        },
                    )),
                    _ => None,
                })
                .collect(),
            brew,
        })
    }

    /// How each instrument fared, in the order of the brew's instruments; empty once the readings' time is over.
    pub fn health(&self, database: &Database) -> Result<Vec<InstrumentHealth>, StoreError> {
        if !self.brew.readings_kept {
            return Ok(Vec::new());
        }
        let instruments = &self.brew.header.instruments;
        let mut health = vec![InstrumentHealth::default(); instruments.len()];
        let mut causes = vec![BTreeMap::<Cause, usize>::new(); instruments.len()];
        for recorded in database.readings(self.brew.id)? {
            let reading = recorded.reading;
            let place = instruments
                .iter()
                .position(|it| it.id == reading.instrument);
            let Some(place) = place else { continue };
            health[place].told += 1;
            health[place].without_value += usize::from(reading.value.is_none());
            if let Some(cause) = reading.cause {
                *causes[place].entry(cause).or_default() += 1;
            }
        }
        for (health, causes) in health.iter_mut().zip(causes) {
            health.causes = causes.into_iter().collect();
            health
                .causes
                .sort_by_key(|(_, count)| std::cmp::Reverse(*count));
        }
        Ok(health)
    }

    /// What the kettle held at a time, between the states before and after it.
    pub fn kettle_volume_l(&self, elapsed_s: f64) -> Option<f64> {
        let after = self
            .runoff
            .partition_point(|state| state.elapsed_s < elapsed_s);
        let (Some(before), Some(here)) = (
            after
                .checked_sub(1)
                .and_then(|index| self.runoff.get(index)),
            self.runoff.get(after),
        ) else {
            return self
                .runoff
                .get(after.min(self.runoff.len().checked_sub(1)?))
                .map(|state| state.kettle_volume_l);
        };
        let share = (elapsed_s - before.elapsed_s) / (here.elapsed_s - before.elapsed_s).max(1e-9);
        Some(before.kettle_volume_l + share * (here.kettle_volume_l - before.kettle_volume_l))
    }

    /// Stretches of the brew, s, in which a channel was alarmed: what was projected then is in doubt.
    pub fn channel_doubts(&self) -> Vec<(f64, f64)> {
        channel_doubts(&self.alarms)
    }

    /// The bed's resistance in a state, 1/m; None where flow or pressure drop say nothing about it.
    pub fn resistance_per_m(&self, state: &RunoffState, bed: &BedSetting) -> Option<f64> {
        let plan = &self.brew.header.plan;
        let least_l_min = LEAST_FLOW_SHARE * plan.planned_volume_l / plan.runoff_minutes;
        let flow_l_min = state.flow_l_min.filter(|flow| *flow >= least_l_min)?;
        let flowing = Flowing {
            pressure_drop_kpa: state.pressure_drop_kpa.filter(|kpa| *kpa > 0.0)?,
            flow_l_min,
            viscosity_mpa_s: wort_viscosity_mpa_s(
                state.runnings_gravity_p?,
                state
                    .runnings_temperature_c
                    .unwrap_or(bed.assumed_temperature_c),
            ),
        };
        Some(flowing.resistance_per_m(bed.area_m2))
    }

    /// Median resistance over the run-off, 1/m.
    pub fn usual_resistance_per_m(&self, bed: &BedSetting) -> Option<f64> {
        let mut all: Vec<f64> = self
            .runoff
            .iter()
            .filter_map(|state| self.resistance_per_m(state, bed))
            .collect();
        if all.is_empty() {
            return None;
        }
        all.sort_unstable_by(f64::total_cmp);
        Some(all[all.len() / 2])
    }

    /// Extract in the kettle for each kg of grist, when the run-off ended.
    pub fn extract_yield(&self) -> Option<f64> {
        let summary = self.brew.finished.as_ref()?.summary.as_ref()?;
        Some(summary.extract_kg? / self.brew.header.plan.grist_kg)
    }
}

/// One that never ended lasts for ever.
fn channel_doubts(alarms: &[AlarmLine]) -> Vec<(f64, f64)> {
    let mut stretches: Vec<(f64, f64)> = Vec::new();
    let mut since = None;
    let lines = alarms.iter();
    for line in lines.filter(|line| line.alarm == AlarmId::Channelling) {
        let is_met = matches!(
            line.to,
            AlarmState::Unacknowledged | AlarmState::Acknowledged | AlarmState::Shelved
        );
        if is_met {
            since.get_or_insert(line.elapsed_s);
        } else if let Some(from_s) = since.take() {
            stretches.push((from_s, line.elapsed_s));
        }
    }
    stretches.extend(since.map(|from_s| (from_s, f64::INFINITY)));
    stretches
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use lauter_core::alarm::Priority;

    use super::*;

    fn line(elapsed_s: f64, alarm: AlarmId, to: AlarmState) -> AlarmLine {
        AlarmLine {
            elapsed_s,
            alarm,
            instrument: None,
            from: AlarmState::Normal,
            to,
            priority: Priority::High,
            message: String::new(),
            advice: String::new(),
            evidence: BTreeMap::new(),
        }
    }

    #[test]
    fn a_projection_is_in_doubt_from_the_alarm_of_a_channel_until_its_condition_has_gone() {
        use AlarmState::{Acknowledged, Normal, ReturnedUnacknowledged, Unacknowledged};
        let alarms = [
            line(100.0, AlarmId::StuckBed, Unacknowledged),
            line(600.0, AlarmId::Channelling, Unacknowledged),
            line(660.0, AlarmId::Channelling, Acknowledged),
            line(700.0, AlarmId::StuckBed, Normal),
            line(900.0, AlarmId::Channelling, Normal),
            line(1200.0, AlarmId::Channelling, Unacknowledged),
            line(1500.0, AlarmId::Channelling, ReturnedUnacknowledged),
            line(1560.0, AlarmId::Channelling, Normal),
            line(1800.0, AlarmId::Channelling, Unacknowledged),
        ];
        let last = (1800.0, f64::INFINITY);
        assert_eq!(
            channel_doubts(&alarms),
            [(600.0, 900.0), (1200.0, 1500.0), last]
        );
    }
}

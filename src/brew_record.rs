//! One brew as the record tells it, for charts, page and report.
//!
//! Owns the gathering from the store and what joins its parts: volumes and resistances at a moment. It draws and
//! writes nothing.

use std::collections::BTreeMap;

use lauter_core::alarm::AlarmId;
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

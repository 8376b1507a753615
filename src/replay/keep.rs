//! Keeping a replayed brew in a store.
//!
//! Owns the batching of what goes into the record. The record is dated with the wall clock of the replay; its
//! moments are the recording's own.

use jiff::Timestamp;
use lauter_core::profile::{BrewLesson, TunProfile};
use lauter_core::reading::Moment;
use lauter_core::supervisor::{Dated, Event, Line, Output, SummaryLine};

use crate::clock;
use crate::engine;
use crate::exit::Failure;
use crate::store::{Batch, BrewHeader, BrewId, Database, DatedEvent, FinishedBrew, TunId};

use super::Job;

/// How many outputs go into one transaction.
const BATCH: usize = 2000;

pub(super) struct Keeper {
    database: Database,
    tun: TunId,
    brew: BrewId,
    batch: Batch,
    summary: Option<SummaryLine>,
    lesson: Option<Box<BrewLesson>>,
    profile: TunProfile,
    started: Timestamp,
    started_at: Moment,
}

impl Keeper {
    /// None where nothing is to be kept.
    pub(super) fn open(job: &Job, start: Moment) -> Result<Option<Self>, Failure> {
        let Some(directory) = &job.store else {
            return Ok(None);
        };
        let mut database = Database::open(directory)?;
        let tun = database.tun(&job.configuration.site, &job.configuration.tun.name)?;
        let profile = database.tun_profile(tun)?.without(&job.plan.brew);
        let started = clock::wall_now();
        let header = BrewHeader {
            tun,
            plan: job.plan.clone(),
            instruments: job
                .configuration
                .instruments
                .iter()
                .map(|each| each.instrument.clone())
                .collect(),
            config_digest: engine::digest(&job.configuration),
            started,
            started_at: start,
            origin: Moment::ZERO,
        };
        let brew = database.begin_brew(&header)?;
        let batch = Batch::new(tun, Some(brew));
        Ok(Some(Self {
            database,
            tun,
            brew,
            batch,
            summary: None,
            lesson: None,
            profile,
            started,
            started_at: start,
        }))
    }

    /// What other brews taught about the tun before this one.
    pub(super) fn profile(&self) -> Option<Box<TunProfile>> {
        (!self.profile.lessons.is_empty()).then(|| Box::new(self.profile.clone()))
    }

    pub(super) fn event(&mut self, event: Event, at: Moment) {
        self.batch.events.push(DatedEvent { at, event });
    }

    pub(super) fn output(&mut self, dated: Dated) -> Result<(), Failure> {
        match &dated.output {
            Output::Line(Line::Summary(summary)) => self.summary = Some(summary.clone()),
            Output::Lesson(lesson) => self.lesson = Some(lesson.clone()),
            _ => {}
        }
        self.batch.outputs.push(dated);
        if self.batch.outputs.len() >= BATCH {
            self.write()
        } else {
            Ok(())
        }
    }

    pub(super) fn close(mut self, end: Moment) -> Result<(), Failure> {
        self.write()?;
        let ran_us = end.0 - self.started_at.0;
        let ended = Timestamp::from_microsecond(self.started.as_microsecond() + ran_us)
            .unwrap_or(self.started);
        if let Some(lesson) = self.lesson.take() {
            self.database.learn(self.tun, self.brew, &lesson, ended)?;
        }
        let finished = FinishedBrew {
            ended,
            ended_at: end,
            summary: self.summary.take(),
        };
        self.database.finish_brew(self.brew, &finished)?;
        self.database.pack_brew(self.brew)?;
        Ok(self.database.close()?)
    }

    fn write(&mut self) -> Result<(), Failure> {
        let batch = std::mem::replace(&mut self.batch, Batch::new(self.tun, Some(self.brew)));
        self.database.append(&batch)?;
        self.database.pack_slice()?;
        Ok(())
    }
}

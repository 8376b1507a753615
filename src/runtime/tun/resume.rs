//! Taking up what was when the service last ended: alarms, and a brew under way.
//!
//! Owns what makes the supervisor what it was: the alarms' latest lines, the brew's checkpoint, and its recorded events
//! since then, given again.
//! Nothing of it is told or written a second time.

use lauter_core::alarm::AlarmState;
use lauter_core::reading::{Instrument, Moment};
use lauter_core::supervisor::{AlarmLine, Dated, Line, Output};

use super::Tun;
use super::checkpoint::engine_name;
use super::requests::configuration_instruments;
use crate::store::{Batch, Brew, DatedEvent, FinishedBrew, StoreError};

impl Tun {
    /// Takes up the alarms of this tun, its instruments' corrections and its unfinished brew, if there is one that can be.
    pub async fn resume(&mut self) -> Result<(), StoreError> {
        self.resume_watch().await?;
        self.load_calibration().await
    }

    async fn resume_watch(&mut self) -> Result<(), StoreError> {
        let tun = self.setting.tun;
        let (alarms, unfinished) = self
            .setting
            .store
            .read(move |database| {
                let unfinished = database.unfinished_brew(tun)?;
                let alarms =
                    database.latest_alarms(tun, unfinished.as_ref().map(|brew| brew.id))?;
                Ok((alarms, unfinished))
            })
            .await?;
        let Some(brew) = unfinished else {
            self.take_up_alarms(alarms);
            return Ok(());
        };
        let (id, engine) = (brew.id, engine_name(&self.setting.configuration));
        let mut beginning = self
            .setting
            .store
            .read(move |database| database.beginning(id, &engine))
            .await?;
        let configured = configuration_instruments(&self.setting.configuration);
        if !same_instruments(&brew.header.instruments, &configured) {
            tracing::error!(
                "brew {} was under way with other instruments than {} names now; its record ends here. Start the \
                 rest as a new brew with another id",
                brew.header.plan.brew,
                self.setting.configuration.file.display()
            );
            self.take_up_alarms(alarms);
            return self.close(&brew, beginning.events.last()).await;
        }
        let stored = beginning.checkpoint.take();
        let taken_up = stored.as_ref().is_some_and(|stored| self.take_up(stored));
        if !taken_up {
            if stored.is_some() {
                let events = self.setting.store.read(move |database| database.events(id));
                beginning.events = events.await?;
            }
            self.take_up_alarms(alarms);
        }
        let last = beginning.events.last().cloned();
        for DatedEvent { at, event } in beginning.events {
            self.last = self.last.max(at);
            self.supervisor.handle(event, at);
            while let Some(dated) = self.supervisor.poll_output() {
                self.latest.note(&dated);
                self.note_end(&dated.output);
            }
        }
        if self.supervisor.plan().is_none() {
            // It was ended, and the service went before the record said so.
            return self.close(&brew, last.as_ref()).await;
        }
        self.unwatched_since = Some(self.last);
        tracing::info!("brew {} was under way and goes on", brew.header.plan.brew);
        self.batch = Batch::new(tun, Some(brew.id));
        Ok(())
    }

    fn take_up_alarms(&mut self, lines: Vec<(Moment, AlarmLine)>) {
        for (at, line) in lines {
            let stands = line.to != AlarmState::Normal;
            if stands && self.supervisor.take_up_alarm(line.clone(), at) {
                let output = Output::Line(Line::Alarm(line));
                self.latest.note(&Dated { at, output });
            }
        }
    }

    /// Ends a brew's record with the last event in it.
    async fn close(&mut self, brew: &Brew, last: Option<&DatedEvent>) -> Result<(), StoreError> {
        let ended_at = last.map_or(brew.header.started_at, |event| event.at);
        let ended = self.setting.clock.wall(ended_at);
        self.learn(brew.id, ended).await;
        let finished = FinishedBrew {
            ended,
            ended_at,
            summary: self.summary.take(),
        };
        self.setting.store.finish_brew(brew.id, finished).await
    }
}

/// Whether a record of the first can be gone on with by the second: readings name instruments by their places, and
/// given to others they would be wrong in silence. Limits and links may have changed.
pub(in crate::runtime) fn same_instruments(
    recorded: &[Instrument],
    configured: &[Instrument],
) -> bool {
    let key = |instrument: &Instrument| {
        let Instrument {
            id, measures, unit, ..
        } = instrument;
        (id.clone(), *measures, *unit)
    };
    recorded.iter().map(key).eq(configured.iter().map(key))
}

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
use crate::engine;
use crate::store::{Batch, Brew, DatedEvent, StoreError, Stretch};

impl Tun {
    /// Takes up the alarms of this tun, its instruments' corrections and its unfinished brew, if there is one that can be.
    pub async fn resume(&mut self) -> Result<(), StoreError> {
        self.resume_watch().await?;
        self.load_calibration().await
    }

    async fn resume_watch(&mut self) -> Result<(), StoreError> {
        self.ask_last_end().await?;
        let tun = self.tun();
        let (alarms, unfinished) = self
            .setting
            .store
            .read(move |database| {
                let unfinished = match database.unfinished_brew(tun) {
                    Err(error @ StoreError::Unreadable { .. }) => Err(error.to_string()),
                    other => Ok(other?),
                };
                let known = unfinished.as_ref().ok().and_then(Option::as_ref);
                let alarms = database.latest_alarms(tun, known.map(|brew| brew.id))?;
                Ok((alarms, unfinished))
            })
            .await?;
        let unfinished = match unfinished {
            Ok(unfinished) => unfinished,
            Err(error) => {
                self.put_unreadable_aside(&error).await?;
                None
            }
        };
        let Some(brew) = unfinished else {
            self.take_up_alarms(alarms);
            return Ok(());
        };
        let (id, engine) = (brew.id, engine_name(&self.setting.configuration));
        let beginning = self
            .setting
            .store
            .read(move |database| database.beginning(id, &engine))
            .await;
        let mut beginning = match beginning {
            Err(error @ StoreError::Unreadable { .. }) => {
                let what = format!("Brew {}", brew.header.plan.brew);
                self.not_taken_up(&what, &error.to_string());
                self.take_up_alarms(alarms);
                self.close(&brew, None);
                return Ok(());
            }
            other => other?,
        };
        let configured = configuration_instruments(&self.setting.configuration);
        if !same_instruments(&brew.header.instruments, &configured) {
            tracing::error!(
                "brew {} was under way with other instruments than {} names now; its record ends here. Start the \
                 rest as a new brew with another id",
                brew.header.plan.brew,
                self.setting.configuration.file.display()
            );
            self.take_up_alarms(alarms);
            self.close(&brew, beginning.events.last());
            return Ok(());
        }
        // Between its start and now it may have watched an idle tun.
        self.supervisor = engine::supervisor(&self.setting.configuration);
        let stored = beginning.checkpoint.take();
        let taken_up = stored.as_ref().is_some_and(|stored| self.take_up(stored));
        if !taken_up {
            if stored.is_some() {
                let events = self.setting.store.read(move |database| database.events(id));
                match events.await {
                    Ok(events) => beginning.events = events,
                    Err(error) => {
                        let what = format!("Brew {}", brew.header.plan.brew);
                        self.not_taken_up(&what, &error.to_string());
                        beginning.events.clear();
                    }
                }
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
            self.close(&brew, last.as_ref());
            return Ok(());
        }
        let why = self.last_end.unwrap_or_default();
        self.unwatched_since = Some((self.last, why));
        self.seal(None);
        tracing::info!("brew {} was under way and goes on", brew.header.plan.brew);
        self.stretch = Stretch::new(Batch::new(tun, Some(brew.id)));
        Ok(())
    }

    /// How the service before ended is told once, and must be known before anything is taken up. A record that cannot be
    /// written may be readable, and then says as much; one that cannot be read yet is asked again.
    async fn ask_last_end(&mut self) -> Result<(), StoreError> {
        if self.last_end.is_some() {
            return Ok(());
        }
        let (name, again) = (self.name(), self.name());
        let store = &self.setting.store;
        let last_end = match store
            .run(move |database| Ok(database.last_end(&name)))
            .await
        {
            Err(error) if error.is_passing() && !matches!(error, StoreError::Stalled) => {
                let read = store.read(move |database| Ok(database.last_end_read(&again)));
                read.await.ok().flatten().ok_or(error)?
            }
            asked => asked?,
        };
        self.last_end = Some(last_end);
        Ok(())
    }

    /// Closes a brew of which not even the plan can be read.
    async fn put_unreadable_aside(&mut self, error: &str) -> Result<(), StoreError> {
        let (tun, clock) = (self.tun(), self.setting.clock);
        let now = clock.wall(clock.now());
        let store = &self.setting.store;
        let closed = store.run(move |database| database.close_unreadable(tun, now));
        closed.await?;
        self.not_taken_up("A brew", error);
        Ok(())
    }

    /// Says in the log now, and in the record and to everybody as soon as the watch has begun, that a brew ends here.
    fn not_taken_up(&mut self, what: &str, error: &str) {
        let text = format!(
            "{what} was under way and cannot be taken up: {error}. Its record ends here and is kept as it is; start the rest as a \
             new brew with another id."
        );
        tracing::error!("{text}");
        self.found.push(text);
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
    fn close(&mut self, brew: &Brew, last: Option<&DatedEvent>) {
        let ended_at = last.map_or(brew.header.started_at, |event| event.at);
        let end = self.brew_end(ended_at);
        let batch = Batch::new(self.tun(), Some(brew.id));
        self.earlier.push_back(Stretch {
            ends: Some(end),
            ..Stretch::new(batch)
        });
    }
}

/// A brew whose own record cannot be read is not gone on with; that is no reason not to watch.
pub(in crate::runtime) fn readable(
    brew: Result<Option<Brew>, StoreError>,
) -> Result<Option<Brew>, StoreError> {
    match brew {
        // Whoever takes it up says so.
        Err(StoreError::Unreadable { .. }) => Ok(None),
        other => other,
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

//! A stretch of the record: a brew, a part of one, or what was between two.
//!
//! Owns what is written in which order: a brew's beginning before its rows, its end after them. A stretch may wait in
//! memory for a disk that takes nothing, and is written later as if it had never waited: what has been done is taken out
//! of it, so that it can be tried again.

use jiff::Timestamp;
use lauter_core::profile::{Acceptance, BrewLesson};

use super::{Batch, BrewHeader, Database, FinishedBrew, Message, StoreError, TunId};

/// What belongs together and waits to be written.
#[derive(Clone, Debug)]
pub struct Stretch {
    /// The brew that begins with it and is not in the record yet.
    pub begins: Option<BrewHeader>,
    /// Whoever began it could see the record: a brew with the same id there is to be replaced.
    pub replaces: bool,
    pub batch: Batch,
    /// The brew ends with it.
    pub ends: Option<BrewEnd>,
    /// Its messages, once they stand in the outbox: whoever delivers them need not look for them there.
    pub rows: Vec<Message>,
}

#[derive(Clone, Debug)]
pub struct BrewEnd {
    pub finished: FinishedBrew,
    /// What the brew taught, and when it is learnt.
    pub lesson: Option<(Box<BrewLesson>, Timestamp)>,
}

/// What came of what a brew taught, by its name; or why nothing was learnt, in words.
pub type Learnt = Option<(String, Result<Acceptance, String>)>;

/// What became of a stretch, and what is left of it.
pub type Written = (Box<Stretch>, Result<Learnt, StoreError>);

impl Stretch {
    pub fn new(batch: Batch) -> Self {
        Self {
            begins: None,
            replaces: true,
            batch,
            ends: None,
            rows: Vec::new(),
        }
    }

    pub fn is_empty(&self) -> bool {
        self.begins.is_none() && self.batch.is_empty() && self.ends.is_none()
    }

    pub fn set_tun(&mut self, tun: TunId) {
        self.batch.tun = tun;
        if let Some(begins) = &mut self.begins {
            begins.tun = tun;
        }
    }

    /// Puts `next`, which goes on where this one stops, behind it.
    pub fn join(&mut self, next: Self) {
        let Batch {
            events,
            outputs,
            messages,
            checkpoint,
            mark,
            ..
        } = next.batch;
        self.batch.events.extend(events);
        self.batch.outputs.extend(outputs);
        self.batch.messages.extend(messages);
        self.batch.checkpoint = checkpoint;
        self.batch.mark = mark;
        self.ends = next.ends;
    }
}

impl Database {
    /// Writes a stretch. After an error what is left of it can be written again.
    pub fn write_stretch(&mut self, stretch: &mut Stretch) -> Result<Learnt, StoreError> {
        stretch.rows.clear();
        if let Some(header) = &mut stretch.begins {
            if !stretch.replaces {
                self.find_free_name(header)?;
            }
            stretch.batch.brew = Some(self.begin_brew(header)?);
            stretch.begins = None;
        }
        if !stretch.batch.is_empty() {
            let receipt = self.append(&stretch.batch)?;
            let next = Batch::new(stretch.batch.tun, stretch.batch.brew);
            let written = std::mem::replace(&mut stretch.batch, next);
            let rows = receipt.messages.into_iter().zip(written.messages);
            stretch.rows = rows.map(|(id, message)| Message { id, message }).collect();
        }
        let (Some(end), Some(brew)) = (&mut stretch.ends, stretch.batch.brew) else {
            return Ok(None);
        };
        let learnt = end.lesson.take().map(|(lesson, now)| {
            let learnt = self.learn(stretch.batch.tun, brew, &lesson, now);
            (lesson.brew, learnt.map_err(|error| error.to_string()))
        });
        self.finish_brew(brew, &end.finished)?;
        stretch.ends = None;
        Ok(learnt)
    }

    /// A brew that was begun while the record could not be read may bear the id of one in it. That one is not replaced:
    /// nobody was asked.
    fn find_free_name(&self, header: &mut BrewHeader) -> Result<(), StoreError> {
        let name = header.plan.brew.clone();
        let mut part = 1;
        while self.find_brew(header.tun, &header.plan.brew)?.is_some() {
            part += 1;
            header.plan.brew = format!("{name}-part-{part}");
        }
        if part > 1 {
            tracing::warn!(
                "brew {name} is in the record already; what was watched since the start of the service is kept as brew {}",
                header.plan.brew
            );
        }
        Ok(())
    }
}

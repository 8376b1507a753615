//! What the record lacks, and how people come to know of it.
//!
//! Owns what is given up while the record takes nothing (readings first, the oldest of them), the mark it leaves, and the
//! words for the next start where the service ends before anything could be written.

use lauter_core::reading::Moment;
use lauter_core::supervisor::{Dated, Event, Occurrence, OperatorAction, Output, Place};

use super::Tun;
use crate::store::MessageClass;

/// How long the service waits at its end for the words it leaves.
const WORDS_LIMIT: std::time::Duration = std::time::Duration::from_millis(200);

/// What was given up, of which time.
#[derive(Debug, Default)]
pub(super) struct GivenUp {
    readings: u64,
    others: u64,
    span: Option<(Moment, Moment)>,
}

impl Tun {
    /// Keeps what waits within its bound. Readings and states go first, the oldest of them; what people did, alarms
    /// and events only when nothing else is left.
    pub(super) fn give_up_oldest(&mut self) {
        let all = self.setting.unwritten_bound;
        let bound = all.saturating_sub(self.events_held()).max(all / 10);
        let given_up = &mut self.unwritten.given_up;
        let before = given_up.readings + given_up.others;
        let batch = &mut self.stretch.batch;
        let events = thin(&mut batch.events, bound, |dated| {
            matches!(dated.event, Event::Reading { .. } | Event::Tick)
        });
        for (dated, cheap) in events {
            given_up.note(dated.at, cheap);
        }
        let outputs = thin(&mut batch.outputs, bound, |dated| {
            matches!(dated.output, Output::Reading(_) | Output::Runoff(_))
        });
        for (dated, cheap) in outputs {
            given_up.note(dated.at, cheap);
        }
        let told = self.unwritten.told.min(batch.messages.len());
        let unheard = batch.messages.split_off(told);
        let mut heard = std::mem::replace(&mut batch.messages, unheard);
        let left = bound.saturating_sub(batch.messages.len());
        thin(&mut heard, left, |message| {
            message.class != MessageClass::Record
        });
        self.unwritten.told = heard.len();
        heard.append(&mut batch.messages);
        batch.messages = heard;
        self.unwritten.total += given_up.readings + given_up.others - before;
    }

    /// Says in the record, and to everybody, what it lacks.
    pub(super) fn mark_gap(&mut self, given_up: &GivenUp) {
        let Some((first, last)) = given_up.span else {
            return;
        };
        let wall = |at| self.setting.clock.wall(at).strftime("%H:%M:%S");
        let also = match given_up.others {
            0 => String::new(),
            others => format!(" and {others} alarms or events"),
        };
        let text = format!(
            "The record has a gap: it could not be written, and {} readings{also} between {} and {} UTC are not in it.",
            given_up.readings,
            wall(first),
            wall(last)
        );
        self.tell_gap(text);
    }

    /// Says that the record lacks something.
    pub(super) fn tell_gap(&mut self, text: String) {
        tracing::warn!("{text}");
        let dated = Dated {
            at: self.last,
            output: Output::Occurrence(Occurrence {
                elapsed_s: self.latest.runoff.as_ref().map(|runoff| runoff.elapsed_s),
                event: "record-gap".to_owned(),
                text,
            }),
        };
        let rows = self.setting.publishers.publish(&dated);
        self.stretch.batch.messages.extend(rows);
        self.stretch.batch.outputs.push(dated);
        self.urgent = true;
    }

    /// Writes what is left; where that cannot be, leaves word of it.
    pub(super) async fn last_words(&mut self) {
        self.write_last().await;
        let Some(since) = self.unwritten.since else {
            let pumped = self.setting.publishers.pump(&self.setting.store).await;
            if let Err(error) = pumped {
                tracing::debug!("rows wait: {error}");
            }
            return;
        };
        let wall = |at| self.setting.clock.wall(at).strftime("%H:%M:%S");
        let (first, last) = (wall(since), wall(self.last));
        let words = format!(
            "The record has a gap: it could not be written from {first} to {last} UTC, when the service ended. The tun was \
             watched until then; what was measured, typed and told since {first} is not in it."
        );
        tracing::error!("{words}");
        let acts = self.unwritten_acts();
        if !acts.is_empty() {
            tracing::error!(
                "what people did since then is not on the disk, {} in all; what still holds must be entered again: {} (UTC)",
                acts.len(),
                acts.join("; ")
            );
        }
        let name = self.name();
        let left = self
            .setting
            .store
            .within(WORDS_LIMIT)
            .run(move |database| {
                database.leave_words(&name, words);
                Ok(())
            })
            .await;
        if let Err(error) = left {
            tracing::debug!("no word can be left for the next start: {error}");
        }
    }

    /// What people did that is not on the disk, in its order.
    fn unwritten_acts(&self) -> Vec<String> {
        let clock = self.setting.clock;
        let (flying, earlier) = (self.flight.iter(), self.earlier.iter());
        let waiting = earlier.chain([&self.stretch]);
        flying
            .flat_map(|flight| &flight.acts)
            .chain(waiting.flat_map(|stretch| stretch.batch.events.iter()))
            .filter_map(|dated| {
                let what = act(&dated.event)?;
                Some(format!(
                    "{} {what}",
                    clock.wall(dated.at).strftime("%H:%M:%S")
                ))
            })
            .collect()
    }

    /// Tells what the service before could not write. It says so in the record's own place, so that it is asked as soon as
    /// the record can be written.
    pub(super) async fn tell_last_words(&mut self) {
        for text in std::mem::take(&mut self.found) {
            self.tell_gap(text);
        }
        let name = self.name();
        let store = &self.setting.store;
        let words = store.run(move |database| Ok(database.take_words(&name)));
        if let Ok(words) = words.await {
            self.words_asked = true;
            if let Some(words) = words {
                self.tell_gap(words);
            }
        }
    }

    /// As the record knows the tun.
    pub(super) fn name(&self) -> String {
        let configuration = &self.setting.configuration;
        format!("{}/{}", configuration.site, configuration.tun.name)
    }
}

/// An act of a person, in words; None where nobody acted. Who did it alone stands in deeds, beside the act itself.
pub(super) fn act(event: &Event) -> Option<String> {
    Some(match event {
        Event::BrewStarted { plan, .. } => format!("brew {} started", plan.brew),
        Event::BrewEnded => "brew ended".to_owned(),
        Event::Sample(sample) => {
            let place = match sample.place {
                Place::Runnings => "runnings",
                Place::Kettle => "kettle",
            };
            let measured = [
                sample.gravity_p.map(|p| format!(" {p:.2} °P")),
                sample.ph.map(|ph| format!(" pH {ph:.2}")),
                sample.volume_l.map(|l| format!(" {l:.0} L")),
            ];
            let measured: String = measured.into_iter().flatten().collect();
            format!("sample of the {place}{measured}")
        }
        Event::SampleWithdrawn { number } => format!("sample {} withdrawn", number + 1),
        Event::Note { text, .. } => format!("note {text:?}"),
        Event::Raking { minutes, .. } => format!("rakes for {minutes:.0} min"),
        Event::Operator { alarm, action, .. } => {
            let done = match action {
                OperatorAction::Acknowledge => "acknowledged",
                OperatorAction::Shelve { .. } => "shelved",
                OperatorAction::Unshelve => "taken from the shelf",
                OperatorAction::OutOfService { .. } => "taken out of service",
                OperatorAction::ReturnToService => "returned to service",
            };
            format!("alarm {} {done}", alarm.name())
        }
        _ => return None,
    })
}

impl GivenUp {
    fn note(&mut self, at: Moment, cheap: bool) {
        if cheap {
            self.readings += 1;
        } else {
            self.others += 1;
        }
        let (first, last) = self.span.unwrap_or((at, at));
        self.span = Some((first.min(at), last.max(at)));
    }
}

/// Takes out what is above the bound: the oldest of the cheap first, then the oldest. Each with whether it was cheap.
fn thin<T>(items: &mut Vec<T>, bound: usize, is_cheap: impl Fn(&T) -> bool) -> Vec<(T, bool)> {
    let excess = items.len().saturating_sub(bound);
    if excess == 0 {
        return Vec::new();
    }
    let cheap = items
        .iter()
        .filter(|item| is_cheap(item))
        .count()
        .min(excess);
    let (mut cheap_left, mut dear_left) = (cheap, excess - cheap);
    let mut taken = Vec::with_capacity(excess);
    let all = std::mem::take(items);
    for item in all {
        let cheap = is_cheap(&item);
        let left = if cheap {
            &mut cheap_left
        } else {
            &mut dear_left
        };
        if *left > 0 {
            *left -= 1;
            taken.push((item, cheap));
        } else {
            items.push(item);
        }
    }
    taken
}

#[cfg(test)]
mod tests {
    use super::thin;

    #[test]
    fn the_oldest_cheap_ones_go_first_and_dear_ones_only_when_no_cheap_one_is_left() {
        let cheap = |item: &u32| item.is_multiple_of(2);
        let mut items = vec![1, 2, 3, 4, 5, 6];
        assert_eq!(thin(&mut items, 6, cheap), []);
        assert_eq!(thin(&mut items, 4, cheap), [(2, true), (4, true)]);
        assert_eq!(items, [1, 3, 5, 6]);
        assert_eq!(thin(&mut items, 2, cheap), [(1, false), (6, true)]);
        assert_eq!(items, [3, 5]);
    }
}

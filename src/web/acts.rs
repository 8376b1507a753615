//! What changes a brew: checked, carried out by the tun's own task, and written down with who did it.
//!
//! Owns what each act needs and does, whichever way it was asked for: a page, a program or the broker. Must not know
//! how the asking travelled.

mod calibration;

use std::time::Duration;

use axum::http::StatusCode;
use lauter_core::alarm::AlarmId;
use lauter_core::projection::Plan;
use lauter_core::supervisor::{Event, Sample};
use tokio::sync::oneshot;
use tokio::time;

use super::parameters::TUN_TIMEOUT;
use super::problem::Problem;
use super::wire::{
    AlarmAction, AlarmOperation, BrewName, Fault, NoteBody, Noted, ProfileVersion, RakingBody,
    RakingNoted, SampleBody, SampleTaken,
};
use crate::access::{Caller, Role};
use crate::clock;
use crate::display::Voice;
use crate::runtime::request::{Refusal, Request, SampleReceipt, TunHandle};
use crate::store::Store;

pub use calibration::configured;

/// A kettle's volume may be read with the foam on it: beyond this share of what it holds it is a slip.
const OVERFULL: f64 = 1.1;

/// One who acts on one tun.
#[derive(Debug)]
pub struct Actor<'a> {
    pub caller: &'a Caller,
    pub tun: &'a TunHandle,
    pub store: &'a Store,
}

impl Actor<'_> {
    /// Starts a brew. A brew id that is in the record already is refused unless `replace`: starting removes the
    /// earlier record, and a slip in a plan must not do that.
    pub async fn start_brew(&self, plan: Plan, replace: bool) -> Result<BrewName, Problem> {
        self.caller.may(Role::Operate)?;
        let brew = plan.brew.clone();
        if !replace {
            self.refuse_recorded(&brew).await?;
        }
        let who = self.caller.who_or_somebody(None);
        self.ask(|reply| Request::StartBrew {
            plan: Box::new(plan),
            who,
            reply,
        })
        .await?;
        Ok(BrewName { brew })
    }

    async fn refuse_recorded(&self, brew: &str) -> Result<(), Problem> {
        if self.tun.place.get().is_none() {
            // There is no record to be asked, and the wort does not wait for one. Nothing in it will be replaced.
            return Ok(());
        }
        let (id, name) = (self.tun.id(), brew.to_owned());
        let known = self
            .store
            .read(move |database| database.find_brew(id, &name))
            .await?;
        if known.is_none() {
            return Ok(());
        }
        // A brew under way stands in the record too, and then that is the news.
        if let Some(running) = answered(self.tun.status()).await?.brew {
            return Err(Refusal::BrewUnderWay(running).into());
        }
        Err(Problem::new(
            StatusCode::CONFLICT,
            format!(
                "brew {brew} is in the record already; give this one another id, or replace the earlier record \
                 (lauterd brew start --replace)"
            ),
        ))
    }

    /// Ends the brew under way.
    pub async fn end_brew(&self) -> Result<BrewName, Problem> {
        self.caller.may(Role::Operate)?;
        let who = self.caller.who_or_somebody(None);
        let brew = self.ask(|reply| Request::EndBrew { who, reply }).await?;
        Ok(BrewName { brew })
    }

    /// Takes a hand sample. `ask`: refuses one that is far from what instruments and balance say, with both figures.
    pub async fn sample(&self, taken: SampleBody, ask: bool) -> Result<SampleTaken, Problem> {
        self.caller.may(Role::Operate)?;
        let configuration = &self.tun.configuration;
        let sample = taken
            .in_plato(configuration.watch.wort_factor)
            .and_then(SampleBody::sample)
            .and_then(|sample| self.within_kettle(sample))
            .map_err(|faults| Problem::unprocessable("sample", faults))?;
        let who = self.caller.who_or_somebody(None);
        let (reply, answer) = oneshot::channel();
        let request = Request::Sample {
            sample,
            ask,
            who,
            reply,
        };
        match self.asked(request, answer).await? {
            Ok(receipt) => Ok(SampleTaken::new(receipt, sample)),
            Err(Refusal::FarSample(doubts)) => {
                let voice = Voice::new(configuration.web.display);
                let words: Vec<String> = doubts.iter().map(|it| voice.doubt(it)).collect();
                Err(Problem::doubtful(words.join(" ")))
            }
            Err(refusal) => Err(refusal.into()),
        }
    }

    fn within_kettle(&self, sample: Sample) -> Result<Sample, Vec<Fault>> {
        let capacity_l = self.tun.configuration.kettle.capacity_l;
        match sample.volume_l {
            Some(volume_l) if volume_l > OVERFULL * capacity_l => {
                let message = format!("is {volume_l} L; the kettle holds {capacity_l} L");
                Err(vec![Fault::new("volume_l", message)])
            }
            _ => Ok(sample),
        }
    }

    /// Takes a sample back: it was a slip. `number` counts from 1.
    pub async fn withdraw_sample(&self, number: usize) -> Result<SampleTaken, Problem> {
        self.caller.may(Role::Operate)?;
        let who = self.caller.who_or_somebody(None);
        let number = number
            .checked_sub(1)
            .ok_or_else(|| Problem::not_found("samples are numbered from 1"))?;
        let sample = self
            .ask(|reply| Request::WithdrawSample { number, who, reply })
            .await?;
        let receipt = SampleReceipt {
            number,
            repeated: false,
            recorded: true,
        };
        Ok(SampleTaken::new(receipt, sample))
    }

    /// Does what somebody asks about an alarm.
    pub async fn alarm(
        &self,
        alarm: &str,
        instrument: Option<String>,
        mut operation: AlarmOperation,
    ) -> Result<AlarmOperation, Problem> {
        self.caller.may(needed(operation.action))?;
        let alarm = alarm_id(alarm)?;
        operation.who = self.caller.who(&operation.who);
        let action = operation.clone().action().and_then(|(who, action)| {
            check_instrument(instrument.as_deref())?;
            Ok((who, action))
        });
        let (who, action) = action.map_err(|faults| Problem::unprocessable("alarm", faults))?;
        self.ask(|reply| Request::Operate {
            alarm,
            instrument,
            who,
            action,
            reply,
        })
        .await?;
        Ok(operation)
    }

    /// Puts words into the record.
    pub async fn note(&self, note: NoteBody) -> Result<Noted, Problem> {
        self.caller.may(Role::Operate)?;
        note.check()
            .map_err(|faults| Problem::unprocessable("note", faults))?;
        let noted = Noted {
            text: note.text,
            who: self.caller.who_or_somebody(note.who.as_deref()),
        };
        let (who, text) = (noted.who.clone(), noted.text.clone());
        let event = Event::Note { who, text };
        self.ask(|reply| Request::Report { event, reply }).await?;
        Ok(noted)
    }

    /// Takes somebody's word that the rakes run.
    pub async fn raking(&self, raking: RakingBody) -> Result<RakingNoted, Problem> {
        self.caller.may(Role::Operate)?;
        raking
            .check()
            .map_err(|faults| Problem::unprocessable("raking", faults))?;
        let noted = RakingNoted {
            minutes: raking.minutes,
            who: self.caller.who_or_somebody(raking.who.as_deref()),
        };
        let event = Event::Raking {
            who: noted.who.clone(),
            minutes: noted.minutes,
        };
        self.ask(|reply| Request::Report { event, reply }).await?;
        Ok(noted)
    }

    /// A new profile that knows nothing; the versions before it stay in the record.
    pub async fn reset_profile(&self) -> Result<ProfileVersion, Problem> {
        self.caller.may(Role::Engineer)?;
        let (id, now) = (self.tun.id(), clock::wall_now());
        let version = self
            .store
            .run(move |database| database.reset_profile(id, now))
            .await?;
        let who = self.caller.who_or_somebody(None);
        self.ask(|reply| Request::Deed {
            who,
            deed: "profile-reset".to_owned(),
            reply,
        })
        .await?;
        Ok(ProfileVersion { version })
    }

    /// Sends a request whose refusal is more than words.
    async fn asked<T>(
        &self,
        request: Request,
        answer: oneshot::Receiver<Result<T, Refusal>>,
    ) -> Result<Result<T, Refusal>, Problem> {
        within(TUN_TIMEOUT, async {
            let sent = self.tun.requests.send(request).await;
            sent.map_err(|_| Refusal::Stopping)?;
            answer.await.map_err(|_| Refusal::Stopping)
        })
        .await
    }

    async fn ask<T>(
        &self,
        make: impl FnOnce(crate::runtime::request::Reply<T>) -> Request,
    ) -> Result<T, Problem> {
        answered(self.tun.ask(make)).await
    }
}

/// Whoever takes an alarm out of service answers for what it guarded.
fn needed(action: AlarmAction) -> Role {
    match action {
        AlarmAction::Acknowledge | AlarmAction::Shelve | AlarmAction::Unshelve => Role::Operate,
        AlarmAction::OutOfService | AlarmAction::ReturnToService => Role::Engineer,
    }
}

fn alarm_id(name: &str) -> Result<AlarmId, Problem> {
    AlarmId::ALL
        .into_iter()
        .find(|alarm| alarm.name() == name)
        .ok_or_else(|| {
            let names: Vec<&str> = AlarmId::ALL.into_iter().map(AlarmId::name).collect();
            Problem::not_found(format!(
                "there is no alarm {name}; the alarms are {}",
                names.join(", ")
            ))
        })
}

/// Only the form: whether the alarm has such an instrument (or link, or publisher) is for the tun to know.
fn check_instrument(instrument: Option<&str>) -> Result<(), Vec<Fault>> {
    let right = instrument.is_none_or(|id| {
        (1..=64).contains(&id.chars().count()) && !id.chars().any(char::is_control)
    });
    if right {
        return Ok(());
    }
    let message = "must be 1 to 64 characters on one line";
    Err(vec![Fault::new("instrument", message)])
}

/// Waits for the tun's task, but not for ever.
pub async fn answered<T>(answer: impl Future<Output = Result<T, Refusal>>) -> Result<T, Problem> {
    within(TUN_TIMEOUT, answer).await
}

async fn within<T>(
    limit: Duration,
    answer: impl Future<Output = Result<T, Refusal>>,
) -> Result<T, Problem> {
    match time::timeout(limit, answer).await {
        Ok(answer) => answer.map_err(Problem::from),
        Err(_) => Err(Problem::new(
            StatusCode::GATEWAY_TIMEOUT,
            format!(
                "the tun's task has not answered within {} s; what was asked may still be done: look at the status \
                 before asking again, and at the disk of the record",
                limit.as_secs_f64()
            ),
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_tun_that_does_not_answer_is_not_waited_for() {
        let silent = std::future::pending::<Result<(), Refusal>>();
        let problem = within(Duration::from_millis(5), silent).await.unwrap_err();
        assert_eq!(problem.status, StatusCode::GATEWAY_TIMEOUT);
        assert!(problem.body.error.contains("may still be done"));
    }
}

//! How a tun answers those who ask.
//!
//! Owns the checks before a request becomes an event, and the status. Whatever is granted is on the disk before
//! the answer goes out.

use lauter_core::alarm::AlarmId;
use lauter_core::projection::Plan;
use lauter_core::supervisor::{Event, OperatorAction, Sample};
use serde_json::json;

use super::super::request::{Refusal, Reply, Request, SampleReceipt, TunStatus};
use super::Tun;
use crate::config::Configuration;
use crate::engine;
use crate::publish::mqtt::topics::time_text;
use crate::store::BrewHeader;

/// The same sample within this time is a second tap, s. Own choice.
const SECOND_TAP_S: f64 = 60.0;

impl Tun {
    pub(super) async fn answer(&mut self, request: Request) {
        match request {
            Request::StartBrew { plan, who, reply } => {
                let answer = self.start_brew(*plan, who).await;
                send(reply, answer);
            }
            Request::EndBrew { who, reply } => {
                let answer = self.end_brew(who).await;
                send(reply, answer);
            }
            Request::Sample {
                sample,
                ask,
                who,
                reply,
            } => {
                let answer = self.take_sample(sample, ask, who).await;
                send(reply, answer);
            }
            Request::WithdrawSample { number, who, reply } => {
                let answer = self.withdraw_sample(number, who).await;
                send(reply, answer);
            }
            Request::Report { event, reply } => {
                let answer = self.report([event]).await;
                send(reply, answer);
            }
            Request::Deed {
                who,
                deed: done,
                reply,
            } => {
                self.give(deed(who, &done), self.setting.clock.now());
                self.flush().await;
                send(reply, self.written());
            }
            Request::Forecast { reply } => {
                // Whoever asked may have gone.
                let _ = reply.send(self.supervisor.forecast(self.last));
            }
            Request::Operate {
                alarm,
                instrument,
                who,
                action,
                reply,
            } => {
                let answer = self.operate(alarm, instrument, who, action).await;
                send(reply, answer);
            }
            Request::Correct { new, reply } => {
                let answer = self.correct(new).await;
                send(reply, answer);
            }
            Request::EnterCheck { new, reply } => {
                let answer = self.enter_check(*new).await;
                send(reply, answer);
            }
            Request::Status { reply } => {
                // Whoever asked may have gone.
                let _ = reply.send(self.status());
            }
        }
    }

    /// What people tell of the brew under way.
    async fn report<const N: usize>(&mut self, events: [Event; N]) -> Result<(), Refusal> {
        self.tell(events).await?;
        self.written()
    }

    /// The same, whether it is on the disk or waits for it.
    async fn tell<const N: usize>(&mut self, events: [Event; N]) -> Result<(), Refusal> {
        if self.supervisor.plan().is_none() {
            return Err(Refusal::NoBrew);
        }
        let now = self.setting.clock.now();
        for event in events {
            self.give(event, now);
        }
        self.flush().await;
        Ok(())
    }

    /// A sample that is given once more within a minute is a second tap, and is not taken again. One that the disk does not
    /// take counts: the balance has it, and whoever drew it must not draw another.
    async fn take_sample(
        &mut self,
        sample: Sample,
        ask: bool,
        who: String,
    ) -> Result<SampleReceipt, Refusal> {
        let now = self.setting.clock.now().max(self.last);
        if let Some(number) = self.supervisor.same_sample(&sample, SECOND_TAP_S, now) {
            self.flush().await;
            return Ok(SampleReceipt {
                number,
                repeated: true,
                recorded: self.written().is_ok(),
            });
        }
        let doubts = self.supervisor.doubts_of_sample(&sample, now);
        if ask && !doubts.is_empty() {
            return Err(Refusal::FarSample(doubts));
        }
        let number = self.supervisor.samples_taken();
        self.tell([Event::Sample(sample), deed(who, "sample")])
            .await?;
        Ok(SampleReceipt {
            number,
            repeated: false,
            recorded: self.written().is_ok(),
        })
    }

    async fn withdraw_sample(&mut self, number: usize, who: String) -> Result<Sample, Refusal> {
        if self.supervisor.plan().is_none() {
            return Err(Refusal::NoBrew);
        }
        let sample = self.supervisor.standing_sample(number);
        let sample = sample.ok_or(Refusal::NoSample(number))?;
        let withdrawn = Event::SampleWithdrawn { number };
        self.report([withdrawn, deed(who, "sample-withdrawn")])
            .await?;
        Ok(sample)
    }

    async fn start_brew(&mut self, plan: Plan, who: String) -> Result<(), Refusal> {
        if let Some(current) = self.supervisor.plan() {
            return Err(Refusal::BrewUnderWay(current.brew.clone()));
        }
        let mut faults: Vec<String> = plan
            .check()
            .into_iter()
            .map(|fault| format!("{} {}", fault.key, fault.message))
            .collect();
        let configuration = &self.setting.configuration;
        faults.extend(
            configuration
                .check_plan(&plan)
                .iter()
                .map(ToString::to_string),
        );
        faults.extend(configuration.slips_of_plan(&plan));
        if !faults.is_empty() {
            return Err(Refusal::Plan(faults.join("; ")));
        }
        self.flush().await;
        let now = self.setting.clock.now().max(self.last);
        let profile = self.learnt(&plan.brew).await;
        let header = BrewHeader {
            tun: self.tun(),
            plan: plan.clone(),
            instruments: configuration_instruments(&self.setting.configuration),
            config_digest: engine::digest(&self.setting.configuration),
            started: self.setting.clock.wall(now),
            started_at: now,
            origin: now,
        };
        self.seal(None);
        self.stretch.begins = Some(header);
        self.stretch.replaces = self.joined;
        self.checkpointed = None;
        self.latest.forget_brew();
        self.give(
            Event::BrewStarted {
                plan: Box::new(plan),
                zero: now,
                profile,
                corrections: self.corrections(),
            },
            now,
        );
        self.give(deed(who, "brew-started"), now);
        self.flush().await;
        // The wort does not wait for a disk: without a record the brew is watched all the same, and the alarm says so.
        Ok(())
    }

    async fn end_brew(&mut self, who: String) -> Result<String, Refusal> {
        let now = self.setting.clock.now().max(self.last);
        if let Some(plan) = self.supervisor.plan() {
            self.ending = Some(plan.brew.clone());
            self.give(deed(who, "brew-ended"), now);
            self.give(Event::BrewEnded, now);
            let end = self.brew_end(now);
            self.seal(Some(end));
        }
        // A record that took nothing at the first asking is asked again.
        let Some(name) = self.ending.clone() else {
            return Err(Refusal::NoBrew);
        };
        self.flush().await;
        self.written()?;
        self.ending = None;
        Ok(name)
    }

    async fn operate(
        &mut self,
        alarm: AlarmId,
        instrument: Option<String>,
        who: String,
        action: OperatorAction,
    ) -> Result<(), Refusal> {
        // The engine's time first, so that what is checked is what the action meets.
        self.give(Event::Tick, self.setting.clock.now());
        let now = self.last;
        let possible = self
            .supervisor
            .may_operate(alarm, instrument.as_deref(), &action, now);
        if let Err(fault) = possible {
            let alarm = match instrument {
                Some(instrument) => format!("{} of {instrument}", alarm.name()),
                None => alarm.name().to_owned(),
            };
            return Err(Refusal::Alarm { alarm, fault });
        }
        let event = Event::Operator {
            alarm,
            instrument,
            who,
            action,
        };
        self.give(event, now);
        self.flush().await;
        self.written()
    }

    fn status(&self) -> TunStatus {
        let configuration = &self.setting.configuration;
        let store = self.setting.store.health();
        let now = self.setting.clock.now();
        TunStatus {
            site: configuration.site.clone(),
            tun: configuration.tun.name.clone(),
            time: time_text(self.setting.clock.wall(now)),
            brew: self.supervisor.plan().map(|plan| plan.brew.clone()),
            plan: self.supervisor.plan().cloned(),
            runoff: self.latest.runoff.clone(),
            projection: self.latest.projection.clone(),
            outlook: self.supervisor.outlook(self.last),
            alarms: self.latest.alarms(),
            readings: self.latest.readings(
                configuration
                    .instruments
                    .iter()
                    .map(|each| each.instrument.id.as_str()),
            ),
            calibration: self.calibrated(),
            health: json!({
                "arrivals_refused": self.setting.intake.refused(),
                "unwritten_dropped": self.unwritten.total,
                "store": {
                    "failed": store.failed,
                    "last_error": store.last_error,
                    "damage": store.damage,
                    "damaged_blocks": store.damaged_blocks,
                    "queued": store.queued,
                    "thinned": store.thinned,
                    "unwritten_s": self.unwritten_s(),
                },
                "set_aside": self.set_aside_shown,
                "publishers": self.setting.publishers.health(),
                "instruments": (self.setting.adapters)(),
            }),
        }
    }
}

pub(in crate::runtime) fn configuration_instruments(
    configuration: &Configuration,
) -> Vec<lauter_core::reading::Instrument> {
    configuration
        .instruments
        .iter()
        .map(|each| each.instrument.clone())
        .collect()
}

fn deed(who: String, deed: &str) -> Event {
    Event::Deed {
        who,
        deed: deed.to_owned(),
    }
}

fn send<T>(reply: Reply<T>, answer: Result<T, Refusal>) {
    // Whoever asked may have gone; what was done is done.
    let _ = reply.send(answer);
}

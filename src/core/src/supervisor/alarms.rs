//! What becomes of findings: who is told, what explains what, and what people do about it.
//!
//! Owns the watch over instruments, links and deliveries, the plant's circumstances, and the relation between an
//! instrument and what its alarms may follow from. The states are the annunciator's.

use crate::alarm::{
    AlarmId, Circumstances, Follows, OperationFault, OperatorAction, Reach, Subject, definition,
};
use crate::detect::Finding;
use crate::reading::{Cause, Measures, Moment};

use super::annunciator::{News, Situation};
use super::brew::Brew;
use super::channel::Channel;
use super::event::LinkState;
use super::output::{AlarmLine, Line, Output, Phase};
use super::silence::minutes;
use super::telling::Deed;
use super::{Supervisor, report};

/// The name under which the record's own trouble is reported, beside the publishers'.
pub const RECORD: &str = "record";

impl Supervisor {
    pub(super) fn circumstances(brew: Option<&Brew>) -> Circumstances {
        Circumstances {
            phase: brew.map_or(Phase::Idle, Brew::phase),
            after_stop: brew.is_some_and(|brew| brew.reached.is_some()),
            without_brew: brew.is_none(),
        }
    }

    /// Takes up an alarm as its latest recorded line left it at `at`, before anything else happens: what somebody
    /// shelved or took out of service is not undone by a restart. False for one that is switched off now, or is about
    /// an instrument or a link that is not there any more.
    pub fn take_up_alarm(&mut self, line: AlarmLine, at: Moment) -> bool {
        let about = line.instrument.as_deref();
        // Publishers are known by what they report, and none has yet.
        let known = definition(line.alarm).subject == Subject::Publisher
            || self.check_subject(line.alarm, about).is_ok();
        let taken = known && self.parameters.alarm(line.alarm).enabled != Some(false);
        if taken {
            self.annunciator.take_up(line, at);
        }
        taken
    }

    pub(super) fn announce(&mut self, finding: Finding, circumstances: Circumstances, now: Moment) {
        let news = self.with_situation(circumstances, now, |annunciator, situation| {
            annunciator.take(finding, situation)
        });
        match news {
            Some(News::Changed(line)) => self.tell([line], now),
            Some(News::Renewed(line)) => self.put(now, Output::Renewed(report::rounded(line))),
            None => {}
        }
    }

    /// Ends the conditions of the run-off where no brew is judged; see `Annunciator::end_runoff`.
    pub(super) fn end_runoff_alarms(&mut self, at_once: bool, now: Moment) {
        let circumstances = Self::circumstances(None);
        let lines = self.with_situation(circumstances, now, |annunciator, situation| {
            annunciator.end_runoff(at_once, situation)
        });
        self.tell(lines, now);
    }

    /// Ends what was shelved for a time that is over, also where nothing is found about it any more.
    pub(super) fn end_shelving(&mut self, now: Moment) {
        let circumstances = Self::circumstances(self.brew.as_deref());
        let lines = self.with_situation(circumstances, now, |annunciator, situation| {
            annunciator.end_shelving(situation)
        });
        self.tell(lines, now);
    }

    fn tell(&mut self, lines: impl IntoIterator<Item = AlarmLine>, now: Moment) {
        for line in lines {
            self.put(now, Output::Line(Line::Alarm(report::rounded(line))));
        }
    }

    fn with_situation<T>(
        &mut self,
        circumstances: Circumstances,
        now: Moment,
        work: impl FnOnce(&mut super::annunciator::Annunciator, &Situation<'_>) -> T,
    ) -> T {
        let elapsed_s = self.elapsed_s(now);
        let channels = &self.channels;
        let related = |follows: Follows, about: Option<&str>, cause: Option<&str>| {
            relates(channels, follows.reach, about, cause)
        };
        let situation = Situation {
            circumstances,
            related: &related,
            parameters: &self.parameters,
            now,
            elapsed_s,
        };
        work(&mut self.annunciator, &situation)
    }

    pub(super) fn watch_instruments(&mut self, now: Moment) {
        let circumstances = Self::circumstances(self.brew.as_deref());
        let mut findings = Vec::new();
        for (name, (state, detail)) in &self.links {
            let silent_s = silent_s(&self.channels, name, now);
            let down = *state == LinkState::Down;
            let lost = down || silent_s.is_some();
            if lost || self.annunciator.knows(AlarmId::LinkLost, Some(name)) {
                let message = || match silent_s {
                    Some(silent_s) if !down => format!(
                        "The link \"{name}\" is silent: none of its instruments has answered for {}.",
                        minutes(silent_s)
                    ),
                    _ => format!(
                        "The link \"{name}\" is lost: {detail}. All its instruments are silent."
                    ),
                };
                findings.push(Finding::new(AlarmId::LinkLost, lost, message).about(name));
            }
        }
        for channel in &mut self.channels {
            let fault = channel.fault(now);
            let id = channel.instrument.id.as_str();
            if fault.is_some() || self.annunciator.knows(AlarmId::InstrumentFault, Some(id)) {
                let message = || {
                    let cause = fault.map_or("", cause_in_words);
                    format!("{id} gives no usable value: {cause}.")
                };
                let finding = Finding::new(AlarmId::InstrumentFault, fault.is_some(), message);
                findings.push(finding.about(id));
            }
        }
        for finding in findings {
            self.announce(finding, circumstances, now);
        }
    }

    pub(super) fn watch_deliveries(&mut self, now: Moment) {
        let limit_s = self
            .parameters
            .alarm(AlarmId::DeliveryDelayed)
            .limit
            .unwrap_or(self.parameters.detect.delivery_delay_s);
        let findings: Vec<Finding> = self
            .backlogs
            .iter()
            .map(|(publisher, backlog)| {
                let message = || {
                    let wait = format!(
                        "{} rows wait for {publisher}, the oldest for {}.",
                        backlog.depth,
                        minutes(backlog.oldest_age_s)
                    );
                    match &backlog.refused {
                        Some(reason) if publisher == RECORD && backlog.depth == 0 => {
                            format!("The record is not safe: {reason}.")
                        }
                        Some(reason) if publisher == RECORD => format!(
                            "Nothing is being recorded: {reason}. {} rows wait in memory.",
                            backlog.depth
                        ),
                        Some(reason) => {
                            format!("{publisher} refuses the service: {reason}. {wait}")
                        }
                        None => wait,
                    }
                };
                let late = backlog.depth > 0 && backlog.oldest_age_s >= limit_s;
                let holds = late || backlog.refused.is_some();
                Finding::new(AlarmId::DeliveryDelayed, holds, message)
                    .about(publisher)
                    .with("oldest_age_s", backlog.oldest_age_s)
                    .with("depth", backlog.depth as f64)
            })
            .collect();
        let circumstances = Self::circumstances(self.brew.as_deref());
        for finding in findings {
            self.announce(finding, circumstances, now);
        }
    }

    /// Whether an operator's action can be done as things stand; the words of the fault follow the alarm's name.
    pub fn may_operate(
        &self,
        alarm: AlarmId,
        instrument: Option<&str>,
        action: &OperatorAction,
        now: Moment,
    ) -> Result<(), OperationFault> {
        self.check_subject(alarm, instrument)?;
        self.annunciator
            .may_operate(alarm, instrument, action, &self.parameters, now)
    }

    /// What cannot be done changes nothing and is not told: who asks is refused before.
    pub(super) fn operate(
        &mut self,
        alarm: AlarmId,
        instrument: Option<String>,
        who: &str,
        action: &OperatorAction,
        now: Moment,
    ) {
        if self.check_subject(alarm, instrument.as_deref()).is_err() {
            return;
        }
        let deed = Deed { who, action };
        let about = instrument
            .as_ref()
            .map_or_else(String::new, |id| format!(" of {id}"));
        let circumstances = Self::circumstances(self.brew.as_deref());
        let line = self.with_situation(circumstances, now, |annunciator, situation| {
            annunciator.operate(alarm, instrument, deed, situation)
        });
        if let Ok(line) = line {
            self.tell([line], now);
            let text = format!("{}{about} {} by {who}.", alarm.name(), deed.words());
            self.occur(now, "alarm-operated", text);
        }
    }

    fn check_subject(&self, alarm: AlarmId, given: Option<&str>) -> Result<(), OperationFault> {
        let subject = definition(alarm).subject;
        let given = match (subject, given) {
            (Subject::Tun, None) => return Ok(()),
            (Subject::Tun, Some(given)) => {
                let given = given.to_owned();
                return Err(OperationFault::NoSubject { given });
            }
            (_, given) => given,
        };
        let mut known: Vec<&str> = match subject {
            Subject::Tun => Vec::new(),
            Subject::Instrument => {
                let ids = self.channels.iter();
                ids.map(|channel| channel.instrument.id.as_str()).collect()
            }
            Subject::Link => {
                let configured = self.channels.iter();
                let configured = configured.filter_map(|c| c.instrument.link.as_deref());
                let seen = self.links.keys().map(String::as_str);
                configured.chain(seen).collect()
            }
            Subject::Publisher => self.backlogs.keys().map(String::as_str).collect(),
        };
        if given.is_some_and(|given| known.contains(&given)) {
            return Ok(());
        }
        known.sort_unstable();
        known.dedup();
        let known = if known.is_empty() {
            "none".to_owned()
        } else {
            known.join(", ")
        };
        Err(match given {
            None => OperationFault::WhichSubject { known },
            Some(given) => OperationFault::UnknownSubject {
                given: given.to_owned(),
                known,
            },
        })
    }
}

/// Whether an alarm about one thing may follow from a cause about another.
/// How long nothing has come over this link that should have; None while something does. One instrument alone is no
/// witness of its link. A cut cable shows here before the link's own patience with each device ends.
fn silent_s(channels: &[Channel], link: &str, now: Moment) -> Option<f64> {
    let own: Vec<&Channel> = channels
        .iter()
        .filter(|channel| channel.instrument.link.as_deref() == Some(link) && !channel.is_switch())
        .collect();
    let last = own.iter().filter_map(|channel| channel.heard()).max()?;
    let patience_s = own
        .iter()
        .map(|channel| channel.stale_after_s())
        .fold(f64::INFINITY, f64::min);
    let silent_s = now.since(last);
    (own.len() >= 2 && silent_s > patience_s).then_some(silent_s)
}

pub(super) fn relates(
    channels: &[Channel],
    reach: Reach,
    about: Option<&str>,
    cause: Option<&str>,
) -> bool {
    let channel = |id: Option<&str>| {
        channels
            .iter()
            .find(|channel| Some(channel.instrument.id.as_str()) == id)
    };
    match reach {
        Reach::Tun => true,
        Reach::SameName => about == cause,
        Reach::OwnLink => {
            cause.is_some()
                && channel(about).is_some_and(|own| own.instrument.link.as_deref() == cause)
        }
        Reach::Compared => {
            about == cause
                || channel(about)
                    .zip(channel(cause))
                    .is_some_and(|(own, other)| {
                        rests_on(own.instrument.measures).contains(&other.instrument.measures)
                    })
        }
    }
}

/// What the balance that a kettle instrument is compared with is made of.
fn rests_on(measures: Measures) -> &'static [Measures] {
    match measures {
        Measures::KettleVolume => &[
            Measures::RunoffFlow,
            Measures::RunoffTotal,
            Measures::Recirculating,
        ],
        Measures::KettleGravity => &[
            Measures::RunningsGravity,
            Measures::RunningsTemperature,
            Measures::RunoffFlow,
            Measures::RunoffTotal,
            Measures::KettleTemperature,
        ],
        _ => &[],
    }
}

/// Why an instrument gives no usable value, as its alarm says it.
pub fn cause_in_words(cause: Cause) -> &'static str {
    match cause {
        Cause::NeverRead => "nothing has been received from it",
        Cause::Stale => "its last reading is too old",
        Cause::LinkLost => "its link is down",
        Cause::DeviceError => "the device refuses the request",
        Cause::BadPayload => "its payload is not a number",
        Cause::NotFinite => "its value is not a number",
        Cause::OutsideLimits => "its value is outside its physical limits",
        Cause::LoopBelowRange => "its loop current is below 3.6 mA (broken wire or failure)",
        Cause::LoopAboveRange => "its loop current is above 21 mA (short circuit or failure)",
        Cause::DeviceFailure => "it reports a failure",
        Cause::FunctionCheck => "it is under function check",
        Cause::Stuck => "its value has stopped moving",
        Cause::Spike => "its readings jump",
        Cause::Jumped => "its value has jumped by itself, which the process cannot do",
        Cause::MissingCompensation => "the temperature that compensates it is missing",
    }
}

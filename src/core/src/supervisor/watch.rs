//! One step of the grid: sum, learn, judge, tell.
//!
//! Owns what is done at each grid point and which alarms the state of the plant suppresses.

use crate::alarm::AlarmId;
use crate::detect::{Finding, Held, conditions};
use crate::projection::StopCause;
use crate::reading::{Cause, Moment};

use super::brew::{Brew, COMPARE_EVERY_S, Picture};
use super::event::{LinkState, OperatorAction, Place, Sample};
use super::output::{Line, Output, Phase};
use super::{Supervisor, report};

impl Supervisor {
    pub(super) fn step(&mut self, now: Moment) {
        let picture = self.picture(now);
        if let Some(mut brew) = self.brew.take() {
            self.step_brew(&mut brew, &picture, now);
            self.brew = Some(brew);
        }
        self.watch_instruments(now);
        self.watch_deliveries(now);
        if self.due(now, self.parameters.reading_every_s) {
            self.report_readings(now);
        }
    }

    fn step_brew(&mut self, brew: &mut Brew, picture: &Picture, now: Moment) {
        let sources = self.sources(now, brew.pace_l_min());
        let portion = brew.inflow.step(
            &sources,
            self.parameters.step_s,
            brew.flow_started.is_some(),
        );
        brew.advance(
            portion.volume_l,
            portion.unmetered_sd_l,
            picture,
            now,
            &self.parameters,
            &self.plant,
        );
        self.judge_jumps(brew, now);
        if self.due(now, COMPARE_EVERY_S) {
            brew.compare(picture, now);
        }
        let projects =
            brew.flow_started.is_some() && self.due(now, self.parameters.projection_every_s);
        if projects {
            brew.project(picture, now, &self.plant, &self.parameters);
            if let Some(text) = brew.out_of_reach() {
                self.put(
                    now,
                    report::occurrence(brew, "target-out-of-reach", text, now),
                );
            }
        }
        self.judge(brew, picture, now);
        if let Some((phase, why)) = brew.phase.take_change() {
            self.put(now, report::phase_change(brew, phase, &why, now));
        }
        if let Some(text) = brew.notes.take_rake_effect() {
            self.put(now, report::occurrence(brew, "rake-effect", text, now));
        }
        if projects {
            self.put(
                now,
                Output::Line(Line::Projection(report::projection(brew, now))),
            );
        }
        if self.due(now, self.parameters.runoff_every_s) {
            self.put(now, Output::Runoff(report::runoff(brew, picture, now)));
        }
        if self.due(now, self.parameters.table_every_s) {
            self.put(
                now,
                Output::Line(Line::Table(report::table(brew, picture, now))),
            );
        }
    }

    /// True at the grid points that fall on a multiple of `every_s` since the origin.
    fn due(&self, now: Moment, every_s: f64) -> bool {
        let Some(origin) = self.origin else {
            return false;
        };
        let every_us = ((every_s * 1e6).round() as i64).max(1);
        let step_us = ((self.parameters.step_s * 1e6).round() as i64).max(1);
        (now.0 - origin.0).rem_euclid(every_us) < step_us.min(every_us)
    }

    fn judge(&mut self, brew: &mut Brew, picture: &Picture, now: Moment) {
        let view = self.view(brew, picture, now);
        let forecast = brew.channel_watch.forecast(brew.kettle.metered_l());
        let channel_active = self.annunciator.is_active(AlarmId::Channelling, None);
        let mut findings = vec![brew.channel_watch.finding(
            &self.parameters.detect,
            &view,
            forecast,
            channel_active,
        )];
        brew.heed_suspicion(channel_active);
        let held = |alarm: AlarmId| {
            let settings = self.parameters.alarm(alarm);
            Held {
                active: self.annunciator.any_active(alarm),
                deadband: settings.deadband(alarm),
                limit: settings.limit,
            }
        };
        findings.extend(conditions(&self.parameters.detect, &view, &held));
        let after_stop = brew.reached.is_some();
        self.note_quality(brew, channel_active);
        for finding in findings {
            let alarm = finding.alarm;
            let explained = alarm == AlarmId::TurbidRunnings
                && self.annunciator.is_active(AlarmId::Channelling, None);
            let suppressed = explained
                || said_already(brew, alarm)
                || suppressed(alarm, after_stop, brew.phase());
            self.announce(finding, suppressed, now);
            self.note_stop(brew, alarm, now);
        }
        if brew.reached.is_some() {
            brew.take_stop(StopCause::TargetGravity, now, &self.plant, &self.parameters);
        }
    }

    /// What speaks against learning from this brew, up to the target.
    fn note_quality(&self, brew: &mut Brew, channelled: bool) {
        if brew.reached.is_some() {
            return;
        }
        if channelled {
            brew.notes.channelled();
        }
        if self.annunciator.any_active(AlarmId::InstrumentsDisagree) {
            brew.notes.disagreed();
        }
    }

    /// A limit whose alarm has been annunciated has ended the run-off, if it is the first.
    fn note_stop(&self, brew: &mut Brew, alarm: AlarmId, now: Moment) {
        let cause = match alarm {
            AlarmId::GravityFloor if brew.floor_met.is_none() => StopCause::GravityFloor,
            AlarmId::PhCeiling if brew.ceiling_met.is_none() => StopCause::PhCeiling,
            _ => {
                let full = brew.kettle.contents().volume_l >= self.plant.capacity_l;
                if full && brew.stop_taken.is_none() {
                    brew.take_stop(
                        StopCause::KettleCapacity,
                        now,
                        &self.plant,
                        &self.parameters,
                    );
                }
                return;
            }
        };
        if self.annunciator.is_met(alarm) {
            brew.take_stop(cause, now, &self.plant, &self.parameters);
        }
    }

    fn announce(&mut self, finding: Finding, suppressed: bool, now: Moment) {
        let elapsed_s = self.elapsed_s(now);
        let line = self
            .annunciator
            .take(finding, suppressed, &self.parameters, (now, elapsed_s));
        if let Some(line) = line {
            self.put(now, Output::Line(Line::Alarm(report::rounded(line))));
        }
    }

    fn watch_instruments(&mut self, now: Moment) {
        let mut findings = Vec::new();
        for (name, (state, detail)) in &self.links {
            let message = format!(
                "The link \"{name}\" does not answer ({detail}); all its instruments are silent."
            );
            findings.push((
                Finding::new(AlarmId::LinkLost, *state == LinkState::Down, message).about(name),
                false,
            ));
        }
        for channel in &mut self.channels {
            let fault = channel.fault(now);
            let link_down = channel
                .instrument
                .link
                .as_ref()
                .is_some_and(|link| matches!(self.links.get(link), Some((LinkState::Down, _))));
            let message = fault.map_or_else(String::new, |cause| {
                format!(
                    "{} gives no usable value: {}.",
                    channel.instrument.id,
                    in_words(cause)
                )
            });
            // Nobody watches a tun without a brew: an instrument at rest there is no alarm.
            let suppressed = link_down || self.brew.is_none();
            findings.push((
                Finding::new(AlarmId::InstrumentFault, fault.is_some(), message)
                    .about(&channel.instrument.id),
                suppressed,
            ));
        }
        for (finding, suppressed) in findings {
            self.announce(finding, suppressed, now);
        }
    }

    fn watch_deliveries(&mut self, now: Moment) {
        let limit_s = self
            .parameters
            .alarm(AlarmId::DeliveryDelayed)
            .limit
            .unwrap_or(self.parameters.detect.delivery_delay_s);
        let findings: Vec<Finding> = self
            .backlogs
            .iter()
            .map(|(publisher, backlog)| {
                let wait = format!(
                    "{} rows wait for {publisher}, the oldest for {:.0} s.",
                    backlog.depth, backlog.oldest_age_s
                );
                let message = match &backlog.refused {
                    Some(reason) => format!("{publisher} refuses the service: {reason}. {wait}"),
                    None => wait,
                };
                let late = backlog.depth > 0 && backlog.oldest_age_s >= limit_s;
                let holds = late || backlog.refused.is_some();
                Finding::new(AlarmId::DeliveryDelayed, holds, message)
                    .about(publisher)
                    .with("oldest_age_s", backlog.oldest_age_s)
                    .with("depth", backlog.depth as f64)
            })
            .collect();
        for finding in findings {
            self.announce(finding, false, now);
        }
    }

    pub(super) fn operate(
        &mut self,
        alarm: AlarmId,
        instrument: Option<String>,
        who: &str,
        action: &OperatorAction,
        now: Moment,
    ) {
        let elapsed_s = self.elapsed_s(now);
        let what = match action {
            OperatorAction::Acknowledge => "acknowledged".to_owned(),
            OperatorAction::Shelve { minutes, reason } => {
                format!("shelved for {minutes:.0} min ({reason})")
            }
            OperatorAction::Unshelve => "taken from the shelf".to_owned(),
            OperatorAction::OutOfService { reason } => format!("taken out of service ({reason})"),
            OperatorAction::ReturnToService => "returned to service".to_owned(),
        };
        let about = instrument
            .as_ref()
            .map_or_else(String::new, |id| format!(" {id}"));
        let line = self.annunciator.operate(
            alarm,
            instrument,
            action,
            &self.parameters,
            (now, elapsed_s),
        );
        if let Some(line) = line {
            self.put(now, Output::Line(Line::Alarm(report::rounded(line))));
            self.occur(
                now,
                "alarm-operated",
                format!("{}{about} {what} by {who}.", alarm.name()),
            );
        }
    }

    pub(super) fn take_sample(&mut self, sample: &Sample, now: Moment) {
        let picture = self.picture(now);
        let Some(mut brew) = self.brew.take() else {
            return;
        };
        if let Some(volume_l) = sample.volume_l {
            brew.kettle.observe_sample_volume(volume_l);
        }
        match (sample.place, sample.gravity_p) {
            (Place::Runnings, Some(gravity_p)) => brew.take_runnings_sample(gravity_p, &picture),
            (Place::Kettle, Some(gravity_p)) => _ = brew.kettle.observe_kettle_sample(gravity_p),
            (_, None) => {}
        }
        if let (Place::Runnings, Some(ph)) = (sample.place, sample.ph) {
            match picture.runnings_ph {
                Some(line) => brew.compare_ph_sample(ph, line.value, &picture, &self.parameters),
                None => brew.take_ph_sample(ph, &picture, &self.parameters),
            }
        }
        let occurrence = report::sample(&brew, sample, now);
        self.brew = Some(brew);
        self.put(now, occurrence);
    }
}

/// One call for one act: a second limit after the first, a warning of a limit that is met, and a stop-point that is
/// a limit already warned of, ask for nothing new.
fn said_already(brew: &Brew, alarm: AlarmId) -> bool {
    let ended_by = brew.stop_taken.map(|stop| stop.cause);
    match alarm {
        AlarmId::PhCeiling => ended_by == Some(StopCause::GravityFloor),
        AlarmId::GravityFloor => ended_by == Some(StopCause::PhCeiling),
        AlarmId::TanninLimitAhead => ended_by.is_some(),
        AlarmId::StopPointAhead => {
            let cause = brew.stop.map(|stop| stop.cause);
            matches!(cause, Some(StopCause::GravityFloor | StopCause::PhCeiling))
        }
        _ => false,
    }
}

/// Alarms that only follow from the stop-point, from recirculating, or from being done.
fn suppressed(alarm: AlarmId, after_stop: bool, phase: Phase) -> bool {
    let consequence_of_stop = matches!(
        alarm,
        AlarmId::GravityFloor
            | AlarmId::PhCeiling
            | AlarmId::TanninLimitAhead
            | AlarmId::StopPointAhead
            | AlarmId::RunoffTooFast
            | AlarmId::RunoffTooSlow
            | AlarmId::Channelling
            | AlarmId::BedCompaction
            | AlarmId::StuckBed
            | AlarmId::TurbidRunnings
    );
    let pace = matches!(alarm, AlarmId::RunoffTooFast | AlarmId::RunoffTooSlow);
    (after_stop && consequence_of_stop)
        || (phase == Phase::Draining && pace)
        || (phase == Phase::Recirculation && (pace || alarm == AlarmId::TurbidRunnings))
}

fn in_words(cause: Cause) -> &'static str {
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

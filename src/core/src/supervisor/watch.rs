//! One step of the grid: sum, learn, judge, tell.
//!
//! Owns what is done at each grid point and in which order. What becomes of a finding is `alarms`' concern.

use crate::alarm::AlarmId;
use crate::detect::{Held, conditions};
use crate::projection::StopCause;
use crate::reading::Moment;

use super::brew::{Brew, COMPARE_EVERY_S, Picture};
use super::event::Sample;
use super::output::{Line, Output};
use super::{Supervisor, report};

impl Supervisor {
    pub(super) fn step(&mut self, now: Moment) {
        if self.rests_in_silence(now) {
            return;
        }
        let picture = self.picture(now);
        if let Some(mut brew) = self.brew.take() {
            self.step_brew(&mut brew, &picture, now);
            self.brew = Some(brew);
        } else {
            self.end_runoff_alarms(false, now);
        }
        self.watch_instruments(now);
        self.watch_deliveries(now);
        self.end_shelving(now);
        if self.due(now, self.parameters.reading_every_s) {
            self.report_readings(now);
        }
    }

    /// Sums what has run off in one step.
    pub(super) fn balance(&self, brew: &mut Brew, picture: &Picture, now: Moment) {
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
    }

    fn step_brew(&mut self, brew: &mut Brew, picture: &Picture, now: Moment) {
        self.balance(brew, picture, now);
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
            let stopped = brew.if_stopped(now, &self.plant, &self.parameters);
            let state = report::runoff(brew, picture, now, stopped);
            self.put(now, Output::Runoff(state));
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
        let mut findings = std::mem::take(&mut self.findings);
        let view = self.view(brew, picture, now);
        let forecast = brew.channel_watch.forecast(brew.kettle.metered_l());
        let channel_active = self.annunciator.is_met(AlarmId::Channelling, None);
        let channelling =
            brew.channel_watch
                .finding(&self.parameters.detect, &view, forecast, channel_active);
        brew.heed_suspicion(channel_active);
        let held = |alarm: AlarmId| {
            let settings = self.parameters.alarm(alarm);
            Held {
                active: self.annunciator.any_met(alarm),
                deadband: settings.deadband(alarm),
                limit: settings.limit,
            }
        };
        let full = view.contents.volume_l >= self.plant.capacity_l;
        findings.push(channelling);
        conditions(&self.parameters.detect, &view, &held, &mut findings);
        let circumstances = Self::circumstances(Some(brew));
        self.note_quality(brew, channel_active);
        if full && brew.stop_taken.is_none() {
            brew.take_stop(
                StopCause::KettleCapacity,
                now,
                &self.plant,
                &self.parameters,
            );
        }
        for finding in findings.drain(..) {
            let finding = brew.inflow.doubting(finding);
            let alarm = finding.alarm;
            self.announce(finding, circumstances, now);
            self.note_stop(brew, alarm, now);
        }
        self.findings = findings;
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
        if self.annunciator.any_met(AlarmId::InstrumentsDisagree) {
            brew.notes.disagreed();
        }
    }

    /// A limit whose alarm has been annunciated has ended the run-off, if it is the first.
    fn note_stop(&self, brew: &mut Brew, alarm: AlarmId, now: Moment) {
        let cause = match alarm {
            AlarmId::GravityFloor if brew.floor_met.is_none() => StopCause::GravityFloor,
            AlarmId::PhCeiling if brew.ceiling_met.is_none() => StopCause::PhCeiling,
            _ => return,
        };
        if self.annunciator.is_met(alarm, None) {
            brew.take_stop(cause, now, &self.plant, &self.parameters);
        }
    }

    pub(super) fn take_sample(&mut self, sample: &Sample, now: Moment) {
        let picture = self.picture(now);
        let Some(mut brew) = self.brew.take() else {
            return;
        };
        brew.take_sample(sample, &picture, now, &self.parameters);
        let occurrence = report::sample(&brew, sample, now);
        self.brew = Some(brew);
        self.put(now, occurrence);
    }

    pub(super) fn withdraw_sample(&mut self, number: usize, now: Moment) {
        let Some(mut brew) = self.brew.take() else {
            return;
        };
        if let Some((at, sample)) = brew.withdraw_sample(number) {
            let occurrence = report::sample_withdrawn(&brew, &sample, at, now);
            self.put(now, occurrence);
        }
        self.brew = Some(brew);
    }
}

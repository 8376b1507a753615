//! One instrument inside the supervisor: from what arrives to a value in the program's own unit.
//!
//! Owns the order of the steps: status, current loop, zero, limits, correction, conditioning, conversion. Switches are
//! taken as they are. It does not know what the value is for.

use serde::{Deserialize, Serialize};

use crate::calibration::Correction;
use crate::conditioning::{Conditioner, Estimate, Outcome, Parameters, Timed};
use crate::reading::{Cause, Instrument, Moment, Reading, Status, switch_is_on};
use crate::units::{Dimension, Unit, loop_state, loop_to_span};

/// An instrument and what is known of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Channel {
    pub instrument: Instrument,
    /// Unit of the conditioned value: the instrument's, or its span's for a current loop.
    pub unit: Unit,
    conditioner: Conditioner,
    switch: Option<Result<bool, Cause>>,
    status: Status,
    raw: Option<f64>,
    /// The last reading in `unit`, after zero and before any correction; then after it.
    #[serde(default)]
    measured: Option<f64>,
    #[serde(default)]
    corrected: Option<f64>,
    #[serde(default)]
    correction: Option<Correction>,
    pub readings: u64,
    pub rejected: u64,
    /// A reading has come since the last one was put out.
    pub fresh: bool,
    /// It had a value when it was last put out.
    pub had_value: bool,
    /// The last believed reading, unfiltered, in `unit`.
    believed: Option<Timed>,
    /// Sum of the jumps that the process cannot have made, in `unit`; nought while there is none.
    jumped: f64,
    /// When it was first asked for a value: silence counts from here.
    since: Option<Moment>,
    /// When its link last brought anything of it, be it an error.
    heard: Option<Moment>,
}

impl Channel {
    pub fn new(instrument: Instrument) -> Self {
        Self::corrected_by(instrument, None)
    }

    /// With fresh conditioning, so that what was learnt from readings corrected otherwise does not stay.
    pub fn corrected_by(instrument: Instrument, correction: Option<Correction>) -> Self {
        let unit = instrument.reads_in();
        let (low, high) = Self::limits(&instrument);
        let (low, high) = correction.map_or((low, high), |made| made.rule.range(low, high));
        let conditioner = Conditioner::new(
            Parameters::for_measurement(instrument.measures),
            low,
            high,
            instrument.stale_after_s,
        );
        Self {
            instrument,
            unit,
            conditioner,
            switch: None,
            status: Status::Good,
            raw: None,
            measured: None,
            corrected: None,
            correction,
            readings: 0,
            rejected: 0,
            fresh: false,
            had_value: false,
            believed: None,
            jumped: 0.0,
            since: None,
            heard: None,
        }
    }

    /// Limits of the conditioned value: those of a current loop are currents and become the span's ends.
    fn limits(instrument: &Instrument) -> (f64, f64) {
        instrument.limits().unwrap_or((0.0, 1.0))
    }

    /// When its link last brought anything of it; None before it ever did.
    pub fn heard(&self) -> Option<Moment> {
        self.heard
    }

    pub fn is_switch(&self) -> bool {
        self.instrument.measures.dimension() == Dimension::Switch
    }

    /// Takes a reading; `process_moves` tells whether this value must be moving, `celsius` how warm the instrument is.
    pub fn observe(&mut self, reading: &Reading, process_moves: bool, celsius: f64) -> Outcome {
        self.readings += 1;
        self.fresh = true;
        if reading.value != Err(Cause::LinkLost) {
            self.heard = Some(reading.at);
        }
        self.status = reading.status;
        self.raw = reading.value.ok();
        self.measured = self
            .measured(reading)
            .ok()
            .filter(|value| value.is_finite());
        let value = self.admitted(reading, celsius);
        self.corrected = value.ok().filter(|_| self.correction.is_some());
        if self.is_switch() {
            self.switch = Some(value.map(switch_is_on));
            self.rejected += u64::from(value.is_err());
            return Outcome {
                cause: value.err(),
                ..Outcome::default()
            };
        }
        let outcome = self.conditioner.observe(value, reading.at, process_moves);
        self.believed = outcome.believed.last().copied().or(self.believed);
        let refused = outcome.cause.is_some_and(|cause| cause != Cause::Spike);
        self.rejected += outcome.spikes as u64 + u64::from(refused);
        outcome
    }

    fn admitted(&self, reading: &Reading, celsius: f64) -> Result<f64, Cause> {
        reading.value?;
        match reading.status {
            Status::Failure => return Err(Cause::DeviceFailure),
            Status::FunctionCheck => return Err(Cause::FunctionCheck),
            Status::Good | Status::MaintenanceRequired | Status::OutOfSpecification => {}
        }
        let value = self.measured(reading)?;
        let Some(correction) = self.correction else {
            return Ok(value);
        };
        if !value.is_finite() {
            return Err(Cause::NotFinite);
        }
        // The limits are the instrument's own: a correction must not bring a fault within them.
        let (low, high) = Self::limits(&self.instrument);
        if !(low..=high).contains(&value) {
            return Err(Cause::OutsideLimits);
        }
        Ok(correction.rule.apply(value, celsius))
    }

    /// The reading in `unit`, with its zero and before any correction.
    fn measured(&self, reading: &Reading) -> Result<f64, Cause> {
        let value = reading.value?;
        let Some(span) = self.instrument.span else {
            return Ok(value - self.instrument.zero);
        };
        if !value.is_finite() {
            return Err(Cause::NotFinite);
        }
        let state = loop_state(value);
        if !state.is_measured() {
            return Err(if value < span_middle_ma() {
                Cause::LoopBelowRange
            } else {
                Cause::LoopAboveRange
            });
        }
        // The zero of a current loop is a current.
        Ok(loop_to_span(
            value - self.instrument.zero,
            span.at_4_ma,
            span.at_20_ma,
        ))
    }

    /// The conditioned value in `unit`, or the cause why there is none.
    pub fn estimate(&self, now: Moment) -> Result<Estimate, Cause> {
        if self.jumped != 0.0 {
            return Err(Cause::Jumped);
        }
        self.conditioner.estimate(now)
    }

    /// It has jumped by `size` and the process cannot have done so: its value is not to be believed until it has
    /// jumped back.
    pub fn distrust_jump(&mut self, size: f64) {
        let sum = self.jumped + size;
        let back = sum.abs() < 0.3 * size.abs();
        self.jumped = if back { 0.0 } else { sum };
    }

    /// A switch's position, or the cause why it is not known. Many switches are sent only when they move, so an
    /// old position stays true until its link is lost.
    pub fn is_on(&self) -> Result<bool, Cause> {
        self.switch.ok_or(Cause::NeverRead)?
    }

    /// Why this instrument gives no usable value; None while it does. `grace_s` after the first question a
    /// silent instrument is not yet at fault.
    pub fn fault(&mut self, now: Moment) -> Option<Cause> {
        let since = *self.since.get_or_insert(now);
        let cause = if self.is_switch() {
            self.is_on().err()
        } else {
            self.estimate(now).err()
        }?;
        let waiting =
            cause == Cause::NeverRead && now.since(since) <= self.instrument.stale_after_s;
        (!waiting).then_some(cause)
    }

    /// The last believed reading, unfiltered, while it is not too old: what a counter really counted.
    pub fn counted(&self, now: Moment) -> Option<f64> {
        let believed = self.believed.filter(|_| self.jumped == 0.0)?;
        (now.since(believed.at) <= self.stale_after_s()).then_some(believed.value)
    }

    pub fn status(&self) -> Status {
        self.status
    }

    pub fn raw(&self) -> Option<f64> {
        self.raw
    }

    pub fn last_measured(&self) -> Option<f64> {
        self.measured
    }

    pub fn last_corrected(&self) -> Option<f64> {
        self.corrected
    }

    pub fn correction(&self) -> Option<Correction> {
        self.correction
    }

    pub fn last_cause(&self) -> Option<Cause> {
        self.conditioner.last_cause()
    }

    pub fn reading_noise(&self) -> f64 {
        self.conditioner.reading_noise()
    }

    pub fn stale_after_s(&self) -> f64 {
        self.conditioner.stale_after_s()
    }
}

/// Between the two fault regions of NAMUR NE 43.
fn span_middle_ma() -> f64 {
    12.0
}

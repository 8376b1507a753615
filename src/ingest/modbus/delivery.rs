//! From answers to readings.
//!
//! Owns the joining of an instrument's value with its status, and the rule that a lost link is told once.
//! A configured status belongs to the value: without it there is no reading to believe. Knows nothing of
//! connections or of when to ask.

use std::collections::BTreeMap;

use lauter_core::reading::{Cause, Moment, Reading, Status};

use crate::config::model::ModbusPoint;
use crate::ingest::{Arrival, Intake};

use super::decode::{self, Payload};
use super::plan::{Item, Part, Read};

/// A part of a reading, the step of the schedule it belongs to, and when it came.
#[derive(Clone, Copy, Debug)]
struct Stamped<T> {
    step: Moment,
    at: Moment,
    what: Result<T, Cause>,
}

#[derive(Debug)]
struct Pending {
    point: ModbusPoint,
    value: Option<Stamped<f64>>,
    status: Option<Stamped<Status>>,
    /// The loss has been told and no reading has come since.
    lost: bool,
}

/// The readings of one link on their way to the runtime.
#[derive(Debug)]
pub(super) struct Delivery {
    pending: BTreeMap<usize, Pending>,
    intake: Intake,
}

impl Delivery {
    pub fn new(points: Vec<(usize, ModbusPoint)>, intake: Intake) -> Self {
        let pending = points
            .into_iter()
            .map(|(instrument, point)| {
                let pending = Pending {
                    point,
                    value: None,
                    status: None,
                    lost: false,
                };
                (instrument, pending)
            })
            .collect();
        Self { pending, intake }
    }

    /// The device sent what was asked for.
    pub fn answered(&mut self, read: &Read, payload: &Payload<'_>, step: Moment, at: Moment) {
        for item in &read.items {
            let part = payload.part(read.range.address, item.range);
            self.receive(*item, step, at, Ok(&part));
        }
    }

    /// The device answered with an exception.
    pub fn refused(&mut self, read: &Read, step: Moment, at: Moment) {
        for item in &read.items {
            self.receive(*item, step, at, Err(Cause::DeviceError));
        }
    }

    /// Nothing answers for these instruments. Told once, until something comes again.
    pub fn lost(&mut self, instruments: impl IntoIterator<Item = usize>, at: Moment) {
        for instrument in instruments {
            let Some(pending) = self.pending.get_mut(&instrument) else {
                continue;
            };
            pending.value = None;
            pending.status = None;
            if !pending.lost {
                pending.lost = true;
                let reading = combined(Err(Cause::LinkLost), Ok(Status::Failure), at);
                self.intake.put(Arrival::Reading {
                    instrument,
                    reading,
                });
            }
        }
    }

    /// As `lost`, for every instrument of the link.
    pub fn all_lost(&mut self, at: Moment) {
        let all: Vec<usize> = self.pending.keys().copied().collect();
        self.lost(all, at);
    }

    fn receive(&mut self, item: Item, step: Moment, at: Moment, part: Result<&Payload<'_>, Cause>) {
        let Some(pending) = self.pending.get_mut(&item.instrument) else {
            return;
        };
        match (item.part, &pending.point.status) {
            (Part::Value, _) => {
                let what = part.and_then(|payload| decode::value(&pending.point, payload));
                pending.value = Some(Stamped { step, at, what });
            }
            (Part::Status, Some(register)) => {
                let what = part.map(|payload| decode::status(register, payload));
                pending.status = Some(Stamped { step, at, what });
            }
            (Part::Status, None) => {}
        }
        if let Some(reading) = pending.complete() {
            pending.lost = false;
            self.intake.put(Arrival::Reading {
                instrument: item.instrument,
                reading,
            });
        }
    }
}

impl Pending {
    /// The reading, once value and status of one and the same step are there.
    fn complete(&mut self) -> Option<Reading> {
        let value = self.value?;
        let status = match (&self.point.status, self.status) {
            (None, _) => Ok(Status::Good),
            (Some(_), Some(status)) if status.step == value.step => status.what,
            (Some(_), _) => return None,
        };
        self.value = None;
        self.status = None;
        Some(combined(value.what, status, value.at))
    }
}

/// A failure or a function check takes the value away; the milder classes go with it. What has no value
/// for another cause counts as failed: its signal is not valid (NE 107).
fn combined(value: Result<f64, Cause>, status: Result<Status, Cause>, at: Moment) -> Reading {
    let (value, status) = match (value, status) {
        (Err(Cause::LinkLost), _) => (Err(Cause::LinkLost), Status::Failure),
        (_, Ok(Status::Failure)) => (Err(Cause::DeviceFailure), Status::Failure),
        (_, Ok(Status::FunctionCheck)) => (Err(Cause::FunctionCheck), Status::FunctionCheck),
        (Ok(value), Ok(status)) => (Ok(value), status),
        (Err(cause), _) | (_, Err(cause)) => (Err(cause), Status::Failure),
    };
    Reading { value, status, at }
}

#[cfg(test)]
mod tests {
    use tokio::sync::mpsc::Receiver;

    use super::super::parameters::Parameters;
    use super::super::plan::plan;
    use super::super::testing::register;
    use super::*;
    use crate::config::model::StatusRegister;

    /// A point at register 0 with its status at register 10, so that they are read apart.
    fn with_status() -> (Delivery, Vec<Read>, Receiver<Arrival>) {
        let mut point = register(1, 0);
        point.status = Some(StatusRegister {
            address: 10,
            bits: vec![
                (0, Status::MaintenanceRequired),
                (1, Status::FunctionCheck),
                (2, Status::Failure),
            ],
        });
        let reads = plan(&[(0, &point)], &Parameters::default());
        let (intake, arrivals) = Intake::channel();
        (Delivery::new(vec![(0, point)], intake), reads, arrivals)
    }

    fn reading(arrivals: &mut Receiver<Arrival>) -> Option<Reading> {
        match arrivals.try_recv().ok()? {
            Arrival::Reading { reading, .. } => Some(reading),
            Arrival::Link { .. } => panic!("no link state comes from here"),
        }
    }

    fn word(word: u16) -> Payload<'static> {
        Payload::Registers(vec![word].into())
    }

    #[test]
    fn status_bits_take_the_value_away_or_go_with_it() {
        let cases = [
            (0b000, Ok(42.0), Status::Good),
            (0b001, Ok(42.0), Status::MaintenanceRequired),
            (0b011, Err(Cause::FunctionCheck), Status::FunctionCheck),
            (0b111, Err(Cause::DeviceFailure), Status::Failure),
        ];
        for (bits, value, status) in cases {
            let (mut delivery, reads, mut arrivals) = with_status();
            delivery.answered(&reads[0], &word(42), Moment(0), Moment(5));
            assert_eq!(reading(&mut arrivals), None, "the status is still missing");
            delivery.answered(&reads[1], &word(bits), Moment(0), Moment(6));
            let at = Moment(5);
            assert_eq!(reading(&mut arrivals), Some(Reading { value, status, at }));
        }
    }

    #[test]
    fn a_status_of_another_step_is_not_joined_to_the_value() {
        let (mut delivery, reads, mut arrivals) = with_status();
        delivery.answered(&reads[1], &word(0), Moment(0), Moment(1));
        delivery.answered(&reads[0], &word(7), Moment(20), Moment(21));
        assert_eq!(reading(&mut arrivals), None);
        delivery.answered(&reads[1], &word(0), Moment(20), Moment(22));
        assert_eq!(reading(&mut arrivals).unwrap().value, Ok(7.0));
    }

    #[test]
    fn a_value_whose_status_is_refused_is_not_believed() {
        let (mut delivery, reads, mut arrivals) = with_status();
        delivery.answered(&reads[0], &word(7), Moment(0), Moment(1));
        delivery.refused(&reads[1], Moment(0), Moment(2));
        assert_eq!(
            reading(&mut arrivals).unwrap().value,
            Err(Cause::DeviceError)
        );
    }

    #[test]
    fn a_loss_is_told_once_until_something_comes_again() {
        let (mut delivery, reads, mut arrivals) = with_status();
        delivery.answered(&reads[0], &word(7), Moment(0), Moment(1));
        delivery.all_lost(Moment(2));
        delivery.lost([0, 0], Moment(3));
        assert_eq!(reading(&mut arrivals).unwrap().value, Err(Cause::LinkLost));
        assert_eq!(reading(&mut arrivals), None);
        delivery.answered(&reads[1], &word(0), Moment(0), Moment(4));
        assert_eq!(reading(&mut arrivals), None, "the old value is gone");
        delivery.answered(&reads[0], &word(8), Moment(20), Moment(21));
        delivery.answered(&reads[1], &word(0), Moment(20), Moment(22));
        assert_eq!(reading(&mut arrivals).unwrap().value, Ok(8.0));
        delivery.all_lost(Moment(30));
        assert_eq!(reading(&mut arrivals).unwrap().value, Err(Cause::LinkLost));
    }
}

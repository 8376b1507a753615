//! What the service answers when it cannot do what it was asked, and with which status.
//!
//! Owns the mapping from refusals and store errors to HTTP. The words are those of the error itself.

use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use lauter_core::alarm::OperationFault;

use super::live::LookError;
use super::wire::{ErrorBody, Fault};
use crate::access::NotAllowed;
use crate::charts::ChartError;
use crate::config::{ConfigErrors, Place};
use crate::runtime::request::Refusal;
use crate::store::StoreError;

/// The key of a fault that may be right all the same.
pub(super) const DOUBTFUL: &str = "doubtful";

/// A request that was not carried out.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    pub status: StatusCode,
    pub body: ErrorBody,
}

pub type Answer<T> = Result<Json<T>, Problem>;

impl Problem {
    pub fn new(status: StatusCode, error: impl Into<String>) -> Self {
        Self {
            status,
            body: ErrorBody {
                error: error.into(),
                faults: Vec::new(),
                done: false,
            },
        }
    }

    /// Something that the address names is not there.
    pub fn not_found(error: impl Into<String>) -> Self {
        Self::new(StatusCode::NOT_FOUND, error)
    }

    /// Something that should not happen; the log has it.
    pub fn internal(error: &dyn std::fmt::Display) -> Self {
        tracing::error!(%error, "a web request could not be answered");
        Self::new(StatusCode::INTERNAL_SERVER_ERROR, error.to_string())
    }

    /// A body that can be read but whose values are wrong: all faults at once.
    pub fn unprocessable(what: &str, faults: Vec<Fault>) -> Self {
        let listed: Vec<String> = faults.iter().map(Fault::to_string).collect();
        Self {
            status: StatusCode::UNPROCESSABLE_ENTITY,
            body: ErrorBody {
                error: format!("{what}: {}", listed.join("; ")),
                faults,
                done: false,
            },
        }
    }

    /// What should be looked at once more before it is done.
    pub fn doubtful(words: impl Into<String>) -> Self {
        let words = words.into();
        Self {
            status: StatusCode::CONFLICT,
            body: ErrorBody {
                faults: vec![Fault::new(DOUBTFUL, words.clone())],
                error: words,
                done: false,
            },
        }
    }

    /// A plan in which something is wrong.
    pub fn of_plan(errors: ConfigErrors) -> Self {
        let faults = errors.errors.into_iter().map(|error| Fault {
            line: match error.place {
                Place::Line(line) | Place::Column(line, _) => Some(line),
                Place::File | Place::Variable(_) => None,
            },
            key: error.key,
            message: error.message,
        });
        Self::unprocessable("plan", faults.collect())
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        (self.status, Json(self.body)).into_response()
    }
}

impl From<Refusal> for Problem {
    fn from(refusal: Refusal) -> Self {
        let status = match &refusal {
            Refusal::Alarm { fault, .. } => match fault {
                OperationFault::NothingToAcknowledge { .. }
                | OperationFault::AlreadyShelved
                | OperationFault::NotShelved { .. }
                | OperationFault::AlreadyOutOfService
                | OperationFault::InService { .. }
                | OperationFault::SwitchedOff => StatusCode::CONFLICT,
                OperationFault::ShelvedTooLong { .. }
                | OperationFault::ShelvedForNoTime { .. }
                | OperationFault::NoSubject { .. }
                | OperationFault::WhichSubject { .. }
                | OperationFault::UnknownSubject { .. } => StatusCode::UNPROCESSABLE_ENTITY,
            },
            Refusal::BrewUnderWay(_)
            | Refusal::NoBrew
            | Refusal::FarSample(_)
            | Refusal::NoCorrection(_) => StatusCode::CONFLICT,
            Refusal::NoSample(_) | Refusal::NoInstrument(_) => StatusCode::NOT_FOUND,
            Refusal::Plan(_) => StatusCode::UNPROCESSABLE_ENTITY,
            Refusal::Store(_) | Refusal::Unwritten(_) | Refusal::Stopping => {
                StatusCode::SERVICE_UNAVAILABLE
            }
        };
        let mut problem = Self::new(status, refusal.to_string());
        problem.body.done = matches!(refusal, Refusal::Unwritten(_));
        problem
    }
}

impl From<NotAllowed> for Problem {
    fn from(refused: NotAllowed) -> Self {
        Self::new(StatusCode::FORBIDDEN, refused.to_string())
    }
}

impl From<ChartError> for Problem {
    fn from(error: ChartError) -> Self {
        Self::internal(&error)
    }
}

impl From<LookError> for Problem {
    fn from(error: LookError) -> Self {
        match error {
            LookError::Refused(refusal) => refusal.into(),
            LookError::Record(error) => error.into(),
        }
    }
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Self {
        let status = match &error {
            // The brew was replaced or its time ran out between two queries.
            StoreError::NoSuchBrew { .. } => StatusCode::NOT_FOUND,
            StoreError::Closed => StatusCode::SERVICE_UNAVAILABLE,
            passing if passing.is_passing() => StatusCode::SERVICE_UNAVAILABLE,
            _ => StatusCode::INTERNAL_SERVER_ERROR,
        };
        if status.is_server_error() {
            tracing::warn!(%error, "a web request could not be answered from the record");
        }
        Self::new(status, error.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_refusal_has_its_status_and_keeps_its_words() {
        let refused = |fault| Refusal::Alarm {
            alarm: "channelling".to_owned(),
            fault,
        };
        let too_long = OperationFault::ShelvedTooLong {
            minutes: 90.0,
            longest_min: 60.0,
        };
        let cases = [
            (Refusal::BrewUnderWay("7".to_owned()), 409),
            (Refusal::NoBrew, 409),
            (Refusal::NoCorrection("runnings_ph".to_owned()), 409),
            (refused(OperationFault::AlreadyShelved), 409),
            (Refusal::FarSample(Vec::new()), 409),
            (Refusal::NoSample(2), 404),
            (refused(too_long), 422),
            (Refusal::Plan("no pH instrument".to_owned()), 422),
            (Refusal::Store("disk full".to_owned()), 503),
            (Refusal::Unwritten("disk full".to_owned()), 503),
            (Refusal::Stopping, 503),
        ];
        for (refusal, status) in cases {
            let words = refusal.to_string();
            let problem = Problem::from(refusal);
            assert_eq!(
                (problem.status.as_u16(), problem.body.error),
                (status, words)
            );
        }
    }

    #[test]
    fn a_record_without_the_brew_is_not_found_and_a_full_disk_passes() {
        let path = std::path::PathBuf::from("x");
        let missing = StoreError::NoSuchBrew {
            path: path.clone(),
            brew: 3,
        };
        assert_eq!(Problem::from(missing).status, StatusCode::NOT_FOUND);
        let full = StoreError::DiskFull {
            path: path.clone(),
            doing: "reading",
        };
        assert_eq!(Problem::from(full).status, StatusCode::SERVICE_UNAVAILABLE);
        let foreign = StoreError::Foreign { path };
        assert_eq!(
            Problem::from(foreign).status,
            StatusCode::INTERNAL_SERVER_ERROR
        );
    }
}

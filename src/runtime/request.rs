//! What people ask of a running tun, and what it answers.
//!
//! Owns the requests and their replies. The web interface and the command line bring them; only the tun's own
//! task answers, so that everything that changes a brew goes through one place in one order.

use std::sync::{Arc, OnceLock};

use jiff::Timestamp;
use lauter_core::alarm::{AlarmId, OperationFault};
use lauter_core::calibration::Correction;
use lauter_core::projection::Plan;
use lauter_core::supervisor::{
    Event, FanPoint, Line, OperatorAction, Outlook, ProjectionLine, RunoffState, Sample,
    SampleDoubt,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use thiserror::Error;
use tokio::sync::{oneshot, watch};

use crate::config::Configuration;
use crate::store::{MadeCorrection, NewCheck, StoredCheck, StoredCorrection, TunId};

/// How many requests may wait for one tun's task. People ask by hand; more than this is a fault.
pub const REQUESTS_BOUND: usize = 64;

/// Why a request was not carried out.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum Refusal {
    #[error("brew {0} is under way; end it first (lauterd brew end)")]
    BrewUnderWay(String),
    #[error("no brew is under way; start one first (lauterd brew start --plan PLAN.toml)")]
    NoBrew,
    #[error("the plan does not fit this tun: {0}")]
    Plan(String),
    #[error("alarm {alarm} {fault}")]
    Alarm {
        alarm: String,
        fault: OperationFault,
    },
    #[error("the sample is far from what is expected")]
    FarSample(Vec<SampleDoubt>),
    #[error("sample {} does not stand in this brew: it was never given, or has been withdrawn", .0 + 1)]
    NoSample(usize),
    #[error("there is no instrument {0}")]
    NoInstrument(String),
    #[error("{0} has no correction; there is nothing to take back")]
    NoCorrection(String),
    /// Nothing was done.
    #[error("the record cannot be written: {0}")]
    Store(String),
    /// It was done, and is not on the disk yet.
    #[error(
        "it is done and kept in memory, and written as soon as the record can be; do not enter it again. The record cannot be \
         written now: {0}"
    )]
    Unwritten(String),
    #[error("the service is stopping")]
    Stopping,
}

/// What has become of a hand sample.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SampleReceipt {
    /// Its place among the brew's samples, from 0.
    pub number: usize,
    /// It had been given within the last minute, and was not taken a second time.
    pub repeated: bool,
    /// It is on the disk. Else it counts all the same, is kept in memory, and is written as soon as the record can be.
    pub recorded: bool,
}

pub type Reply<T> = oneshot::Sender<Result<T, Refusal>>;

/// A request to one tun.
#[derive(Debug)]
pub enum Request {
    /// A brew id seen before replaces its record.
    StartBrew {
        plan: Box<Plan>,
        who: String,
        reply: Reply<()>,
    },
    /// Answers with the brew's id.
    EndBrew {
        who: String,
        reply: Reply<String>,
    },
    /// `ask`: refuse a sample that is far from what instruments and balance say.
    Sample {
        sample: Sample,
        ask: bool,
        who: String,
        reply: Reply<SampleReceipt>,
    },
    /// Numbers count from 0. Answers with the sample.
    WithdrawSample {
        number: usize,
        who: String,
        reply: Reply<Sample>,
    },
    Operate {
        alarm: AlarmId,
        instrument: Option<String>,
        who: String,
        action: OperatorAction,
        reply: Reply<()>,
    },
    /// Something done elsewhere that belongs in the trail.
    Deed {
        who: String,
        deed: String,
        reply: Reply<()>,
    },
    /// A note or a raking: an event that only a brew under way can take.
    Report {
        event: Event,
        reply: Reply<()>,
    },
    /// A correction of an instrument, or its taking back.
    Correct {
        new: NewCorrection,
        reply: Reply<StoredCorrection>,
    },
    /// A loop check that somebody has made.
    EnterCheck {
        new: Box<NewCheck>,
        reply: Reply<StoredCheck>,
    },
    Status {
        reply: oneshot::Sender<TunStatus>,
    },
    /// The forecast fan; empty without a brew.
    Forecast {
        reply: oneshot::Sender<Vec<FanPoint>>,
    },
}

/// What an instrument's readings are to be corrected by.
#[derive(Clone, Debug, PartialEq)]
pub struct NewCorrection {
    pub instrument: String,
    /// None takes back what is in force.
    pub correction: Option<MadeCorrection>,
    pub due: Option<Timestamp>,
    pub who: String,
}

/// Counters that grow when there is something new to see, so that whoever watches need not ask in vain.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct News {
    /// The supervisor has told something.
    pub told: u64,
    /// Something of a brew has come onto the disk.
    pub recorded: u64,
}

/// A tun as it stands now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TunStatus {
    pub site: String,
    pub tun: String,
    /// RFC 3339, UTC, ms.
    pub time: String,
    pub brew: Option<String>,
    pub plan: Option<Plan>,
    pub runoff: Option<RunoffState>,
    pub projection: Option<ProjectionLine>,
    /// Pace and bed; null without a brew.
    #[serde(default)]
    pub outlook: Option<Outlook>,
    /// The latest line of every alarm that is not normal.
    pub alarms: Vec<Line>,
    /// Latest conditioned reading of every instrument, in configuration order.
    pub readings: Vec<lauter_core::supervisor::ConditionedReading>,
    /// Corrections and due dates of the instruments that have any.
    #[serde(default)]
    pub calibration: Vec<Calibrated>,
    pub health: serde_json::Value,
}

/// How an instrument stands with its loop checks and its correction.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Calibrated {
    pub instrument: String,
    /// The correction in force; null where readings pass as they come.
    pub correction: Option<Correction>,
    /// When it was last checked or calibrated; RFC 3339, UTC.
    pub looked_at: Option<String>,
    /// When it is to be checked again.
    pub due: Option<String>,
    /// What somebody should see to, in words; no alarm.
    pub hint: Option<String>,
}

/// How others reach one tun.
#[derive(Clone, Debug)]
pub struct TunHandle {
    pub site: String,
    pub tun: String,
    /// Its number in the store, once there is a record.
    pub place: Arc<OnceLock<TunId>>,
    pub requests: tokio::sync::mpsc::Sender<Request>,
    pub news: watch::Receiver<News>,
    pub configuration: Arc<Configuration>,
}

impl TunHandle {
    /// Its number in the store; `UNKNOWN`, of which nothing is found, until there is a record.
    pub fn id(&self) -> TunId {
        self.place.get().copied().unwrap_or(TunId::UNKNOWN)
    }

    /// Sends a request made with a reply channel and waits for the answer.
    pub async fn ask<T>(&self, make: impl FnOnce(Reply<T>) -> Request) -> Result<T, Refusal> {
        let (reply, answer) = oneshot::channel();
        self.requests
            .send(make(reply))
            .await
            .map_err(|_| Refusal::Stopping)?;
        answer.await.map_err(|_| Refusal::Stopping)?
    }

    pub async fn status(&self) -> Result<TunStatus, Refusal> {
        let (reply, answer) = oneshot::channel();
        self.requests
            .send(Request::Status { reply })
            .await
            .map_err(|_| Refusal::Stopping)?;
        answer.await.map_err(|_| Refusal::Stopping)
    }

    pub async fn forecast(&self) -> Result<Vec<FanPoint>, Refusal> {
        let (reply, answer) = oneshot::channel();
        self.requests
            .send(Request::Forecast { reply })
            .await
            .map_err(|_| Refusal::Stopping)?;
        answer.await.map_err(|_| Refusal::Stopping)
    }
}

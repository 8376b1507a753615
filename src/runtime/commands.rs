//! The broker's commands, carried out for whoever's token they bear.
//!
//! Owns what a command's payload must hold, that none is carried out twice or late, and the reply. What an act needs
//! and does is the same as over HTTP.

use std::collections::VecDeque;

use jiff::Timestamp;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use super::request::TunHandle;
use super::sequence::Sequence;
use crate::access::{Access, Caller};
use crate::clock::{self, Clock};
use crate::command::{self, COMMANDS_BOUND, REPLIES_BOUND, Received, Reply};
use crate::config::{self, Configuration};
use crate::exit::{Failure, Kind};
use crate::publish::mqtt::topics::{Topics, time_text};
use crate::store::Store;
use crate::web::acts::Actor;
use crate::web::problem::Problem;
use crate::web::wire::{AlarmAction, AlarmOperation, Fault};

/// A command older than this, or as far ahead of the clock, is not carried out, s. Own choice: a person has looked
/// away by then; clocks in one brewhouse agree far better.
const OLDEST_S: f64 = 60.0;

/// Commands remembered with their replies; within `OLDEST_S` nobody gives as many.
const REMEMBERED: usize = 256;

/// What every command holds beside its own members.
#[derive(Deserialize)]
struct Envelope {
    id: String,
    time: Timestamp,
    token: String,
    #[serde(flatten)]
    own: Map<String, Value>,
}

/// The members of `start-brew`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StartBrew {
    plan: Value,
    #[serde(default)]
    replace: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WhichSample {
    number: usize,
}

/// The members of what is done about an alarm; the action is the command's name.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct OnAlarm {
    alarm: String,
    instrument: Option<String>,
    #[serde(default)]
    who: String,
    minutes: Option<f64>,
    reason: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NoMembers {}

/// What a tun's commands are carried out and answered with.
pub struct Answering {
    pub tun: TunHandle,
    pub store: Store,
    pub sequence: Sequence,
    pub clock: Clock,
}

/// Takes the broker's commands for a tun, where that is asked for: the tasks that do so.
pub fn start(
    configuration: &Configuration,
    answering: Answering,
    stop: &CancellationToken,
) -> Result<Vec<JoinHandle<()>>, Failure> {
    let mqtt = configuration.mqtt.as_ref().filter(|mqtt| mqtt.commands);
    let (Some(mqtt), Some(users)) = (mqtt, &configuration.web.users_file) else {
        return Ok(Vec::new());
    };
    let access = Access::of_users(users.clone(), configuration.web.session)
        .map_err(|error| Failure::new(Kind::Configuration, format!("web.users_file: {error}")))?;
    let topics = Topics::new(&configuration.site, &configuration.tun.name);
    let (commands_in, commands) = mpsc::channel(COMMANDS_BOUND);
    let (replies_in, replies) = mpsc::channel(REPLIES_BOUND);
    let listening = command::start(
        mqtt.clone(),
        topics.commands(),
        commands_in,
        replies,
        answering.clock,
        stop.clone(),
    );
    let carried_out = Commands {
        answering,
        access,
        topics,
        done: Remembered::default(),
    };
    let carrying_out = tokio::spawn(carried_out.run(commands, replies_in, stop.clone()));
    Ok(vec![listening, carrying_out])
}

/// Carries out the commands of one tun.
struct Commands {
    answering: Answering,
    access: Access,
    topics: Topics,
    done: Remembered,
}

/// A command as it was carried out.
struct Done {
    who: String,
    id: String,
    payload: Vec<u8>,
    outcome: Outcome,
}

/// The last commands, so that one that is delivered twice is carried out once.
#[derive(Default)]
struct Remembered {
    done: VecDeque<Done>,
}

type Outcome = Result<Value, Problem>;

impl Commands {
    /// One after the other, until `stop`.
    async fn run(
        mut self,
        mut received: mpsc::Receiver<Received>,
        replies: mpsc::Sender<Reply>,
        stop: CancellationToken,
    ) {
        while let Some(Some(command)) = stop.run_until_cancelled(received.recv()).await {
            let Some(reply) = self.take(&command).await else {
                continue;
            };
            if stop
                .run_until_cancelled(replies.send(reply))
                .await
                .is_none()
            {
                return;
            }
        }
    }

    /// None where nobody can be answered.
    async fn take(&mut self, command: &Received) -> Option<Reply> {
        let id = id_of(&command.payload)?;
        let outcome = self.outcome(command).await;
        let (status, error) = match &outcome {
            Ok(_) => (200, ""),
            Err(problem) => (problem.status.as_u16(), problem.body.error.as_str()),
        };
        tracing::info!(command = command.name, id, status, error, "command");
        Some(Reply {
            topic: self.topics.reply(&id),
            payload: self.payload(command, &id, &outcome),
        })
    }

    async fn outcome(&mut self, command: &Received) -> Outcome {
        let envelope: Envelope = serde_json::from_slice(&command.payload).map_err(|error| {
            Problem::unprocessable("command", vec![Fault::new("", error.to_string())])
        })?;
        let now = clock::wall_now();
        let caller = self
            .access
            .by_token(&envelope.token, now)
            .ok_or_else(|| refused(401, "the token is not known, or its time is over"))?;
        if let Some(known) = self.done.find(&caller.name, &envelope.id) {
            return if known.payload == command.payload {
                known.outcome.clone()
            } else {
                Err(refused(
                    409,
                    "another command had the same id; give each its own",
                ))
            };
        }
        let age_s = now.duration_since(envelope.time).as_secs_f64();
        if age_s.abs() > OLDEST_S {
            let words = format!(
                "the command is {age_s:.0} s old and was not carried out; allowed is {OLDEST_S:.0} s either way"
            );
            return Err(refused(409, &words));
        }
        let outcome = self.carry_out(&caller, &command.name, envelope.own).await;
        self.done.keep(Done {
            who: caller.name,
            id: envelope.id,
            payload: command.payload.clone(),
            outcome: outcome.clone(),
        });
        outcome
    }

    async fn carry_out(&self, caller: &Caller, name: &str, own: Map<String, Value>) -> Outcome {
        let actor = Actor {
            caller,
            tun: &self.answering.tun,
            store: &self.answering.store,
        };
        match name {
            "start-brew" => {
                let StartBrew { plan, replace } = members(own)?;
                let plan = config::plan_of_tree(std::path::Path::new("plan"), plan)
                    .map_err(Problem::of_plan)?;
                told(actor.start_brew(plan, replace).await)
            }
            "end-brew" => {
                let NoMembers {} = members(own)?;
                told(actor.end_brew().await)
            }
            "sample" => told(actor.sample(members(own)?, false).await),
            "withdraw-sample" => {
                let WhichSample { number } = members(own)?;
                told(actor.withdraw_sample(number).await)
            }
            "note" => told(actor.note(members(own)?).await),
            "raking" => told(actor.raking(members(own)?).await),
            name => {
                let action: AlarmAction = serde_json::from_value(json!(name)).map_err(|_| {
                    refused(404, "there is no such command; the commands are start-brew, end-brew, sample, withdraw-sample, note, raking, \
                                  acknowledge, shelve, unshelve, out-of-service, return-to-service")
                })?;
                let on: OnAlarm = members(own)?;
                let operation = AlarmOperation {
                    who: on.who,
                    action,
                    minutes: on.minutes,
                    reason: on.reason,
                };
                told(actor.alarm(&on.alarm, on.instrument, operation).await)
            }
        }
    }

    fn payload(&self, command: &Received, id: &str, outcome: &Outcome) -> Vec<u8> {
        let mut reply = json!({
            "time": time_text(clock::wall_now()),
            "seq": self.answering.sequence.next(),
            "id": id,
            "command": command.name,
        });
        match outcome {
            Ok(result) => {
                reply["status"] = json!(200);
                reply["result"] = result.clone();
            }
            Err(problem) => {
                reply["status"] = json!(problem.status.as_u16());
                reply["error"] = json!(problem.body.error);
                reply["faults"] = json!(problem.body.faults);
            }
        }
        reply.to_string().into_bytes()
    }
}

impl Remembered {
    fn find(&self, who: &str, id: &str) -> Option<&Done> {
        self.done
            .iter()
            .find(|done| done.who == who && done.id == id)
    }

    fn keep(&mut self, done: Done) {
        if self.done.len() == REMEMBERED {
            self.done.pop_front();
        }
        self.done.push_back(done);
    }
}

/// The id names the topic of the reply, so it must be one level of it.
fn id_of(payload: &[u8]) -> Option<String> {
    #[derive(Deserialize)]
    struct Named {
        id: String,
    }
    let named: Option<Named> = serde_json::from_slice(payload).ok();
    let fits = |id: &String| {
        (1..=64).contains(&id.len())
            && id
                .chars()
                .all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_')
    };
    let id = named.map(|named| named.id).filter(fits);
    if id.is_none() {
        tracing::warn!(
            "a command cannot be answered: it needs an id of 1 to 64 letters, digits, - and _"
        );
    }
    id
}

fn members<T: DeserializeOwned>(own: Map<String, Value>) -> Result<T, Problem> {
    serde_json::from_value(Value::Object(own))
        .map_err(|error| Problem::unprocessable("command", vec![Fault::new("", error.to_string())]))
}

fn told(done: Result<impl Serialize, Problem>) -> Outcome {
    done.map(|done| json!(done))
}

fn refused(status: u16, words: &str) -> Problem {
    let status = axum::http::StatusCode::from_u16(status).unwrap_or_default();
    Problem::new(status, words)
}

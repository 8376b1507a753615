//! What people say and did, and who is signed in.

use jiff::{SignedDuration, Timestamp};
use lauter_core::alarm::OperatorAction;
use lauter_core::reading::Moment;
use lauter_core::supervisor::Event;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Asked, Fault, Time, check_text};
use crate::access::Role;
use crate::store::{Brew, Database, DatedEvent, StoreError, TunId};

/// One line that says something: no control characters, and not spaces alone (as `check_text` has it).
pub(super) const ONE_LINE: &str = r"^(?=[\s\S]*\S)[^\u0000-\u001f\u007f-\u009f]+$";

/// Longest raking that can be reported, min. Common practice, no source: rakings last a minute or two.
const LONGEST_RAKING_MIN: f64 = 30.0;

/// Words for the record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NoteBody {
    #[schemars(length(max = 200), regex(pattern = ONE_LINE))]
    pub text: String,
    /// Where nobody signs in: who says it. A program may say here for whom it acts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(max = 200), regex(pattern = ONE_LINE))]
    pub who: Option<String>,
}

/// Somebody's word that the rakes run. Where no instrument sees them, the bed's figures begin anew after it; otherwise
/// it is only written down.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RakingBody {
    /// How long they run from now on.
    #[schemars(range(min = 0.5, max = LONGEST_RAKING_MIN))]
    pub minutes: f64,
    /// Where nobody signs in: who says it. A program may say here for whom it acts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(max = 200), regex(pattern = ONE_LINE))]
    pub who: Option<String>,
}

impl NoteBody {
    pub fn check(&self) -> Result<(), Vec<Fault>> {
        let mut faults = Vec::new();
        check_text("text", Some(&self.text), &mut faults);
        check_who(self.who.as_deref(), &mut faults);
        none_or(faults)
    }
}

impl RakingBody {
    pub fn check(&self) -> Result<(), Vec<Fault>> {
        let mut faults = Vec::new();
        check_who(self.who.as_deref(), &mut faults);
        if !(0.5..=LONGEST_RAKING_MIN).contains(&self.minutes) {
            let message = format!(
                "is {}; allowed is 0.5 to {LONGEST_RAKING_MIN}",
                self.minutes
            );
            faults.push(Fault::new("minutes", message));
        }
        none_or(faults)
    }
}

fn check_who(who: Option<&str>, faults: &mut Vec<Fault>) {
    if who.is_some() {
        check_text("who", who, faults);
    }
}

fn none_or(faults: Vec<Fault>) -> Result<(), Vec<Fault>> {
    if faults.is_empty() {
        Ok(())
    } else {
        Err(faults)
    }
}

/// A note as it stands in the record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Noted {
    pub text: String,
    pub who: String,
}

/// What was said about the rakes, as it stands in the record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RakingNoted {
    pub minutes: f64,
    pub who: String,
}

/// A person's name and password.
#[derive(Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SignInBody {
    pub user: String,
    pub password: String,
}

impl std::fmt::Debug for SignInBody {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "SignInBody of {:?}", self.user)
    }
}

/// Who is signed in, and what their page must send in the header X-Lauterd-Csrf with each change (null for programs
/// and where nobody signs in).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SignedIn {
    pub name: String,
    pub role: Role,
    pub csrf: Option<String>,
}

/// Something a person or program did.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ActionEntry {
    #[schemars(with = "Time")]
    pub time: Timestamp,
    /// Null between brews.
    pub brew: Option<String>,
    pub who: String,
    /// Such as `brew-started`, `sample`, `acknowledge`, `shelve`, `note`.
    pub action: String,
    /// Of which alarm, and the words that belong to it.
    pub about: Option<String>,
}

/// Everything that people and programs did, oldest first. None where the brew that was asked for is not in the record.
pub fn actions(
    database: &Database,
    tun: TunId,
    asked: &Asked,
) -> Result<Option<Vec<ActionEntry>>, StoreError> {
    let mut entries = Vec::new();
    if let Some(name) = &asked.brew {
        let Some(brew) = database.find_brew(tun, name)? else {
            return Ok(None);
        };
        entries_of_brew(database, &brew, &mut entries)?;
        return Ok(Some(entries));
    }
    let age = SignedDuration::try_from_secs_f64(asked.days * 86_400.0).ok();
    let since = age
        .and_then(|age| asked.now.checked_sub(age).ok())
        .unwrap_or(Timestamp::UNIX_EPOCH);
    for brew in database.brews(tun)? {
        if brew.header.started >= since {
            entries_of_brew(database, &brew, &mut entries)?;
        }
    }
    for dated in database.idle_events(tun, Moment(since.as_microsecond()))? {
        entries.extend(entry(&dated, None, 0));
    }
    entries.sort_by_key(|entry| entry.time);
    Ok(Some(entries))
}

fn entries_of_brew(
    database: &Database,
    brew: &Brew,
    entries: &mut Vec<ActionEntry>,
) -> Result<(), StoreError> {
    let header = &brew.header;
    let shift_us = header.started.as_microsecond() - header.started_at.0;
    for dated in database.other_events(brew.id)? {
        entries.extend(entry(&dated, Some(&header.plan.brew), shift_us));
    }
    Ok(())
}

/// `shift_us` brings the event's axis to wall-clock time.
fn entry(dated: &DatedEvent, brew: Option<&String>, shift_us: i64) -> Option<ActionEntry> {
    let (who, action, about) = match &dated.event {
        Event::Deed { who, deed } => (who, deed.clone(), None),
        Event::Note { who, text } => (who, "note".to_owned(), Some(text.clone())),
        Event::Raking { who, minutes } => {
            (who, "raking".to_owned(), Some(format!("for {minutes} min")))
        }
        Event::Operator {
            alarm,
            instrument,
            who,
            action,
        } => {
            let mut about = alarm.name().to_owned();
            if let Some(instrument) = instrument {
                about.push_str(" of ");
                about.push_str(instrument);
            }
            let (action, why) = told(action);
            if let Some(why) = why {
                about.push_str(": ");
                about.push_str(&why);
            }
            (who, action.to_owned(), Some(about))
        }
        _ => return None,
    };
    let time = Timestamp::from_microsecond(dated.at.0.saturating_add(shift_us)).ok()?;
    Some(ActionEntry {
        time,
        brew: brew.cloned(),
        who: who.clone(),
        action,
        about,
    })
}

fn told(action: &OperatorAction) -> (&'static str, Option<String>) {
    match action {
        OperatorAction::Acknowledge => ("acknowledge", None),
        OperatorAction::Shelve { minutes, reason } => {
            ("shelve", Some(format!("for {minutes} min, {reason}")))
        }
        OperatorAction::Unshelve => ("unshelve", None),
        OperatorAction::OutOfService { reason } => ("out-of-service", Some(reason.clone())),
        OperatorAction::ReturnToService => ("return-to-service", None),
    }
}

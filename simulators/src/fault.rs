//! What may happen to a run-off and to its instruments, and the line-by-line commands that say so.
//!
//! One enum serves the scenario's events, the live console and the studies. What an event does to the process
//! is the model's concern, what it does to a reading the instruments'.

use lauter_core::reading::Status;
use serde::{Deserialize, Serialize};

/// An event of the process, an instrument or a link.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum Fault {
    /// Liquor finds a way: this share of the flow passes through one narrow lane.
    Channel {
        /// Share of the flow, 0.05 to 0.95.
        #[serde(default = "default_share")]
        share: f64,
        /// Time it takes to open, s.
        #[serde(default = "default_opening_s")]
        over_s: f64,
    },
    /// The rakes run: resistance falls at once, lanes mix a little, a channel closes.
    Rake {
        #[serde(default = "default_rake_s")]
        for_s: f64,
        /// 0 to 1: how much of what could be loosened and closed is.
        #[serde(default = "default_strength")]
        strength: f64,
    },
    /// No flow.
    Pause { for_s: f64 },
    /// Runnings go back to the tun.
    Recirculate { for_s: f64 },
    /// A new flow setpoint until the schedule's next.
    FlowStep { to_l_min: f64 },
    /// The bed packs: resistance is multiplied, exponentially over time.
    Compaction { factor: f64, over_s: f64 },
    /// The instrument repeats its last value.
    Freeze {
        instrument: String,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        for_s: Option<f64>,
    },
    /// The instrument's error jumps.
    Step { instrument: String, by: f64 },
    /// The instrument drifts from now on.
    Drift { instrument: String, per_h: f64 },
    /// The instrument does not answer.
    Dropout {
        instrument: String,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        for_s: Option<f64>,
    },
    /// Readings fall in bursts.
    Bubbles {
        instrument: String,
        depth: f64,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        for_s: Option<f64>,
    },
    /// Noise grows by this factor.
    Noise {
        instrument: String,
        factor: f64,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        for_s: Option<f64>,
    },
    /// The instrument reports an NE 107 status; its value stays as it is.
    Status {
        instrument: String,
        status: Status,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        for_s: Option<f64>,
    },
    /// A loop stands at this current (NE 43 failures: below 3.6 or above 21 mA).
    Current {
        instrument: String,
        ma: f64,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        for_s: Option<f64>,
    },
    /// A link is down; "mqtt" is the instruments' connection to their broker, "influx" the database. Without a name: all
    /// of them.
    DropLink {
        #[serde(default, skip_serializing_if = "Option::is_none")]
        link: Option<String>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        for_s: Option<f64>,
    },
    /// Ends every fault of an instrument.
    Restore { instrument: String },
    /// Ends a dropped link. Without a name: all of them.
    RestoreLink {
        #[serde(default, skip_serializing_if = "Option::is_none")]
        link: Option<String>,
    },
}

fn default_share() -> f64 {
    0.4
}

fn default_opening_s() -> f64 {
    120.0
}

fn default_rake_s() -> f64 {
    120.0
}

fn default_strength() -> f64 {
    0.9
}

/// Why a fault could not be injected or understood.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FaultError {
    #[error("no instrument \"{0}\" in this scenario; its instruments are: {1}")]
    UnknownInstrument(String, String),
    #[error("\"{0}\" is no current loop; those of this scenario are: {1}")]
    NoCurrentLoop(String, String),
    #[error("no link \"{0}\" in this scenario; its links are: {1}")]
    UnknownLink(String, String),
    #[error("a channel needs a second lane to take its flow from; set bed.lanes to 2 or more")]
    SingleLane,
    #[error("{key} is {value}; allowed is {allowed}")]
    OutOfRange {
        key: &'static str,
        value: String,
        allowed: &'static str,
    },
    #[error("\"{line}\" is not a command: {reason}. Type help for the commands")]
    NotUnderstood { line: String, reason: String },
}

/// The commands of the live console.
pub const HELP: &str = "\
channel share=0.4 over_s=120       a channel opens
rake [for_s=120] [strength=0.9]    the rakes run
pause 300                          no flow for 300 s
recirculate 600                    runnings go back to the tun for 600 s
flow-step 45                       flow setpoint, L/min
compaction factor=3 over_s=900     the bed packs
freeze ID [for_s=..]               the instrument repeats its last value
step ID by=..                      its error jumps
drift ID per_h=..                  it drifts
dropout ID [for_s=..]              it does not answer
bubbles ID depth=.. [for_s=..]     its readings fall in bursts
noise ID factor=.. [for_s=..]      its noise grows
status ID status=failure           NE 107: good, maintenance-required, out-of-specification, function-check, failure
current ID ma=3.5 [for_s=..]       its loop stands at this current
restore ID                         ends every fault of the instrument
drop-link [NAME] [for_s=..]        a link (or mqtt, or influx) is down; `drop link` does as well
restore-link [NAME]                it is up again
truth                              prints the true state
help                               prints this";

impl Fault {
    /// Reads one console command, for example `channel share=0.4 over_s=120` or `freeze runnings_density`.
    pub fn from_command(line: &str) -> Result<Self, FaultError> {
        let not_understood = |reason: &str| FaultError::NotUnderstood {
            line: line.trim().to_owned(),
            reason: reason.to_owned(),
        };
        let line_words = line.trim().replacen("drop link", "drop-link", 1);
        let line_words = line_words.replacen("restore link", "restore-link", 1);
        let mut words = line_words.split_whitespace();
        let name = words.next().ok_or_else(|| not_understood("it is empty"))?;
        let mut fields = serde_json::Map::new();
        for word in words {
            let (key, value) = match word.split_once('=') {
                Some((key, value)) => (key, value),
                None => (bare_word_key(name), word),
            };
            let value = match value.parse::<f64>() {
                Ok(number) if key != "instrument" && key != "link" => number.into(),
                _ => serde_json::Value::from(value),
            };
            if fields.insert(key.to_owned(), value).is_some() {
                return Err(not_understood(&format!("{key} is given twice")));
            }
        }
        let fault = serde_json::json!({ name: fields });
        serde_json::from_value(fault).map_err(|error| not_understood(&error.to_string()))
    }

    /// Refuses values the model has no meaning for.
    pub fn check(&self) -> Result<(), FaultError> {
        let range = |key, value: f64, ok: bool, allowed| {
            if ok && value.is_finite() {
                return Ok(());
            }
            let value = value.to_string();
            Err(FaultError::OutOfRange {
                key,
                value,
                allowed,
            })
        };
        let duration = |key, value: f64| range(key, value, value >= 0.0, "0 or more");
        match self {
            Self::Channel { share, over_s } => {
                range(
                    "share",
                    *share,
                    (0.05..=0.95).contains(share),
                    "0.05 to 0.95",
                )?;
                duration("over_s", *over_s)
            }
            Self::Rake { for_s, strength } => {
                range(
                    "strength",
                    *strength,
                    (0.0..=1.0).contains(strength),
                    "0 to 1",
                )?;
                duration("for_s", *for_s)
            }
            Self::Pause { for_s } | Self::Recirculate { for_s } => duration("for_s", *for_s),
            Self::FlowStep { to_l_min } => duration("to_l_min", *to_l_min),
            Self::Compaction { factor, over_s } => {
                range("factor", *factor, *factor > 0.0, "more than 0")?;
                range("over_s", *over_s, *over_s > 0.0, "more than 0")
            }
            Self::Noise { factor, for_s, .. } => {
                duration("factor", *factor)?;
                for_s.map_or(Ok(()), |s| duration("for_s", s))
            }
            Self::Current { ma, for_s, .. } => {
                range("ma", *ma, (0.0..=30.0).contains(ma), "0 to 30")?;
                for_s.map_or(Ok(()), |s| duration("for_s", s))
            }
            Self::Step { by, .. } => range("by", *by, true, "a number"),
            Self::Drift { per_h, .. } => range("per_h", *per_h, true, "a number"),
            Self::Bubbles { depth, for_s, .. } => {
                range("depth", *depth, true, "a number")?;
                for_s.map_or(Ok(()), |s| duration("for_s", s))
            }
            Self::Freeze { for_s, .. }
            | Self::Dropout { for_s, .. }
            | Self::Status { for_s, .. }
            | Self::DropLink { for_s, .. } => for_s.map_or(Ok(()), |s| duration("for_s", s)),
            Self::Restore { .. } | Self::RestoreLink { .. } => Ok(()),
        }
    }

    /// The instrument it concerns, if any.
    pub fn instrument(&self) -> Option<&str> {
        match self {
            Self::Freeze { instrument, .. }
            | Self::Step { instrument, .. }
            | Self::Drift { instrument, .. }
            | Self::Dropout { instrument, .. }
            | Self::Bubbles { instrument, .. }
            | Self::Noise { instrument, .. }
            | Self::Status { instrument, .. }
            | Self::Current { instrument, .. }
            | Self::Restore { instrument } => Some(instrument),
            _ => None,
        }
    }
}

/// The key that a word without `=` stands for.
fn bare_word_key(command: &str) -> &'static str {
    match command {
        "pause" | "recirculate" | "rake" => "for_s",
        "flow-step" => "to_l_min",
        "drop-link" | "restore-link" => "link",
        _ => "instrument",
    }
}

#[cfg(test)]
mod tests {
    use super::{Fault, HELP};
    use lauter_core::reading::Status;

    #[test]
    fn commands_read_as_the_help_shows_them() {
        let read = |line: &str| Fault::from_command(line).expect(line);
        assert_eq!(
            read("channel share=0.3 over_s=90"),
            Fault::Channel {
                share: 0.3,
                over_s: 90.0
            }
        );
        assert_eq!(read("pause 300"), Fault::Pause { for_s: 300.0 });
        assert_eq!(
            read("freeze runnings_density"),
            Fault::Freeze {
                instrument: "runnings_density".to_owned(),
                for_s: None
            }
        );
        assert_eq!(
            read("drop link"),
            Fault::DropLink {
                link: None,
                for_s: None
            }
        );
        assert_eq!(
            read("status runoff_flow status=out-of-specification"),
            Fault::Status {
                instrument: "runoff_flow".to_owned(),
                status: Status::OutOfSpecification,
                for_s: None
            }
        );
    }

    #[test]
    fn every_command_of_the_help_exists() {
        for line in HELP.lines() {
            let name = line.split_whitespace().next().expect("a name");
            if name == "truth" || name == "help" {
                continue;
            }
            let message = Fault::from_command(&format!("{name} nonsense=1"))
                .expect_err("nonsense is refused")
                .to_string();
            assert!(message.contains("unknown field `nonsense`"), "{message}");
        }
    }

    #[test]
    fn a_command_that_is_none_says_what_is_wrong_with_it() {
        for (line, part) in [
            ("stir", "unknown variant `stir`"),
            ("pause", "missing field `for_s`"),
            ("pause 3 for_s=4", "given twice"),
            ("", "empty"),
        ] {
            let message = Fault::from_command(line).expect_err(line).to_string();
            assert!(message.contains(part), "{message}");
        }
    }

    #[test]
    fn values_out_of_range_name_the_key_and_what_is_allowed() {
        let fault = Fault::from_command("channel share=1.5").expect("read");
        let message = fault.check().expect_err("refused").to_string();
        assert_eq!(message, "share is 1.5; allowed is 0.05 to 0.95");
    }
}

//! `lauterd alarms`: what an operator does about an alarm of the running service.

use std::fmt::Write as _;

use clap::builder::PossibleValuesParser;
use clap::{Args, Subcommand};
use lauter_core::alarm::AlarmId;

use super::client::{ServiceOptions, query_value, tun_path};
use super::sample::finite;
use super::text::print;
use crate::exit::Failure;
use crate::web::wire::{AlarmAction, AlarmOperation};

/// Acknowledges, shelves and takes alarms in and out of service
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd alarms acknowledge channelling --who \"shift brewer\"
  lauterd alarms shelve instrument-fault --instrument runnings_ph --minutes 30 \\
      --reason \"probe in buffer\" --who \"shift brewer\"
  lauterd alarms unshelve instrument-fault --instrument runnings_ph --who \"shift brewer\"
  lauterd alarms out-of-service turbid-runnings --reason \"meter sent away\" \\
      --who \"shift brewer\"
  lauterd alarms return-to-service turbid-runnings --who \"shift brewer\"")]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    service: ServiceOptions,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Tells that the alarm has been seen
    #[command(after_help = "\
Examples:
  lauterd alarms acknowledge stop-point-ahead --who \"shift brewer\"")]
    Acknowledge(Subject),
    /// Keeps the alarm quiet for some minutes
    #[command(after_help = "\
Examples:
  lauterd alarms shelve runoff-too-slow --minutes 15 --reason \"raking\" --who \"shift brewer\"")]
    Shelve {
        #[command(flatten)]
        subject: Subject,
        /// For how long, minutes
        #[arg(long, value_name = "MIN", value_parser = finite, allow_negative_numbers = true)]
        minutes: f64,
        /// Why, for the record
        #[arg(long, value_name = "TEXT")]
        reason: String,
    },
    /// Takes the alarm from the shelf before its time
    #[command(after_help = "\
Examples:
  lauterd alarms unshelve runoff-too-slow --who \"shift brewer\"")]
    Unshelve(Subject),
    /// Takes the alarm out of service until it is returned
    #[command(after_help = "\
Examples:
  lauterd alarms out-of-service turbid-runnings --reason \"meter sent away\" \\
      --who \"shift brewer\"")]
    OutOfService {
        #[command(flatten)]
        subject: Subject,
        /// Why, for the record
        #[arg(long, value_name = "TEXT")]
        reason: String,
    },
    /// Returns the alarm to service
    #[command(after_help = "\
Examples:
  lauterd alarms return-to-service turbid-runnings --who \"shift brewer\"")]
    ReturnToService(Subject),
}

/// Which alarm, and who asks.
#[derive(Debug, Args)]
struct Subject {
    /// The alarm
    #[arg(value_name = "ALARM", value_parser = PossibleValuesParser::new(AlarmId::ALL.map(AlarmId::name)))]
    alarm: String,
    /// The instrument, link or publisher, for alarms that have one
    #[arg(long, value_name = "ID")]
    instrument: Option<String>,
    /// Who asks, for the record
    #[arg(long, value_name = "NAME")]
    who: String,
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    let client = arguments.service.client()?;
    let tun = client.tun()?;
    let (subject, operation, done) = arguments.command.operation();
    let mut path = tun_path(&tun, &["alarms", &subject.alarm]);
    let mut about = subject.alarm.clone();
    if let Some(instrument) = &subject.instrument {
        let _ = write!(path, "?instrument={}", query_value(instrument));
        let _ = write!(about, " of {instrument}");
    }
    let _: AlarmOperation = client.post(&path, &operation)?;
    print(&format!("{tun}: alarm {about} {done}\n"))
}

impl Command {
    /// What to send, and what it then has done.
    fn operation(&self) -> (&Subject, AlarmOperation, String) {
        let (subject, action, minutes, reason, done) = match self {
            Self::Acknowledge(subject) => (
                subject,
                AlarmAction::Acknowledge,
                None,
                None,
                "acknowledged".to_owned(),
            ),
            Self::Shelve {
                subject,
                minutes,
                reason,
            } => {
                let done = format!("shelved for {minutes} min");
                (
                    subject,
                    AlarmAction::Shelve,
                    Some(*minutes),
                    Some(reason),
                    done,
                )
            }
            Self::Unshelve(subject) => (
                subject,
                AlarmAction::Unshelve,
                None,
                None,
                "taken from the shelf".to_owned(),
            ),
            Self::OutOfService { subject, reason } => {
                let done = "taken out of service".to_owned();
                (subject, AlarmAction::OutOfService, None, Some(reason), done)
            }
            Self::ReturnToService(subject) => {
                let done = "returned to service".to_owned();
                (subject, AlarmAction::ReturnToService, None, None, done)
            }
        };
        let operation = AlarmOperation {
            who: subject.who.clone(),
            action,
            minutes,
            reason: reason.cloned(),
        };
        (subject, operation, done)
    }
}

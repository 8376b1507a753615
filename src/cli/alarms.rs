//! `lauterd alarms`: what the alarms are, what an operator does about one, and how they behaved.

mod list;
mod record;

use std::fmt::Write as _;

use clap::builder::PossibleValuesParser;
use clap::{Args, Subcommand};
use lauter_core::alarm::AlarmId;

use super::client::{ServiceOptions, kept, query_value, tun_path};
use super::sample::finite;
use super::text::print;
use crate::exit::Failure;
use crate::web::wire::{AlarmAction, AlarmOperation};

/// Lists alarms, acknowledges and shelves them, takes them out of service, and tells how they behaved
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd alarms list
  lauterd alarms acknowledge channelling --who \"shift brewer\"
  lauterd alarms shelve instrument-fault --instrument runnings_ph --minutes 30 \\
      --reason \"probe in buffer\" --who \"shift brewer\"
  lauterd alarms unshelve instrument-fault --instrument runnings_ph --who \"shift brewer\"
  lauterd alarms out-of-service turbid-runnings --reason \"meter sent away\" \\
      --who \"shift brewer\"
  lauterd alarms return turbid-runnings --who \"shift brewer\"
  lauterd alarms report --config tun-1.toml")]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    service: ServiceOptions,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Every alarm: cause, response, consequence, caution, delays and what suppresses it. Needs no service; with
    /// --config it shows what that tun has changed
    #[command(after_help = "\
Examples:
  lauterd alarms list
  lauterd alarms list stuck-bed
  lauterd alarms list --config tun-1.toml")]
    List(list::Arguments),
    /// How the alarms behaved, beside the benchmarks of EEMUA 191 and ISA-18.2. With --config it reads the record,
    /// whether or not a service runs
    #[command(after_help = "\
Examples:
  lauterd alarms report --config tun-1.toml
  lauterd alarms report --days 7
  lauterd alarms report --brew 2026-0412 --json")]
    Report(record::Arguments),
    /// Every change of an alarm: when, what, who and why
    #[command(after_help = "\
Examples:
  lauterd alarms trail --config tun-1.toml --brew 2026-0412")]
    Trail(record::Arguments),
    #[command(flatten)]
    Operate(Operation),
}

/// What is done about one alarm.
#[derive(Debug, Subcommand)]
enum Operation {
    /// Tells that the alarm has been seen
    #[command(after_help = "\
Examples:
  lauterd alarms acknowledge stop-point-ahead --who \"shift brewer\"")]
    Acknowledge(Subject),
    /// Keeps the alarm quiet for some minutes; then it returns by itself
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
  lauterd alarms return turbid-runnings --who \"shift brewer\"")]
    #[command(alias = "return-to-service")]
    Return(Subject),
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
    let service = &arguments.service;
    match &arguments.command {
        Command::List(arguments) => list::run(arguments, service),
        Command::Report(arguments) => record::report(arguments, service),
        Command::Trail(arguments) => record::trail(arguments, service),
        Command::Operate(operation) => operate(operation, service),
    }
}

fn operate(operation: &Operation, service: &ServiceOptions) -> Result<(), Failure> {
    let client = service.client()?;
    let tun = client.tun()?;
    let (subject, operation, done) = operation.wired();
    let mut path = tun_path(&tun, &["alarms", &subject.alarm]);
    let mut about = subject.alarm.clone();
    if let Some(instrument) = &subject.instrument {
        let _ = write!(path, "?instrument={}", query_value(instrument));
        let _ = write!(about, " of {instrument}");
    }
    let answer: Option<AlarmOperation> = client.act(&path, &operation)?;
    let kept = kept(answer.as_ref());
    print(&format!("{tun}: alarm {about} {done}{kept}\n"))
}

impl Operation {
    /// What to send, and what it then has done.
    fn wired(&self) -> (&Subject, AlarmOperation, String) {
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
            Self::Return(subject) => {
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

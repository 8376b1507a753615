//! `lauterd loop-check guide`: leads somebody at the instrument through a loop check.
//!
//! Owns the order of the steps. Readings come from the running service, so that the whole way from the sensor to the
//! value is checked; what a check amounts to is the core's to say.

use std::fs::OpenOptions;
use std::io::{BufRead, Write as _};
use std::thread;
use std::time::Duration;

use clap::{Args, ValueEnum};
use lauter_core::calibration::{
    Direction, LoopCheck, MeasuredPoint, Method, Parameters, Point, Reference, Verdict, evaluate,
};
use lauter_core::units::Unit;

use super::ask::Terminal;
use super::asking::{Answer, asked_applied, asked_reading, limits};
use super::steps::{How, steps, usual};
use super::taken::{taken, typed};
use super::{Common, correct, page};
use crate::cli::client::{Client, tun_path};
use crate::cli::sample::finite;
use crate::cli::text::print;
use crate::exit::{Failure, Kind};
use crate::web::wire::ServedTun;
use crate::web::wire::calibration::{
    CorrectionBody, InstrumentState, LoopCheckBody, LoopCheckRecord,
};

#[derive(Debug, Args)]
pub struct Arguments {
    /// The instrument
    #[arg(long, value_name = "ID")]
    instrument: String,
    /// Greatest error allowed either way, in the instrument's unit
    #[arg(long, value_name = "VALUE", value_parser = above_zero)]
    tolerance: f64,
    /// What it is held against: which one, its certificate, its lot
    #[arg(long, value_name = "WORDS", value_parser = words)]
    reference: String,
    /// Expanded uncertainty (k = 2) of the reference, in the instrument's unit
    #[arg(long, value_name = "VALUE", value_parser = zero_or_above, default_value = "0")]
    uncertainty: f64,
    /// Expanded uncertainty (k = 2) of the reference's temperature, K
    #[arg(long, value_name = "K", value_parser = zero_or_above, default_value = "0")]
    temperature_uncertainty: f64,
    /// Least step of the reading, in the instrument's unit
    #[arg(long, value_name = "VALUE", value_parser = zero_or_above, default_value = "0")]
    resolution: f64,
    /// How it is checked [default: buffers for pH, gravity for gravity, weighed-tank for flow, else values]
    #[arg(long, value_enum)]
    method: Option<How>,
    /// How often every applied value is approached; two and more show the repeatability
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=5))]
    repeats: u32,
    /// Seconds over which a reading is taken, one a second
    #[arg(long, value_name = "S", default_value_t = 5, value_parser = clap::value_parser!(u32).range(1..=60))]
    seconds: u32,
    /// Words for the certificate
    #[arg(long, value_name = "WORDS", default_value = "")]
    note: String,
    #[command(flatten)]
    common: Common,
}

fn above_zero(text: &str) -> Result<f64, String> {
    match finite(text)? {
        value if value > 0.0 => Ok(value),
        _ => Err("needed is more than 0".to_owned()),
    }
}

fn zero_or_above(text: &str) -> Result<f64, String> {
    match finite(text)? {
        value if value >= 0.0 => Ok(value),
        _ => Err("needed is 0 or more".to_owned()),
    }
}

fn words(text: &str) -> Result<String, String> {
    if text.trim().is_empty() {
        return Err("say which one, its certificate, its lot".to_owned());
    }
    Ok(text.to_owned())
}

const CAUTION: &str = "\
Caution: lines under pressure, hot wort, liquor and caustic injure. Isolate, release pressure and drain
before you open a fitting or draw a probe; wear goggles and gloves. Take interlocks that use this
instrument out of service only by the site's procedure. Local codes and licensed practice come first.
";

pub fn run(arguments: &Arguments, client: &Client, tun: &ServedTun) -> Result<(), Failure> {
    let state: InstrumentState =
        client.get(&tun_path(tun, &["instruments", &arguments.instrument]))?;
    if state.unit == Unit::Bool {
        let id = &state.instrument;
        let words = format!(
            "{id} is a switch: there is nothing to measure it against. Switch it and watch what the service says of it: \
             lauterd status"
        );
        return Err(Failure::new(Kind::Usage, words));
    }
    let method = arguments.method.unwrap_or_else(|| usual(&state));
    if !method.fits(state.measures.dimension()) {
        let name = |it: How| it.to_possible_value().map(|it| it.get_name().to_owned());
        let words = format!(
            "--method {} does not fit {}, which reads in {}; usual for it is --method {}, and values fits any",
            name(method).unwrap_or_default(),
            state.instrument,
            state.unit.name(),
            name(usual(&state)).unwrap_or_default(),
        );
        return Err(Failure::new(Kind::Usage, words));
    }
    let mut guide = Guide {
        arguments,
        client,
        tun,
        state,
        method,
        terminal: Terminal::new(std::io::stdin().lock()),
        corrected: None,
    };
    guide.lead()
}

struct Guide<'a, R> {
    arguments: &'a Arguments,
    client: &'a Client,
    tun: &'a ServedTun,
    state: InstrumentState,
    method: How,
    terminal: Terminal<R>,
    /// Version of the correction that was made on the way.
    corrected: Option<u32>,
}

impl<R: BufRead> Guide<'_, R> {
    fn lead(&mut self) -> Result<(), Failure> {
        let (id, unit) = (self.state.instrument.clone(), self.state.unit.name());
        print(&format!(
            "Loop check of {id} ({unit}), tolerance {} {unit}, against: {}\n{CAUTION}",
            self.arguments.tolerance, self.arguments.reference
        ))?;
        if let Some(brew) = &self.state.brew {
            let question = format!(
                "Brew {brew} is under way: what you apply now goes into its record. Go on all the same?"
            );
            if !self.terminal.yes(&question, false)? {
                return Err(Failure::new(Kind::Usage, "nothing was checked"));
            }
        }
        let mut check = self.empty();
        let taken = self.take(&mut check);
        let body = self.body(check);
        if let Err(failure) = taken {
            return Err(self.broken_off(&body, &failure));
        }
        let path = tun_path(self.tun, &["loop-checks"]);
        let entered: LoopCheckRecord = self
            .client
            .post(&path, &body)
            .map_err(|failure| self.broken_off(&body, &failure))?;
        print(&format!("\n{}", page::checked(&entered)))
    }

    /// Both series, with a correction between them where somebody wants one.
    fn take(&mut self, check: &mut LoopCheck) -> Result<(), Failure> {
        print("\nAs-found: change nothing yet.\n")?;
        self.series(&mut check.as_found)?;
        tell(check, &check.as_found)?;
        self.offer_correction(check)?;
        if self
            .terminal
            .yes("Take every value again, as-left?", fails(check))?
        {
            print("\nAs-left: as the instrument will work from now on.\n")?;
            self.series(&mut check.as_left)?;
            tell(check, &check.as_left)?;
        }
        Ok(())
    }

    fn body(&self, check: LoopCheck) -> LoopCheckBody {
        LoopCheckBody {
            instrument: check.instrument,
            reference: check.reference,
            tolerance: check.tolerance,
            resolution: check.resolution,
            as_found: check.as_found,
            as_left: check.as_left,
            due_days: self.arguments.common.due_days,
            note: self.arguments.note.clone(),
            who: self.arguments.common.who.clone(),
        }
    }

    /// What is left of a check that came to no end: what was taken, in a file, and a correction that is in force.
    fn broken_off(&self, body: &LoopCheckBody, failure: &Failure) -> Failure {
        let mut words = failure.message.clone();
        if body.as_found.is_empty() {
            words.push_str("; nothing was kept");
        } else {
            words = format!("{words}\n{}", set_aside(body));
        }
        if let Some(version) = self.corrected {
            let id = &body.instrument;
            words = format!(
                "{words}\nCorrection {version} of {id} is in force all the same; back without it: lauterd loop-check \
                 take-back --instrument {id}"
            );
        }
        Failure::new(failure.kind, words)
    }

    fn empty(&self) -> LoopCheck {
        let arguments = self.arguments;
        LoopCheck {
            instrument: self.state.instrument.clone(),
            measures: self.state.measures,
            unit: self.state.unit,
            wort_factor: self.state.wort_factor,
            reference: Reference {
                name: arguments.reference.clone(),
                expanded_uncertainty: arguments.uncertainty,
                temperature_uncertainty_c: arguments.temperature_uncertainty,
            },
            tolerance: arguments.tolerance,
            resolution: arguments.resolution,
            as_found: Vec::new(),
            as_left: Vec::new(),
        }
    }

    /// One series, point by point into `points`, so that what was taken is there however it ends.
    fn series(&mut self, points: &mut Vec<Point>) -> Result<(), Failure> {
        let steps = steps(self.method, &self.state, self.arguments.repeats);
        let count = steps.len();
        for (index, step) in steps.into_iter().enumerate() {
            let way = match step.direction {
                Direction::Up => "upwards",
                Direction::Down => "downwards",
            };
            let number = index + 1;
            print(&format!("{number} of {count}, {way}: {}\n", step.words))?;
            let mut point = match asked_reading(&mut self.terminal, limits(&self.state))? {
                Answer::Skip => continue,
                Answer::Take => self.taken(step.direction)?,
                Answer::Typed(reading) => typed(step.direction, reading),
            };
            point.applied = asked_applied(&mut self.terminal, step.wanted, &self.state)?;
            print(&self.told(&point))?;
            points.push(point);
        }
        if points.is_empty() {
            return Err(Failure::new(Kind::Usage, "every value was skipped"));
        }
        Ok(())
    }

    /// The mean of the readings over the next seconds.
    fn taken(&self, direction: Direction) -> Result<Point, Failure> {
        let id = &self.state.instrument;
        let path = tun_path(self.tun, &["instruments", id]);
        let mut is_first = true;
        let point = taken(direction, self.arguments.seconds as usize, &mut || {
            if !std::mem::take(&mut is_first) {
                thread::sleep(Duration::from_secs(1));
            }
            let state: InstrumentState = self.client.get(&path)?;
            let reading = state.reading.and_then(|it| Some((it.measured?, it)));
            Ok(reading.map(|(measured, it)| (measured, it.corrected.unwrap_or(measured))))
        })?;
        point.ok_or_else(|| {
            let words = format!(
                "{id} gives no reading, or not each second; see to it first (lauterd status), or type readings by hand"
            );
            Failure::new(Kind::Unavailable, words)
        })
    }

    fn told(&self, point: &Point) -> String {
        let (unit, factor) = (self.state.unit, self.state.wort_factor);
        match point.applied.value(unit, factor) {
            Ok(applied) => format!(
                "  applied {applied:.4}, reading {:.4}, error {:.4} {}\n",
                point.reading,
                point.reading - applied,
                unit.name()
            ),
            Err(error) => format!("  {error}\n"),
        }
    }

    /// Only what lies within the core's means: pH and gravity.
    fn offer_correction(&mut self, check: &LoopCheck) -> Result<(), Failure> {
        if Method::of(self.state.measures).is_none() {
            return print("Adjust the instrument by its maker's instructions if it fails.\n");
        }
        let question =
            "Correct its readings here by these values? Nothing is written to the instrument.";
        if !self.terminal.yes(question, fails(check))? {
            return Ok(());
        }
        let points = check.as_found.iter().map(|point| MeasuredPoint {
            applied: point.applied,
            reading: point.uncorrected.unwrap_or(point.reading),
        });
        let body = CorrectionBody {
            points: points.collect(),
            due_days: self.arguments.common.due_days,
            who: self.arguments.common.who.clone(),
        };
        match correct(&self.state.instrument, &body, self.client, self.tun) {
            Ok(made) => {
                self.corrected = Some(made.version);
                print(&page::corrected(&made))
            }
            Err(failure) if failure.kind == Kind::Data => print(&format!("{failure}\n")),
            Err(failure) => Err(failure),
        }
    }
}

/// What was taken at the instrument is not lost with the connection: it goes into a file that `enter` takes. Says where.
fn set_aside(body: &LoopCheckBody) -> String {
    match written(body) {
        Ok(file) => {
            format!("What was taken is in {file}; enter it with: lauterd loop-check enter {file}")
        }
        Err(error) => format!("What was taken could not be put into a file either: {error}"),
    }
}

/// Into a file that is not there yet: an earlier one may not have been entered.
fn written(body: &LoopCheckBody) -> std::io::Result<String> {
    let text = serde_json::to_vec_pretty(body)?;
    let stem = format!("loop-check-{}", body.instrument);
    let numbered = (2..).map(|number| format!("{stem}-{number}.json"));
    for file in std::iter::once(format!("{stem}.json")).chain(numbered) {
        match OpenOptions::new().write(true).create_new(true).open(&file) {
            Ok(mut opened) => return opened.write_all(&text).map(|()| file),
            Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(error),
        }
    }
    unreachable!("numbers do not end")
}

/// A series as it stands, before anything is kept.
fn tell(check: &LoopCheck, points: &[Point]) -> Result<(), Failure> {
    let alone = LoopCheck {
        as_found: points.to_vec(),
        as_left: Vec::new(),
        ..check.clone()
    };
    match evaluate(&alone, &Parameters::default()).as_found {
        Some(series) => print(&format!("\n{}\n", page::levels(&series))),
        None => Ok(()),
    }
}

fn fails(check: &LoopCheck) -> bool {
    evaluate(check, &Parameters::default()).verdict == Verdict::Fail
}

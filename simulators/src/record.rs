//! A recorded run-off: the files that `lauterd replay` reads, and the truth to judge its answers by.
//!
//! Owns the file names and columns. Hand samples are drawn here, for a person takes them, not an instrument.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::instrument::InstrumentReading;
use crate::lauterd_files;
use crate::model::{Brewhouse, Crossings, Truth};
use crate::noise::Noise;
use crate::scenario::{Event, Scenario};

/// Stream of the hand samples.
const SAMPLE_STREAM: u64 = 2000;

/// Hand samples: 10 to 15 minutes apart; errors of a hydrometer, a pH meter and a dipstick (common practice, no
/// source).
mod hand {
    pub const SHORTEST_S: f64 = 600.0;
    pub const LONGEST_S: f64 = 900.0;
    pub const GRAVITY_SD_P: f64 = 0.12;
    pub const PH_SD: f64 = 0.03;
    pub const VOLUME_SD: f64 = 0.01;
}

/// Rows of the truth are written this often, s.
const TRUTH_EVERY_S: f64 = 10.0;

/// A record could not be written.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    #[error("{path}: {source}; give a directory that can be written to")]
    File { path: PathBuf, source: io::Error },
    #[error("{path}: {source}")]
    Csv { path: PathBuf, source: csv::Error },
}

/// A sample a person took: errors included.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HandSample {
    pub elapsed_s: f64,
    /// "runnings" or "kettle"
    pub place: &'static str,
    pub gravity_p: f64,
    /// At room temperature; none from the kettle.
    pub ph: Option<f64>,
    pub volume_l: Option<f64>,
}

/// What is true of the whole run, as in truth.json.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Outcome {
    pub scenario: String,
    pub seed: u64,
    pub crossings: Crossings,
    /// Events of the scenario, with their times.
    pub events: Vec<Event>,
    /// State at the end of the recording.
    pub last: Truth,
}

/// Takes hand samples while a brewhouse runs.
#[derive(Clone, Debug)]
pub struct HandSampler {
    noise: Noise,
    next_s: f64,
    kettle_next: bool,
}

impl HandSampler {
    pub fn new(seed: u64) -> Self {
        let mut noise = Noise::stream(seed, SAMPLE_STREAM);
        let next_s = noise.within(hand::SHORTEST_S, hand::LONGEST_S).round();
        Self {
            noise,
            next_s,
            kettle_next: false,
        }
    }

    /// Samples due now: runnings every round, the kettle every other.
    pub fn take(&mut self, truth: &Truth) -> Vec<HandSample> {
        if truth.elapsed_s < self.next_s {
            return Vec::new();
        }
        self.next_s += self.noise.within(hand::SHORTEST_S, hand::LONGEST_S).round();
        let mut gravity = |p: f64| tenth(p + hand::GRAVITY_SD_P * self.noise.gaussian());
        let runnings_p = gravity(truth.runnings_gravity_p);
        let kettle_p = gravity(truth.kettle_gravity_p);
        let ph = truth.runnings_ph_room + hand::PH_SD * self.noise.gaussian();
        let volume_l = truth.kettle_volume_l * (1.0 + hand::VOLUME_SD * self.noise.gaussian());
        let mut samples = Vec::new();
        if truth.flow_l_min > 0.0 {
            samples.push(HandSample {
                elapsed_s: truth.elapsed_s,
                place: "runnings",
                gravity_p: runnings_p,
                ph: Some((ph * 100.0).round() / 100.0),
                volume_l: None,
            });
        }
        if self.kettle_next && truth.kettle_volume_l > 0.0 {
            samples.push(HandSample {
                elapsed_s: truth.elapsed_s,
                place: "kettle",
                gravity_p: kettle_p,
                ph: None,
                volume_l: Some(volume_l.round()),
            });
        }
        self.kettle_next = !self.kettle_next;
        samples
    }
}

fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

/// Runs a brew to its end, showing the brewhouse after every step.
pub fn run(scenario: &Scenario, seed: u64, mut each: impl FnMut(&Brewhouse)) -> Brewhouse {
    let mut brewhouse = Brewhouse::new(scenario, seed);
    each(&brewhouse);
    while !brewhouse.is_finished() {
        brewhouse.advance(scenario.run.step_s);
        each(&brewhouse);
    }
    brewhouse
}

/// One cell of RUN.csv: empty unless the instrument was sampled in this row.
pub fn cell(reading: &InstrumentReading, elapsed_s: f64) -> String {
    reading
        .value
        .filter(|_| (reading.sampled_s - elapsed_s).abs() < 1e-9)
        .map(number)
        .unwrap_or_default()
}

/// A number with no more digits than any instrument gives.
fn number(value: f64) -> String {
    let text = format!("{value:.5}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

/// Records a whole brew into a directory: `RUN.csv`, `samples.csv`, `truth.csv`, `truth.json`, `config.toml`,
/// `plan.toml` and `scenario.toml`. The directory is made when it is not there.
pub fn record(scenario: &Scenario, seed: u64, directory: &Path) -> Result<Outcome, RecordError> {
    fs::create_dir_all(directory).map_err(|source| RecordError::File {
        path: directory.to_owned(),
        source,
    })?;
    let mut rows = Table::default();
    rows.row(
        std::iter::once("elapsed_s".to_owned())
            .chain(scenario.instruments.iter().map(|i| i.id.clone())),
    );
    let mut truths: Vec<Truth> = Vec::new();
    let mut samples = Vec::new();
    let mut sampler = HandSampler::new(seed);
    let brewhouse = run(scenario, seed, |brewhouse| {
        let elapsed_s = brewhouse.elapsed_s();
        let cells = brewhouse.readings().iter().map(|r| cell(r, elapsed_s));
        rows.row(std::iter::once(number(elapsed_s)).chain(cells));
        if truths
            .last()
            .is_none_or(|t| elapsed_s >= t.elapsed_s + TRUTH_EVERY_S - 1e-9)
        {
            truths.push(*brewhouse.truth());
        }
        samples.extend(sampler.take(brewhouse.truth()));
    });
    let outcome = Outcome {
        scenario: scenario.name.clone(),
        seed,
        crossings: *brewhouse.crossings(),
        events: scenario.events.clone(),
        last: *brewhouse.truth(),
    };
    let outcome_json = serde_json::to_string_pretty(&outcome).expect("finite numbers") + "\n";
    write(&directory.join("RUN.csv"), &rows.0)?;
    write(&directory.join("truth.json"), &outcome_json)?;
    write(
        &directory.join("config.toml"),
        &replay_configuration(scenario),
    )?;
    write(&directory.join("plan.toml"), &lauterd_files::plan(scenario))?;
    write(&directory.join("scenario.toml"), &scenario.to_toml())?;
    write_csv(&directory.join("truth.csv"), &truths)?;
    write_csv(&directory.join("samples.csv"), &samples)?;
    Ok(outcome)
}

/// The configuration without its servers: a replay needs neither links nor brokers.
fn replay_configuration(scenario: &Scenario) -> String {
    let mut recorded = scenario.clone();
    recorded.modbus_links.clear();
    recorded.mqtt = None;
    recorded.influx = None;
    for instrument in &mut recorded.instruments {
        instrument.modbus = None;
        instrument.mqtt = None;
    }
    lauterd_files::configuration(&recorded)
}

/// CSV text whose cells are numbers and identifiers and need no quotes.
#[derive(Default)]
struct Table(String);

impl Table {
    fn row(&mut self, cells: impl Iterator<Item = String>) {
        for (index, cell) in cells.enumerate() {
            if index > 0 {
                self.0.push(',');
            }
            self.0.push_str(&cell);
        }
        self.0.push('\n');
    }
}

fn write(path: &Path, text: &str) -> Result<(), RecordError> {
    fs::write(path, text).map_err(|source| RecordError::File {
        path: path.to_owned(),
        source,
    })
}

fn write_csv<T: Serialize>(path: &Path, rows: &[T]) -> Result<(), RecordError> {
    let csv_error = |source| RecordError::Csv {
        path: path.to_owned(),
        source,
    };
    let mut writer = csv::Writer::from_path(path).map_err(csv_error)?;
    for row in rows {
        writer.serialize(row).map_err(csv_error)?;
    }
    writer.flush().map_err(|source| RecordError::File {
        path: path.to_owned(),
        source,
    })
}

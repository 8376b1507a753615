//! Hand samples beside a recording: `elapsed_s,place,gravity_p,ph,volume_l`, and `withdrawn_s` for one that was a slip.
//!
//! Owns the format and its checks. A sample lies on the recording's own clock.

use std::path::Path;

use lauter_core::reading::Moment;
use lauter_core::supervisor::{Event, Place, Sample};

use super::fault::{DataFault, open};

const COLUMNS: [&str; 6] = [
    "elapsed_s",
    "place",
    "gravity_p",
    "ph",
    "volume_l",
    "withdrawn_s",
];

/// A line of the file.
struct Line {
    at: Moment,
    sample: Sample,
    withdrawn: Option<Moment>,
}

/// Reads all samples, and what was withdrawn of them, in time order.
pub fn read(path: &Path) -> Result<Vec<(Moment, Event)>, DataFault> {
    let lines = lines(path)?;
    let mut events: Vec<(Moment, Event)> = lines
        .iter()
        .map(|line| (line.at, Event::Sample(line.sample)))
        .collect();
    for (number, line) in lines.iter().enumerate() {
        if let Some(withdrawn) = line.withdrawn {
            events.push((withdrawn, Event::SampleWithdrawn { number }));
        }
    }
    events.sort_by_key(|(at, _)| *at);
    Ok(events)
}

fn lines(path: &Path) -> Result<Vec<Line>, DataFault> {
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(open(path)?);
    let header = reader
        .headers()
        .map_err(|error| DataFault::from_csv(path, &error))?
        .clone();
    for name in &header {
        if !COLUMNS.contains(&name) {
            let text = format!(
                "column \"{name}\" is not known; there are {}",
                COLUMNS.join(", ")
            );
            return Err(DataFault::at(path, 1, text));
        }
    }
    for needed in ["elapsed_s", "place"] {
        if !header.iter().any(|name| name == needed) {
            return Err(DataFault::at(
                path,
                1,
                format!(
                    "column {needed} is missing; there must be {}",
                    COLUMNS.join(", ")
                ),
            ));
        }
    }
    let mut samples = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| DataFault::from_csv(path, &error))?;
        let line = record.position().map_or(0, csv::Position::line);
        let cell = |name: &str| {
            let index = header.iter().position(|column| column == name)?;
            record.get(index).filter(|cell| !cell.is_empty())
        };
        samples.push(sample(path, line, &cell)?);
    }
    samples.sort_by_key(|line: &Line| line.at);
    Ok(samples)
}

fn sample<'a>(
    path: &Path,
    line: u64,
    cell: &dyn Fn(&str) -> Option<&'a str>,
) -> Result<Line, DataFault> {
    let number = |name: &str, low: f64, high: f64| match cell(name) {
        None => Ok(None),
        Some(text) => match text.parse::<f64>() {
            Ok(value) if (low..=high).contains(&value) => Ok(Some(value)),
            _ => Err(DataFault::at(
                path,
                line,
                format!(
                    "{name} is \"{text}\"; allowed is a number from {low} to {high}, or nothing"
                ),
            )),
        },
    };
    let Some(elapsed_s) = number("elapsed_s", -1e9, 1e9)? else {
        let text = "elapsed_s is empty; give the seconds on the recording's own clock";
        return Err(DataFault::at(path, line, text));
    };
    let place = match cell("place").unwrap_or_default() {
        "runnings" => Place::Runnings,
        "kettle" => Place::Kettle,
        other => {
            let text = format!("place is \"{other}\"; it must be runnings or kettle");
            return Err(DataFault::at(path, line, text));
        }
    };
    let sample = Sample {
        place,
        gravity_p: number("gravity_p", -2.0, 35.0)?,
        ph: number("ph", 2.0, 12.0)?,
        volume_l: number("volume_l", 0.0, 1e6)?,
    };
    if sample.gravity_p.is_none() && sample.ph.is_none() && sample.volume_l.is_none() {
        return Err(DataFault::at(
            path,
            line,
            "the sample is empty: give gravity_p, ph or volume_l",
        ));
    }
    let withdrawn_s = number("withdrawn_s", elapsed_s, 1e9)?;
    Ok(Line {
        at: Moment::from_seconds(elapsed_s),
        sample,
        withdrawn: withdrawn_s.map(Moment::from_seconds),
    })
}

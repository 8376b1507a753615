//! What the demonstration prints, and where it keeps its record for the time being.

use std::net::SocketAddr;

use lauter_core::alarm::{AlarmState, Priority};
use lauter_core::supervisor::{AlarmLine, Crossing, Line, Output, ProjectionLine, TableLine};
use simulators::Scenario;

use crate::exit::{Failure, Kind};

/// A directory that goes with the demonstration.
#[derive(Debug)]
pub struct Scratch(std::path::PathBuf);

impl Scratch {
    pub fn path(&self) -> &std::path::Path {
        &self.0
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        // What is left behind lies in the system's directory for temporary files.
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

pub fn scratch_directory() -> Result<Scratch, Failure> {
    let path = std::env::temp_dir().join(format!("lauterd-demo-{}", std::process::id()));
    std::fs::create_dir_all(&path).map_err(|error| {
        Failure::new(
            Kind::Io,
            format!("{}: cannot be made: {error}; set TMPDIR", path.display()),
        )
    })?;
    Ok(Scratch(path))
}

/// The terminal.
#[derive(Debug)]
pub struct Screen {
    speed: f64,
    projection: Option<ProjectionLine>,
}

impl Screen {
    pub fn new(speed: f64) -> Self {
        Self {
            speed,
            projection: None,
        }
    }

    pub fn opening(&self, scenario: &Scenario, address: Option<SocketAddr>) {
        let plan = &scenario.plan;
        println!(
            "A simulated brewhouse, {} times faster than life: {} at site \"{}\", brew {} ({}).",
            self.speed, scenario.tun.name, scenario.site, plan.brew, plan.recipe
        );
        println!(
            "{:.0} kg of grist; start-of-boil gravity {:.1} °P, planned at {:.0} L after {:.0} min.",
            plan.grist_kg, plan.target_gravity_p, plan.planned_volume_l, plan.runoff_minutes
        );
        if let Some(address) = address {
            println!("Open http://{address} in a browser: the page at the tun, while this runs.");
        }
        println!("Instruments are read over Modbus TCP on the loopback. Ctrl-C ends it.\n");
        println!(
            "{:>6} {:>10} {:>6} {:>8} {:>9} {:>8} {:>9}   stop-point (90 % band)",
            "time", "runnings", "pH", "kettle", "kettle", "flow", "pressure"
        );
        println!(
            "{:>6} {:>10} {:>6} {:>8} {:>9} {:>8} {:>9}",
            "min", "°P", "", "L", "°P", "L/min", "drop kPa"
        );
    }

    pub fn show(&mut self, output: &Output) {
        match output {
            Output::Line(Line::Table(line)) => self.table(line),
            Output::Line(Line::Alarm(line)) => alarm(line),
            Output::Line(Line::Projection(line)) => self.projection = Some(line.clone()),
            Output::Occurrence(occurrence) => {
                println!(
                    "{:>6} - {}",
                    minutes(occurrence.elapsed_s.unwrap_or(0.0)),
                    occurrence.text
                );
            }
            Output::Line(Line::Summary(_))
            | Output::Reading(_)
            | Output::Runoff(_)
            | Output::Renewed(_)
            | Output::Lesson(_) => {}
        }
    }

    fn table(&self, line: &TableLine) {
        let projection = self.projection.as_ref();
        let crossing = projection.and_then(|projection| projection.target);
        println!(
            "{:>6} {:>10} {:>6} {:>8.0} {:>9} {:>8} {:>9}   {}",
            minutes(line.elapsed_s),
            number(line.runnings_gravity_p, 2),
            number(line.runnings_ph, 2),
            line.kettle_volume_l,
            number(line.kettle_gravity_p, 2),
            number(line.flow_l_min, 1),
            number(line.pressure_drop_kpa, 2),
            crossing.map_or_else(String::new, stop_point)
        );
    }
}

/// After the run-off, while page and record are still served.
pub fn staying(address: Option<SocketAddr>) {
    if let Some(address) = address {
        println!("\nPage and record are still at http://{address}; Ctrl-C ends it.");
    }
}

/// The comparison with the simulator's truth, and the cautions of a real tun.
pub fn verdict(called_l: f64, true_l: f64, alarmed_channel: bool) {
    let error_percent = 100.0 * (called_l / true_l - 1.0);
    println!();
    println!(
        "Stop-point: {called_l:.0} L by lauterd, {true_l:.0} L in the simulator's truth ({error_percent:+.2} %)."
    );
    let channel = if alarmed_channel {
        "was alarmed"
    } else {
        "was NOT alarmed"
    };
    println!("The channel {channel}.");
    println!();
    println!(
        "At a real tun: hot wort and liquor scald; rakes are rotating machinery: keep guards and interlocks"
    );
    println!(
        "in place and follow the site's lock-out procedure and local code. lauterd advises; it is no safety"
    );
    println!("function, and a kettle is never filled on its word alone.");
}

fn stop_point(crossing: Crossing) -> String {
    let volume = crossing.volume_l;
    format!(
        "{:.0} L ({:.0} to {:.0}) at {} min",
        volume.p50,
        volume.p5,
        volume.p95,
        minutes(crossing.elapsed_s.p50)
    )
}

fn alarm(line: &AlarmLine) {
    let time = minutes(line.elapsed_s);
    match line.to {
        AlarmState::Unacknowledged => {
            let about = line
                .instrument
                .as_ref()
                .map_or_else(String::new, |id| format!(" {id}"));
            println!(
                "{time:>6} ! {} ({}{about}): {}",
                line.alarm.name(),
                priority(line.priority),
                line.message
            );
            for row in wrapped(&line.advice, 100) {
                println!("{:>6}   {row}", "");
            }
        }
        // What was only suppressed was never on the screen.
        AlarmState::ReturnedUnacknowledged | AlarmState::Normal
            if line.from != AlarmState::Suppressed =>
        {
            println!("{time:>6} . {} is over", line.alarm.name());
        }
        // What is only a consequence, or has been dealt with, is in the record and not on the screen.
        _ => {}
    }
}

/// Lines of at most `width` characters, broken between words.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut rows: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match rows.last_mut() {
            Some(row) if row.chars().count() + 1 + word.chars().count() <= width => {
                row.push(' ');
                row.push_str(word);
            }
            _ => rows.push(word.to_owned()),
        }
    }
    rows
}

fn priority(priority: Priority) -> &'static str {
    match priority {
        Priority::Low => "low",
        Priority::Medium => "medium",
        Priority::High => "high",
        Priority::Critical => "critical",
    }
}

fn minutes(elapsed_s: f64) -> String {
    format!("{:.1}", elapsed_s / 60.0)
}

fn number(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(|| "-".to_owned(), |value| format!("{value:.digits$}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_advice_is_broken_between_words_and_loses_none() {
        let text = "Slow the run-off, then rake gently: half a turn at the lowest speed.";
        let rows = wrapped(text, 20);
        assert!(rows.iter().all(|row| row.chars().count() <= 20), "{rows:?}");
        assert_eq!(rows.join(" "), text);
    }
}

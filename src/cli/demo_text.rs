//! What the demonstration prints, and where it keeps its record for the time being.

use std::io::Write as _;
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

/// Characters of a row beside its time.
const WIDTH: usize = 100;

/// The terminal, or whoever else reads what the demonstration says.
#[derive(Debug)]
pub struct Screen {
    speed: f64,
    projection: Option<ProjectionLine>,
    /// The reader has gone away, as `head` does.
    gone: bool,
}

impl Screen {
    pub fn new(speed: f64) -> Self {
        Self {
            speed,
            projection: None,
            gone: false,
        }
    }

    /// Whether nobody reads any more.
    pub fn is_gone(&self) -> bool {
        self.gone
    }

    fn say(&mut self, line: &str) {
        let mut out = std::io::stdout().lock();
        let said = writeln!(out, "{line}").and_then(|()| out.flush());
        self.gone |= said.is_err();
    }

    pub fn opening(&mut self, scenario: &Scenario, address: Option<SocketAddr>) {
        let plan = &scenario.plan;
        self.say(&format!(
            "A simulated brewhouse, {} times faster than life: {} at site \"{}\", brew {} ({}).",
            self.speed, scenario.tun.name, scenario.site, plan.brew, plan.recipe
        ));
        self.say(&format!(
            "{:.0} kg of grist; start-of-boil gravity {:.1} °P, planned at {:.0} L after {:.0} min.",
            plan.grist_kg, plan.target_gravity_p, plan.planned_volume_l, plan.runoff_minutes
        ));
        if let Some(address) = address {
            self.say(&format!(
                "Open http://{address} in a browser: the page at the tun, while this runs."
            ));
        }
        self.say("Instruments are read over Modbus TCP on the loopback. Ctrl-C ends it.\n");
        self.say(&format!(
            "{:>6} {:>10} {:>6} {:>8} {:>9} {:>8} {:>9}   stop-point (90 % band)",
            "time", "runnings", "pH", "kettle", "kettle", "flow", "pressure"
        ));
        self.say(&format!(
            "{:>6} {:>10} {:>6} {:>8} {:>9} {:>8} {:>9}",
            "min", "°P", "", "L", "°P", "L/min", "drop kPa"
        ));
    }

    pub fn show(&mut self, output: &Output) {
        match output {
            Output::Line(Line::Table(line)) => self.table(line),
            Output::Line(Line::Alarm(line)) => self.alarm(line),
            Output::Line(Line::Projection(line)) => self.projection = Some(line.clone()),
            Output::Occurrence(occurrence) => {
                let time = minutes(occurrence.elapsed_s.unwrap_or(0.0));
                self.tell(&time, &format!("- {}", occurrence.text));
            }
            Output::Line(Line::Summary(_))
            | Output::Reading(_)
            | Output::Runoff(_)
            | Output::Renewed(_)
            | Output::Lesson(_) => {}
        }
    }

    /// What happened, in as many rows as it takes; the first bears the time.
    fn tell(&mut self, time: &str, text: &str) {
        for (index, row) in wrapped(text, WIDTH).iter().enumerate() {
            match index {
                0 => self.say(&format!("{time:>6} {row}")),
                _ => self.say(&format!("{:>6}   {row}", "")),
            }
        }
    }

    fn table(&mut self, line: &TableLine) {
        let projection = self.projection.as_ref();
        let crossing = projection.and_then(|projection| projection.target);
        self.say(&format!(
            "{:>6} {:>10} {:>6} {:>8.0} {:>9} {:>8} {:>9}   {}",
            minutes(line.elapsed_s),
            number(line.runnings_gravity_p, 2),
            number(line.runnings_ph, 2),
            line.kettle_volume_l,
            number(line.kettle_gravity_p, 2),
            number(line.flow_l_min, 1),
            number(line.pressure_drop_kpa, 2),
            crossing.map_or_else(String::new, stop_point)
        ));
    }

    fn alarm(&mut self, line: &AlarmLine) {
        let time = minutes(line.elapsed_s);
        match line.to {
            AlarmState::Unacknowledged => {
                let about = line
                    .instrument
                    .as_ref()
                    .map_or_else(String::new, |id| format!(" {id}"));
                let (name, priority) = (line.alarm.name(), priority(line.priority));
                self.tell(
                    &time,
                    &format!("! {name} ({priority}{about}): {}", line.message),
                );
                for row in wrapped(&line.advice, WIDTH) {
                    self.say(&format!("{:>6}   {row}", ""));
                }
            }
            // What was only suppressed was never on the screen.
            AlarmState::ReturnedUnacknowledged | AlarmState::Normal
                if line.from != AlarmState::Suppressed =>
            {
                self.tell(&time, &format!(". {} is over", line.alarm.name()));
            }
            // What is only a consequence, or has been dealt with, is in the record and not on the screen.
            _ => {}
        }
    }

    /// After the run-off, while page and record are still served.
    pub fn staying(&mut self, address: Option<SocketAddr>) {
        if let Some(address) = address {
            self.say(&format!(
                "\nPage and record are still at http://{address}; Ctrl-C ends it."
            ));
        }
    }

    /// The comparison with the simulator's truth, and the cautions of a real tun.
    pub fn verdict(&mut self, called_l: f64, true_l: f64, alarmed_channel: bool) {
        let error_percent = 100.0 * (called_l / true_l - 1.0);
        self.say("");
        self.say(&format!(
            "Stop-point: {called_l:.0} L by lauterd, {true_l:.0} L in the simulator's truth ({error_percent:+.2} %)."
        ));
        let channel = if alarmed_channel {
            "was alarmed"
        } else {
            "was NOT alarmed"
        };
        self.say(&format!("The channel {channel}."));
        self.say("");
        self.say("At a real tun: hot wort and liquor scald; rakes are rotating machinery: keep guards and interlocks");
        self.say("in place and follow the site's lock-out procedure and local code. lauterd advises; it is no safety");
        self.say("function, and a kettle is never filled on its word alone.");
    }
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

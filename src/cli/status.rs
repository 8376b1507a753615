//! `lauterd status`: the tuns of the running service as they stand now.

use std::cmp::Reverse;
use std::fmt::Write as _;

use clap::Args;
use lauter_core::alarm::AlarmState;
use lauter_core::projection::Band;
use lauter_core::reading::Status;
use lauter_core::supervisor::{
    AlarmLine, BURST_PLACE, ConditionedReading, IfStopped, Line, ProjectionLine, RunoffState,
};

use super::client::{ServiceOptions, tun_path};
use super::text::{Align, NONE, columns, elapsed, print, print_json, with_unit, words};
use crate::exit::Failure;
use crate::runtime::request::TunStatus;

/// Shows the tuns of the running service: run-off, stop-point, alarms and readings
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd status
  lauterd status --tun north-yard/tun-1 --json")]
pub struct Arguments {
    /// As JSON, one object for each tun
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    service: ServiceOptions,
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    let client = arguments.service.client()?;
    let tuns = client.tuns()?;
    let states = tuns
        .iter()
        .map(|tun| client.get(&tun_path(tun, &[])))
        .collect::<Result<Vec<TunStatus>, Failure>>()?;
    if arguments.json {
        return print_json(&states);
    }
    let pages: Vec<String> = states.iter().map(page).collect();
    print(&pages.join("\n"))
}

/// One tun. Writing to a string cannot fail.
fn page(state: &TunStatus) -> String {
    let mut page = format!("{}/{} at {}\n", state.site, state.tun, state.time);
    match &state.brew {
        None => page.push_str("no brew under way\n"),
        Some(brew) => {
            let recipe = state.plan.as_ref().map_or("", |plan| plan.recipe.as_str());
            let recipe = if recipe.is_empty() {
                String::new()
            } else {
                format!(" ({recipe})")
            };
            let _ = writeln!(page, "brew {brew}{recipe}");
        }
    }
    if let Some(runoff) = &state.runoff {
        page.push_str(&runoff_text(runoff));
    }
    if let Some(projection) = &state.projection {
        page.push_str(&projection_text(projection));
    }
    if let Some(silent_s) = state.outlook.and_then(|outlook| outlook.silent_s) {
        let _ = writeln!(
            page,
            "Nothing has been measured for {:.0} min: these figures stand as they were, and how long it still takes is \
             not known.",
            silent_s / 60.0
        );
    }
    page.push('\n');
    page.push_str(&alarms_text(&state.alarms));
    if !state.readings.is_empty() {
        page.push('\n');
        page.push_str(&readings_text(&state.readings));
    }
    if let Some(blocks) = state.health["store"]["damaged_blocks"].as_str() {
        let _ = writeln!(page, "In the record readings are lost: {blocks}.");
    }
    for calibrated in &state.calibration {
        if let Some(hint) = &calibrated.hint {
            let _ = writeln!(page, "{}: {hint}", calibrated.instrument);
        }
    }
    page
}

fn runoff_text(runoff: &RunoffState) -> String {
    let row = |name: &str, text: String| [name.to_owned(), text];
    let rows = [
        row(
            "phase",
            format!(
                "{}, {} h:min",
                words(&runoff.phase),
                elapsed(runoff.elapsed_s)
            ),
        ),
        row(
            "runnings",
            format!(
                "{}, pH {}, {}",
                with_error(runoff.runnings_gravity_p, runoff.runnings_gravity_se_p),
                super::text::optional(runoff.runnings_ph, 2),
                with_unit(runoff.runnings_temperature_c, 1, "°C")
            ),
        ),
        row("flow", with_unit(runoff.flow_l_min, 1, "L/min")),
        row(
            "pressure drop",
            with_unit(runoff.pressure_drop_kpa, 2, "kPa"),
        ),
        row(
            "kettle",
            format!(
                "{:.0} L, {}, extract {}",
                runoff.kettle_volume_l,
                with_error(runoff.kettle_gravity_p, runoff.kettle_gravity_se_p),
                with_unit(runoff.extract_kg, 0, "kg")
            ),
        ),
        row("if stopped now", if_stopped(runoff.if_stopped_now)),
    ];
    columns([Align::Left, Align::Left], &rows)
}

fn if_stopped(stopped: Option<IfStopped>) -> String {
    let Some(stopped) = stopped else {
        return "-".to_owned();
    };
    let need = if stopped.boil_off_percent > 0.0 {
        format!("boil off {:.1} %", stopped.boil_off_percent)
    } else {
        format!(
            "top up with {:.0} L of liquor to {:.0} L",
            stopped.top_up_l, stopped.final_volume_l
        )
    };
    format!("{need}, {:.2} L/kg", stopped.brew_length_l_per_kg)
}

/// A gravity with its standard error.
fn with_error(gravity_p: Option<f64>, standard_error_p: Option<f64>) -> String {
    match (gravity_p, standard_error_p) {
        (Some(gravity), Some(error)) => format!("{gravity:.2} ± {error:.2} °P"),
        (gravity, _) => with_unit(gravity, 2, "°P"),
    }
}

fn projection_text(projection: &ProjectionLine) -> String {
    let mut text = String::new();
    if let Some(target) = &projection.target {
        let _ = writeln!(
            text,
            "target gravity at {}, {} (90 % bands)",
            band(target.volume_l, |l| format!("{l:.0}"), "L"),
            band(target.elapsed_s, elapsed, "h:min")
        );
    }
    if let Some(stop) = &projection.stop {
        let _ = write!(
            text,
            "stop-point by {} at {:.0} L, {} h:min",
            words(&stop.cause),
            stop.volume_l,
            elapsed(stop.elapsed_s)
        );
        if stop.top_up_l > 0.0 {
            let _ = write!(
                text,
                "; then {:.0} L of liquor, to {:.0} L",
                stop.top_up_l, stop.final_volume_l
            );
        }
        text.push_str("\nThis is advice: the kettle's hard-wired high-level trip stands.\n");
    }
    text
}

fn band(band: Band, shown: impl Fn(f64) -> String, unit: &str) -> String {
    format!(
        "{} {unit} ({} to {})",
        shown(band.p50),
        shown(band.p5),
        shown(band.p95)
    )
}

fn alarms_text(lines: &[Line]) -> String {
    let alarms: Vec<&AlarmLine> = lines
        .iter()
        .filter_map(|line| match line {
            Line::Alarm(alarm) => Some(alarm),
            Line::Projection(_) | Line::Table(_) | Line::Summary(_) => None,
        })
        .collect();
    if alarms.is_empty() {
        return "no alarms\n".to_owned();
    }
    let mut alarms = alarms;
    alarms.sort_by_key(|alarm| (urgency(alarm.to), Reverse(alarm.priority)));
    let mut text = String::new();
    for alarm in alarms {
        let instrument = alarm
            .instrument
            .as_ref()
            .map_or_else(String::new, |id| format!(" of {id}"));
        let _ = writeln!(
            text,
            "{} {}{instrument}, {}{}: {}",
            words(&alarm.priority).to_uppercase(),
            alarm.alarm.name(),
            words(&alarm.to),
            burst_place(alarm),
            alarm.message
        );
        if !alarm.advice.is_empty() {
            let _ = writeln!(text, "  {}", alarm.advice);
        }
    }
    text
}

/// What asks for somebody first, what is put aside last.
fn urgency(state: AlarmState) -> u8 {
    match state {
        AlarmState::Unacknowledged => 0,
        AlarmState::Acknowledged => 1,
        AlarmState::ReturnedUnacknowledged => 2,
        AlarmState::Shelved | AlarmState::OutOfService => 3,
        AlarmState::Suppressed | AlarmState::Normal => 4,
    }
}

/// Where others came before it in its burst; the first one needs no mark.
fn burst_place(alarm: &AlarmLine) -> String {
    match alarm.evidence.get(BURST_PLACE) {
        Some(place) if *place >= 2.0 => format!(" (number {place:.0} of its burst)"),
        _ => String::new(),
    }
}

fn readings_text(readings: &[ConditionedReading]) -> String {
    let rows: Vec<[String; 4]> = readings
        .iter()
        .map(|reading| {
            [
                reading.instrument.clone(),
                reading
                    .value
                    .map_or_else(|| NONE.to_owned(), |value| format!("{value:.3}")),
                reading.unit.name().to_owned(),
                remark(reading),
            ]
        })
        .collect();
    columns([Align::Left, Align::Right, Align::Left, Align::Left], &rows)
}

/// Status and cause, where there is anything to say.
fn remark(reading: &ConditionedReading) -> String {
    let mut remarks = Vec::new();
    if reading.status != Status::Good {
        remarks.push(words(&reading.status));
    }
    remarks.extend(reading.cause.as_ref().map(words));
    if let (Some(version), Some(measured)) = (reading.correction, reading.measured) {
        remarks.push(format!("correction {version}, before it {measured:.3}"));
    }
    remarks.join(", ")
}

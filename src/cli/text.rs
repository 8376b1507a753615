//! How commands write to standard output: aligned columns, numbers with a dash where there is none, JSON.

use std::io::{ErrorKind, Write as _};

use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Serialize;

use crate::exit::{Failure, Kind};

/// Where a value is missing.
pub const NONE: &str = "–";

/// Writes text that ends its own lines. A reader that has gone away, such as `head`, is no failure.
pub fn print(text: &str) -> Result<(), Failure> {
    match std::io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(Failure::new(
            Kind::Io,
            format!("standard output cannot be written: {error}"),
        )),
        _ => Ok(()),
    }
}

/// Writes `value` as JSON that people can read too.
pub fn print_json(value: &impl Serialize) -> Result<(), Failure> {
    let text = serde_json::to_string_pretty(value)
        .map_err(|error| Failure::new(Kind::Io, format!("cannot be shown as JSON: {error}")))?;
    print(&format!("{text}\n"))
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    Left,
    Right,
}

/// Columns of even width, two spaces apart.
pub fn columns<const N: usize>(align: [Align; N], rows: &[[String; N]]) -> String {
    let widths: [usize; N] = std::array::from_fn(|column| {
        let cells = rows.iter().map(|row| row[column].chars().count());
        cells.max().unwrap_or(0)
    });
    let mut text = String::new();
    for row in rows {
        let cells: Vec<String> = row
            .iter()
            .zip(align)
            .zip(widths)
            .map(|((cell, align), width)| match align {
                Align::Left => format!("{cell:<width$}"),
                Align::Right => format!("{cell:>width$}"),
            })
            .collect();
        text.push_str(cells.join("  ").trim_end());
        text.push('\n');
    }
    text
}

/// With `decimals` places, or a dash.
pub fn optional(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| NONE.to_owned(), |value| format!("{value:.decimals$}"))
}

/// With unit, or a dash alone.
pub fn with_unit(value: Option<f64>, decimals: usize, unit: &str) -> String {
    value.map_or_else(
        || NONE.to_owned(),
        |value| format!("{value:.decimals$} {unit}"),
    )
}

/// Seconds as hours and minutes of run-off.
pub fn elapsed(seconds: f64) -> String {
    let sign = if seconds < 0.0 { "-" } else { "" };
    let minutes = (seconds.abs() / 60.0).round() as u64;
    format!("{sign}{}:{:02}", minutes / 60, minutes % 60)
}

/// The brewhouse's own time of day.
pub fn local_time(time: Timestamp) -> String {
    let zoned = time.to_zoned_datetime(TimeZone::system());
    zoned.strftime("%Y-%m-%d %H:%M").to_string()
}

/// What a serialised name without fields is, as people read it: `first-wort` is "first wort".
pub fn words(name: &impl Serialize) -> String {
    match serde_json::to_value(name) {
        Ok(serde_json::Value::String(name)) => name.replace('-', " "),
        _ => NONE.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_as_wide_as_their_widest_cell_in_characters() {
        let row = |a: &str, b: &str| [a.to_owned(), b.to_owned()];
        let text = columns(
            [Align::Left, Align::Right],
            &[row("time", "°P"), row("0:10", "18.00"), row("1", NONE)],
        );
        assert_eq!(text, "time     °P\n0:10  18.00\n1         –\n");
    }

    #[test]
    fn run_off_time_is_hours_and_minutes() {
        assert_eq!(elapsed(600.0), "0:10");
        assert_eq!(elapsed(5175.0), "1:26");
        assert_eq!(elapsed(3599.0), "1:00");
        assert_eq!(elapsed(-90.0), "-0:02");
    }
}

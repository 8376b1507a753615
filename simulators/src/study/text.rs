//! The figures of a study as tables for people.

use std::fmt::Write as _;

use super::figures::{AtFraction, Figures, MANY_ALARMS, UNFOUNDED, share};

/// The whole study, ready to print.
pub fn tables(figures: &Figures) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "{} run-offs, {} came to their target",
        figures.runoffs, figures.reached_target
    );
    stop_volume(&mut out, &figures.stop_volume);
    kettle_and_call(&mut out, figures);
    tannin(&mut out, figures);
    alarms(&mut out, figures);
    out
}

/// A number in a column, or a dash.
fn cell(value: Option<f64>, width: usize, digits: usize) -> String {
    value.map_or_else(
        || format!("{:>width$}", "–"),
        |value| format!("{value:>width$.digits$}"),
    )
}

fn percent(part: usize, whole: usize) -> String {
    share(part, whole).map_or_else(|| "–".to_owned(), |s| format!("{:.1} %", 100.0 * s))
}

fn stop_volume(out: &mut String, points: &[AtFraction]) {
    let _ = writeln!(
        out,
        "\nProjected stop volume, read at a share of the planned volume; errors in % of the true one\n\
         {:>7}{:>9}{:>9}{:>9}{:>10}{:>9}{:>11}{:>9}",
        "planned", "median", "90th", "signed", "coverage", "width", "width/med", "missing"
    );
    for point in points {
        let _ = writeln!(
            out,
            "{:>6.0}%{}{}{}{}{}{}{:>9}",
            100.0 * point.fraction,
            cell(point.error.median_percent, 9, 3),
            cell(point.error.p90_percent, 9, 3),
            cell(point.error.signed_median_percent, 9, 3),
            cell(point.coverage.map(|share| 100.0 * share), 10, 1),
            cell(point.median_band_width_percent, 9, 2),
            cell(point.band_width_over_error, 11, 2),
            point.error.missing,
        );
    }
}

fn kettle_and_call(out: &mut String, figures: &Figures) {
    let kettle = &figures.kettle_gravity;
    let call = &figures.stop_call;
    let _ = writeln!(
        out,
        "\nKettle gravity at the true stop-point: median {} °P, 90th {} °P, signed median {} °P\n\
         stop-point-reached: median {} s, 95th {} s, signed median {} s (late is positive); {} of {} not called",
        cell(kettle.median_size_p, 0, 4),
        cell(kettle.p90_size_p, 0, 4),
        cell(kettle.signed_median_p, 0, 4),
        cell(call.median_size_s, 0, 0),
        cell(call.p95_size_s, 0, 0),
        cell(call.signed_median_s, 0, 0),
        call.missed,
        call.called + call.missed,
    );
}

fn tannin(out: &mut String, figures: &Figures) {
    let tannin = &figures.tannin;
    let _ = writeln!(
        out,
        "tannin-limit-ahead: {} run-offs cross a limit before the target; {} warned 5 min ahead, {} later; \
         {} never near one, {} of them warned",
        tannin.crossing,
        percent(tannin.warned_in_time, tannin.crossing),
        percent(tannin.warned_late, tannin.crossing),
        tannin.far,
        percent(tannin.far_but_warned, tannin.far),
    );
}

fn alarms(out: &mut String, figures: &Figures) {
    let alarms = &figures.alarms;
    let _ = writeln!(
        out,
        "\nAlarms: {:.2} a run-off; {} run-offs with more than {MANY_ALARMS}; \
         {:.1} in a hundred without cause (marked *)",
        alarms.per_runoff, alarms.with_many, alarms.unfounded_per_hundred
    );
    for (alarm, per_hundred) in &alarms.per_hundred {
        let mark = if UNFOUNDED.contains(alarm) { "*" } else { "" };
        let _ = writeln!(out, "{per_hundred:>8.1} in 100  {alarm}{mark}");
    }
}

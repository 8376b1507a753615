//! The figures of a study as tables for people.

use std::fmt::Write as _;

use super::faults::{Detection, FaultFigures, LOSS_AHEAD_S};
use super::figures::{AtFraction, Errors, Figures, MANY_ALARMS, StudyFigures, UNFOUNDED, share};

/// The whole study, ready to print.
pub fn tables(study: &StudyFigures) -> String {
    let mut out = String::new();
    let recipe = &study.recipe;
    let _ = writeln!(
        out,
        "{} tuns with {} each, seeds from {} on",
        recipe.tuns,
        if recipe.brews_each == 1 {
            "one brew".to_owned()
        } else {
            format!("{} brews", recipe.brews_each)
        },
        recipe.seed
    );
    out += &set(&study.all);
    by_brew(&mut out, &study.by_brew);
    out
}

/// One set of run-offs.
fn set(figures: &Figures) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "{} run-offs, {} came to their target",
        figures.runoffs, figures.reached_target
    );
    stop_volume(&mut out, &figures.stop_volume);
    methods(&mut out, figures);
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

fn methods(out: &mut String, figures: &Figures) {
    let _ = writeln!(
        out,
        "\nBeside other methods: median and 90th percentile of the error\n\
         {:>7}{:>18}{:>18}{:>18}{:>11}{:>11}",
        "planned", "lauterd", "hand", "bound", "over bound", "hand over"
    );
    for point in &figures.stop_volume {
        let _ = writeln!(
            out,
            "{:>6.0}%{}{}{}{}{}",
            100.0 * point.fraction,
            pair(Some(&point.error)),
            pair(Some(&point.hand)),
            pair(point.bound.as_ref()),
            cell(point.over_bound, 11, 2),
            cell(point.hand_over, 11, 2),
        );
    }
    let _ = writeln!(out, "   plan{}", pair(Some(&figures.planned_volume)));
    let _ = writeln!(
        out,
        " meters{}  (the metered kettle gravity in hindsight: nothing left to forecast)",
        pair(Some(&figures.hindsight))
    );
}

fn pair(errors: Option<&Errors>) -> String {
    let median = cell(errors.and_then(|errors| errors.median_percent), 10, 3);
    let ninth = cell(errors.and_then(|errors| errors.p90_percent), 8, 3);
    median + &ninth
}

/// Learning: medians of one brew number after the other.
fn by_brew(out: &mut String, brews: &[Figures]) {
    let Some(first) = brews.first() else { return };
    let _ = write!(
        out,
        "\nMedian error by brew on the tun, % of the true stop volume\n{:>7}",
        "brew"
    );
    for point in &first.stop_volume {
        let _ = write!(out, "{:>8.0}%", 100.0 * point.fraction);
    }
    let _ = writeln!(out, "{:>12}", "coverage");
    for (number, figures) in brews.iter().enumerate() {
        let _ = write!(out, "{:>7}", number + 1);
        for point in &figures.stop_volume {
            let _ = write!(out, "{}", cell(point.error.median_percent, 9, 3));
        }
        let coverages: Vec<f64> = figures
            .stop_volume
            .iter()
            .filter_map(|p| p.coverage)
            .collect();
        let mean = coverages.iter().sum::<f64>() / coverages.len().max(1) as f64;
        let _ = writeln!(out, "{:>12.1}", 100.0 * mean);
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
        "tannin-limit-ahead: {} run-offs cross a limit before the target ({} the pH ceiling first); {} warned 5 min ahead, {} later; \
         {} never near one, {} of them warned",
        tannin.crossing,
        tannin.crossing_ph_ceiling,
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

/// Fault families, one line each.
pub fn faults(families: &[FaultFigures]) -> String {
    let mut out = format!(
        "{:<22}{:>9}{:>10}{:>9}{:>9}{:>9}{:>7}{:>9}{:>8}{:>8}  {}\n",
        "fault",
        "run-offs",
        "detected",
        "median s",
        "90th s",
        "of it %",
        "early",
        "false ch",
        "alarms",
        "few %",
        "without cause in 100"
    );
    for family in families {
        let unfounded: Vec<String> = family
            .unfounded_per_hundred
            .iter()
            .map(|(alarm, per_hundred)| format!("{alarm} {per_hundred:.1}"))
            .collect();
        let _ = writeln!(
            out,
            "{:<22}{:>9}{}{:>7}{:>9}{}{}  {}",
            family.disturbance,
            family.runoffs,
            detection(Some(&family.detection).filter(|_| !family.answered_by.is_empty())),
            family.too_early,
            family.false_channelling,
            cell(family.alarms.mean, 8, 2),
            cell(family.alarms.share_of_few.map(|share| 100.0 * share), 8, 1),
            if unfounded.is_empty() {
                "–".to_owned()
            } else {
                unfounded.join(", ")
            },
        );
        if let Some(hand) = &family.hand {
            let _ = writeln!(out, "{:<22}{:>9}{}", "  by hand", "", detection(Some(hand)));
        }
        if let Some(ahead) = &family.ahead_of_loss {
            let _ = writeln!(
                out,
                "  half the flow lost in {}; warned {LOSS_AHEAD_S:.0} s before in {}, median {} s before",
                ahead.beds,
                ahead.in_time,
                cell(ahead.median_ahead_s, 0, 0),
            );
        }
    }
    out
}

fn detection(of: Option<&Detection>) -> String {
    [
        cell(of.and_then(|d| d.share).map(|share| 100.0 * share), 9, 1) + "%",
        cell(of.and_then(|d| d.median_delay_s), 9, 0),
        cell(of.and_then(|d| d.p90_delay_s), 9, 0),
        cell(of.and_then(|d| d.median_delay_percent), 9, 1),
    ]
    .concat()
}

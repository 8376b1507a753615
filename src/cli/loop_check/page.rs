//! Loop checks and corrections as text. Writing to a string cannot fail.

use std::fmt::Write as _;

use lauter_core::calibration::{Rule, Series, Verdict};

use crate::cli::text::{Align, NONE, columns, local_time};
use crate::runtime::request::Calibrated;
use crate::web::wire::calibration::{CorrectionRecord, LoopCheckRecord};

/// What a check amounts to.
pub fn checked(record: &LoopCheckRecord) -> String {
    let mut page = String::new();
    let unit = record.check.unit.name();
    for (name, series) in [
        ("as-found", &record.evaluation.as_found),
        ("as-left", &record.evaluation.as_left),
    ] {
        if let Some(series) = series {
            let _ = writeln!(page, "{name}, {unit}");
            page.push_str(&levels(series));
        }
    }
    let _ = writeln!(
        page,
        "{}: loop check {}, {}; tolerance {} {unit}",
        record.check.instrument,
        record.number,
        result(record.evaluation.verdict, record.evaluation.in_doubt),
        record.check.tolerance
    );
    let _ = writeln!(
        page,
        "certificate: lauterd loop-check certificate {} --output certificate-{}.html",
        record.number, record.number
    );
    page
}

/// Nought has no sign.
pub fn figure(value: f64) -> String {
    let text = format!("{value:.4}");
    let is_nought = text
        .trim_start_matches('-')
        .chars()
        .all(|it| matches!(it, '0' | '.'));
    if is_nought {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    }
}

pub fn levels(series: &Series) -> String {
    let head = [
        "applied",
        "reading",
        "error",
        "hysteresis",
        "U",
        "k",
        "result",
    ]
    .map(str::to_owned);
    let mut rows = vec![head];
    for level in &series.levels {
        rows.push([
            figure(level.applied),
            figure(level.reading),
            figure(level.error),
            level.hysteresis.map_or_else(|| NONE.to_owned(), figure),
            figure(level.uncertainty.expanded),
            format!("{:.2}", level.uncertainty.coverage_factor),
            result(level.verdict, level.in_doubt),
        ]);
    }
    let mut align = [Align::Right; 7];
    align[6] = Align::Left;
    columns(align, &rows)
}

pub fn result(verdict: Verdict, in_doubt: bool) -> String {
    let word = match verdict {
        Verdict::Pass => "pass",
        Verdict::Fail => "fail",
    };
    if in_doubt {
        format!("{word} (in doubt: the tolerance lies within the uncertainty)")
    } else {
        word.to_owned()
    }
}

pub fn list(checks: &[LoopCheckRecord]) -> String {
    if checks.is_empty() {
        return "no loop checks yet (lauterd loop-check guide)\n".to_owned();
    }
    let head = [
        "number",
        "time",
        "instrument",
        "as-found",
        "as-left",
        "tolerance",
        "result",
        "due",
    ];
    let mut rows = vec![head.map(str::to_owned)];
    for record in checks {
        let error = |series: &Option<Series>| {
            series
                .as_ref()
                .map_or_else(|| NONE.to_owned(), |it| figure(it.greatest_error))
        };
        let evaluation = &record.evaluation;
        rows.push([
            record.number.to_string(),
            local_time(record.time),
            record.check.instrument.clone(),
            error(&evaluation.as_found),
            error(&evaluation.as_left),
            format!("{} {}", record.check.tolerance, record.check.unit.name()),
            match (evaluation.verdict, evaluation.in_doubt) {
                (Verdict::Pass, false) => "pass",
                (Verdict::Pass, true) => "pass?",
                (Verdict::Fail, false) => "fail",
                (Verdict::Fail, true) => "fail?",
            }
            .to_owned(),
            record.due.map_or_else(|| NONE.to_owned(), local_time),
        ]);
    }
    columns(
        [
            Align::Right,
            Align::Left,
            Align::Left,
            Align::Right,
            Align::Right,
            Align::Left,
            Align::Left,
            Align::Left,
        ],
        &rows,
    )
}

pub fn rule(rule: Rule) -> String {
    match rule {
        Rule::Electrode {
            offset_mv,
            slope_percent,
        } => format!("offset {offset_mv:.1} mV, slope {slope_percent:.1} % of Nernst"),
        Rule::Line { slope, offset } => {
            let sign = if offset < 0.0 { '-' } else { '+' };
            format!("{slope:.5} x reading {sign} {:.4}", offset.abs())
        }
    }
}

pub fn corrected(made: &CorrectionRecord) -> String {
    match made.rule {
        Some(found) => format!(
            "{}: correction {} is in force: {}; nothing was written to the instrument\n",
            made.instrument,
            made.version,
            rule(found)
        ),
        None => format!(
            "{}: the correction was taken back (version {}); readings pass as they come\n",
            made.instrument, made.version
        ),
    }
}

pub fn due(states: &[Calibrated]) -> String {
    if states.is_empty() {
        return "no instrument has been checked yet (lauterd loop-check guide)\n".to_owned();
    }
    let mut rows = vec![["instrument", "last", "due", "correction", ""].map(str::to_owned)];
    let day = |time: &Option<String>| {
        time.as_ref()
            .map_or_else(|| NONE.to_owned(), |it| it.chars().take(10).collect())
    };
    for state in states {
        rows.push([
            state.instrument.clone(),
            day(&state.looked_at),
            day(&state.due),
            state.correction.map_or_else(
                || "none".to_owned(),
                |made| format!("{}: {}", made.version, rule(made.rule)),
            ),
            state.hint.clone().unwrap_or_default(),
        ]);
    }
    columns([Align::Left; 5], &rows)
}

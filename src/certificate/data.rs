//! The certificate as data: the levels as CSV, everything as JSON.

use lauter_core::calibration::{Series, Verdict};
use serde_json::{Value, json};

use super::Certificate;
use crate::display::NONE;

/// One row for each level, as-found and as-left. Numbers have a point, whatever the page shows: it is for programs.
pub fn csv(certificate: &Certificate<'_>) -> Result<String, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record([
        "number",
        "instrument",
        "unit",
        "series",
        "applied",
        "reading",
        "error",
        "hysteresis",
        "combined_uncertainty",
        "degrees_of_freedom",
        "coverage_factor",
        "expanded_uncertainty",
        "tolerance",
        "result",
        "in_doubt",
    ])?;
    let evaluation = certificate.evaluation();
    let both = [
        ("as-found", evaluation.as_found),
        ("as-left", evaluation.as_left),
    ];
    for (name, series) in both {
        if let Some(series) = series {
            write(&mut writer, certificate, name, &series)?;
        }
    }
    let bytes = writer
        .into_inner()
        .map_err(csv::IntoInnerError::into_error)?;
    Ok(String::from_utf8(bytes).unwrap_or_else(|_| NONE.to_owned()))
}

fn write(
    writer: &mut csv::Writer<Vec<u8>>,
    certificate: &Certificate<'_>,
    name: &str,
    series: &Series,
) -> Result<(), csv::Error> {
    let check = &certificate.stored.check;
    let optional = |value: Option<f64>| value.map_or_else(String::new, written);
    for level in &series.levels {
        let uncertainty = &level.uncertainty;
        writer.write_record([
            certificate.stored.number.to_string(),
            check.instrument.clone(),
            check.unit.name().to_owned(),
            name.to_owned(),
            written(level.applied),
            written(level.reading),
            written(level.error),
            optional(level.hysteresis),
            written(uncertainty.combined),
            optional(uncertainty.degrees_of_freedom),
            written(uncertainty.coverage_factor),
            written(uncertainty.expanded),
            written(check.tolerance),
            if level.verdict == Verdict::Pass {
                "pass"
            } else {
                "fail"
            }
            .to_owned(),
            level.in_doubt.to_string(),
        ])?;
    }
    Ok(())
}

/// Decimals of the rows: finer than any instrument, coarser than what a sum of binary fractions leaves behind.
const DECIMALS: usize = 10;

/// Without the rest of binary fractions and without a sign before nought.
fn tidy(value: f64) -> f64 {
    // By way of its decimals: a factor would leave a rest of its own.
    let rounded: f64 = format!("{value:.DECIMALS$}").parse().unwrap_or(value);
    rounded + 0.0
}

fn written(value: f64) -> String {
    tidy(value).to_string()
}

/// A value without a sign before any nought. Else it is as the record's, to the bit.
fn unsigned_noughts(value: Value) -> Value {
    match value {
        Value::Number(number) if number.is_f64() => {
            number.as_f64().map_or(Value::Null, |it| json!(it + 0.0))
        }
        Value::Array(all) => all.into_iter().map(unsigned_noughts).collect(),
        Value::Object(all) => {
            let all = all.into_iter();
            Value::Object(all.map(|(key, it)| (key, unsigned_noughts(it))).collect())
        }
        other => other,
    }
}

/// Everything.
pub fn json(certificate: &Certificate<'_>) -> Value {
    let stored = certificate.stored;
    let correction = certificate.correction.and_then(|made| {
        let correction = made.correction.as_ref()?;
        Some(json!({
            "version": made.version,
            "made": made.made,
            "who": made.who,
            "unit": correction.unit,
            "rule": correction.rule,
            "points": correction.points,
        }))
    });
    let drift = super::course(certificate.history).into_iter().map(|point| {
        json!({
            "checked": point.checked,
            "as_found": point.as_found,
            "as_left": point.as_left,
        })
    });
    unsigned_noughts(json!({
        "site": certificate.site,
        "tun": certificate.tun,
        "number": stored.number,
        "checked": stored.checked,
        "due": stored.due,
        "who": stored.who,
        "note": stored.note,
        "check": stored.check,
        "evaluation": certificate.evaluation(),
        "correction": correction,
        "drift_share_of_tolerance": drift.collect::<Vec<_>>(),
    }))
}

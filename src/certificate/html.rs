//! The certificate as one HTML page that needs nothing beside it.

use lauter_core::calibration::{
    Applied, Direction, Level, LoopCheck, Point, Rule, Series, Source, Verdict,
};
use lauter_core::units::{Dimension, Unit};
use maud::{DOCTYPE, Markup, PreEscaped, html as markup};

use super::{Certificate, course};
use crate::charts::{self, ChartError, Size};
use crate::display::terms::{fill, measures_words};
use crate::display::{NONE, Voice};

/// As wide as a printed page.
const CHART: Size = Size {
    width: 720,
    height: 260,
};

pub fn html(certificate: &Certificate<'_>) -> Result<String, ChartError> {
    let (voice, words) = (certificate.voice, certificate.voice.words);
    let about = voice.calibration_words();
    let stored = certificate.stored;
    let evaluation = certificate.evaluation();
    let drawn = charts::drift(&course(certificate.history), voice, CHART)?;
    let check = &stored.check;
    let number = fill(about.number, &[&stored.number.to_string()]);
    let both = [
        (about.as_found, &evaluation.as_found, &check.as_found),
        (about.as_left, &evaluation.as_left, &check.as_left),
    ];
    let page = markup! {
        (DOCTYPE)
        html lang=(voice.tag()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (about.certificate) " " (number) " · " (check.instrument) " · lauterd" }
                style { (PreEscaped(charts::STYLE)) (PreEscaped(crate::report::STYLE)) }
            }
            body {
                main {
                    header {
                        p class="site" { (certificate.site) " / " (certificate.tun) }
                        h1 { (about.certificate) " " (number) }
                        p { (check.instrument) " · " (measures_words(check.measures, voice.language())) }
                    }
                    section class="outcome" aria-label=(about.verdict) {
                        dl {
                            div { dt { (about.verdict) } dd { (verdict(voice, evaluation.verdict, evaluation.in_doubt)) } }
                            div { dt { (about.checked_on) } dd { (voice.date(stored.checked)) } }
                            div { dt { (about.due) } dd { (stored.due.map_or_else(|| NONE.to_owned(), |due| voice.date(due))) } }
                        }
                        @if evaluation.in_doubt { p { (about.in_doubt_says) } }
                    }
                    section { h2 { (about.reference) } (conditions(certificate)) }
                    @for (title, series, points) in both {
                        @if let Some(series) = series {
                            section { h2 { (title) } (levels(voice, check, series)) (budget(voice, check, series)) (raw(voice, check, points)) }
                        }
                    }
                    section { h2 { (about.correction) } (correction(certificate)) }
                    section class="figure" { h2 { (about.drift) } (PreEscaped(drawn)) p { (about.drift_says) } }
                    @if !stored.note.is_empty() { section { h2 { (about.note) } p { (stored.note) } } }
                    section { p { (about.how_reckoned) } @for source in sources(voice, check) { p { (source) } } }
                    section class="signatures" { h2 { (words.signatures) }
                        p { span { (about.engineer) ": " (stored.who) } } p { span { (about.approved) } } p { span { (words.date) } } }
                }
                footer { p { strong { (words.caution) } " " (about.caution_check) } }
            }
        }
    };
    Ok(page.into_string())
}

fn verdict(voice: Voice, verdict: Verdict, in_doubt: bool) -> String {
    let about = voice.calibration_words();
    let word = match verdict {
        Verdict::Pass => about.pass,
        Verdict::Fail => about.fail,
    };
    if in_doubt {
        format!("{word} ({})", about.in_doubt)
    } else {
        word.to_owned()
    }
}

/// Digits that show a tenth of the tolerance.
fn digits(check: &LoopCheck) -> usize {
    (2.0 - check.tolerance.log10()).ceil().clamp(0.0, 6.0) as usize
}

fn conditions(certificate: &Certificate<'_>) -> Markup {
    let (voice, check) = (certificate.voice, &certificate.stored.check);
    let about = voice.calibration_words();
    let unit = unit_words(check.unit);
    let with_unit = |value: f64| format!("{} {unit}", voice.number(value, digits(check)));
    let rows = [
        (about.reference, check.reference.name.clone()),
        (
            about.reference_uncertainty,
            with_unit(check.reference.expanded_uncertainty),
        ),
        (
            about.temperature_uncertainty,
            voice.number(check.reference.temperature_uncertainty_c, 2),
        ),
        (about.tolerance, with_unit(check.tolerance)),
        (about.resolution, with_unit(check.resolution)),
    ];
    markup! {
        dl class="plan" { @for (name, value) in &rows { div { dt { (name) } dd { (value) } } } }
    }
}

fn unit_words(unit: Unit) -> &'static str {
    match unit {
        Unit::KilogramPerCubicMetre => "kg/m³",
        Unit::DegreePlato => "°P",
        Unit::DegreeBrix => "°Bx",
        Unit::SpecificGravity => "SG",
        Unit::Celsius => "°C",
        Unit::Fahrenheit => "°F",
        other => other.name(),
    }
}

fn levels(voice: Voice, check: &LoopCheck, series: &Series) -> Markup {
    let about = voice.calibration_words();
    let unit = unit_words(check.unit);
    let number = |value: f64| voice.number(value, digits(check));
    let or_none = |value: Option<f64>| value.map_or_else(|| NONE.to_owned(), &number);
    let freedom = |level: &Level| {
        let freedom = level.uncertainty.degrees_of_freedom;
        freedom
            .filter(|it| *it < 1e3)
            .map_or_else(|| "∞".to_owned(), |it| voice.number(it, 1))
    };
    markup! {
        table class="data" {
            thead { tr {
                th scope="col" { (about.applied) br; (unit) } th scope="col" { (about.reading) br; (unit) }
                th scope="col" { (about.error) br; (unit) } th scope="col" { (about.hysteresis) br; (unit) }
                th scope="col" { (about.combined) br; (unit) } th scope="col" { (about.freedom) }
                th scope="col" { (about.factor) } th scope="col" { (about.expanded) br; (unit) }
                th scope="col" class="words" { (about.verdict) }
            } }
            tbody { @for level in &series.levels {
                tr {
                    th scope="row" { (number(level.applied)) } td { (number(level.reading)) }
                    td { (number(level.error)) } td { (or_none(level.hysteresis)) }
                    td { (voice.number(level.uncertainty.combined, digits(check) + 1)) } td { (freedom(level)) }
                    td { (voice.number(level.uncertainty.coverage_factor, 2)) } td { (voice.number(level.uncertainty.expanded, digits(check) + 1)) }
                    td class="words" { (verdict(voice, level.verdict, level.in_doubt)) }
                }
            } }
        }
        p {
            @match (series.repeatability, series.repeatability_degrees_of_freedom) {
                (Some(deviation), Some(freedom)) => (fill(about.repeatability_is, &[
                    &format!("{} {unit}", voice.number(deviation, digits(check) + 1)), &voice.number(freedom, 0)])),
                _ => (about.not_repeated),
            }
        }
    }
}

fn source_words(voice: Voice, source: Source) -> &'static str {
    let about = voice.calibration_words();
    match source {
        Source::Reference => about.by_reference,
        Source::Repeatability => about.by_repeatability,
        Source::Resolution => about.by_resolution,
        Source::Hysteresis => about.by_hysteresis,
        Source::Temperature => about.by_temperature,
        Source::Formula => about.by_formula,
    }
}

/// What the combined uncertainty of each level is made of.
fn budget(voice: Voice, check: &LoopCheck, series: &Series) -> Markup {
    let about = voice.calibration_words();
    markup! {
        h3 { (about.budget) }
        ul { @for level in &series.levels { li {
            (voice.number(level.applied, digits(check))) " " (unit_words(check.unit)) ": "
            @for (index, component) in level.uncertainty.components.iter().enumerate() {
                @if index > 0 { ", " }
                (source_words(voice, component.source)) " " (voice.number(component.standard, digits(check) + 2))
            }
        } } }
    }
}

/// The readings as they were taken.
fn raw(voice: Voice, check: &LoopCheck, points: &[Point]) -> Markup {
    let about = voice.calibration_words();
    let number = |value: f64| voice.number(value, digits(check));
    markup! {
        h3 { (about.readings) }
        ul { @for point in points { li {
            (match point.direction { Direction::Up => about.up, Direction::Down => about.down }) " · "
            (applied_words(voice, check, point)) " → " strong { (number(point.reading)) }
            @if let Some(uncorrected) = point.uncorrected { " (" (about.uncorrected) " " (number(uncorrected)) ")" }
        } } }
    }
}

/// What was really applied, and the value it stands for.
fn applied_words(voice: Voice, check: &LoopCheck, point: &Point) -> String {
    let value = check.applied(point).map_or_else(
        |_| NONE.to_owned(),
        |value| {
            format!(
                "{} {}",
                voice.number(value, digits(check)),
                unit_words(check.unit)
            )
        },
    );
    let at = |celsius: f64| format!("{} °C", voice.number(celsius, 1));
    match point.applied {
        Applied::Value { .. } => value,
        Applied::Buffer {
            buffer,
            temperature_c,
        } => format!("{} {}: {value}", buffer.name(), at(temperature_c)),
        Applied::Gravity {
            gravity_p,
            temperature_c,
        } => {
            let warm =
                temperature_c.map_or_else(String::new, |celsius| format!(", {}", at(celsius)));
            format!("{} °P{warm}: {value}", voice.number(gravity_p, 2))
        }
        Applied::SamplePh { ph, temperature_c } => {
            format!(
                "pH {} (20 °C), {}: {value}",
                voice.number(ph, 2),
                at(temperature_c)
            )
        }
        Applied::WeighedTank {
            mass_kg,
            seconds,
            temperature_c,
        } => format!(
            "{} kg, {} s, {}: {value}",
            voice.number(mass_kg, 2),
            voice.number(seconds, 1),
            at(temperature_c)
        ),
    }
}

fn correction(certificate: &Certificate<'_>) -> Markup {
    let voice = certificate.voice;
    let about = voice.calibration_words();
    let made = certificate
        .correction
        .and_then(|stored| Some((stored, stored.correction.as_ref()?)));
    markup! {
        @match made {
            Some((stored, made)) => {
                p { (fill(about.correction_is, &[&stored.version.to_string(), &voice.date(stored.made), &stored.who])) ": "
                    strong { (rule_words(voice, made.rule)) } }
                p { (about.correction_says) }
            }
            None => p { (about.no_correction) },
        }
    }
}

/// A correction in words.
pub fn rule_words(voice: Voice, rule: Rule) -> String {
    let about = voice.calibration_words();
    match rule {
        Rule::Electrode {
            offset_mv,
            slope_percent,
        } => fill(
            about.electrode_is,
            &[&voice.number(offset_mv, 1), &voice.number(slope_percent, 1)],
        ),
        Rule::Line { slope, offset } => {
            let sign = if offset < 0.0 { "−" } else { "+" };
            let moved = format!("{sign} {}", voice.number(offset.abs(), 4));
            fill(about.line_is, &[&voice.number(slope, 5), &moved])
        }
    }
}

fn sources(voice: Voice, check: &LoopCheck) -> Vec<&'static str> {
    let about = voice.calibration_words();
    let points = || check.as_found.iter().chain(&check.as_left);
    let uses = |meant: fn(&Applied) -> bool| points().any(|point| meant(&point.applied));
    let mut sources = Vec::new();
    if uses(|it| matches!(it, Applied::Buffer { .. })) {
        sources.push(about.buffers_from);
    }
    if uses(|it| matches!(it, Applied::WeighedTank { .. })) {
        sources.push(about.water_from);
    }
    if check.unit.dimension() == Dimension::Gravity
        && uses(|it| matches!(it, Applied::Gravity { .. }))
    {
        sources.push(about.gravity_from);
    }
    sources
}

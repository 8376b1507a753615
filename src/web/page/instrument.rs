//! One instrument's page: its values, its correction, its loop checks and their drift, and the forms that make new ones.

use jiff::Timestamp;
use lauter_core::calibration::{Evaluation, Method, Parameters, Verdict, evaluate};
use lauter_core::reading::Instrument;
use lauter_core::units::{Dimension, Unit};
use maud::{Markup, html};

use super::runoff::figure;
use super::shell::Frame;
use super::symbols::flag;
use super::view::{View, api_path, segment};
use crate::certificate::rule_words;
use crate::display::terms::{fill, measures_words, unit_digits, unit_words};
use crate::display::{NONE, hint_said};
use crate::store::{StoredCheck, StoredCorrection};

/// What the page of one instrument is drawn from.
#[derive(Debug)]
pub struct Shown<'a> {
    pub instrument: &'a Instrument,
    pub checks: &'a [StoredCheck],
    pub corrections: &'a [StoredCorrection],
    /// The course of its errors; None before the first check.
    pub drift: Option<&'a str>,
    pub now: Timestamp,
}

pub fn page(frame: &Frame<'_>, view: &View<'_>, shown: &Shown<'_>) -> Markup {
    let about = frame.voice.calibration_words();
    let checkable = shown.instrument.measures.dimension() != Dimension::Switch;
    let body = html! {
        section class="panel" {
            h2 { (shown.instrument.id) }
            p class="sub" { (measures_words(shown.instrument.measures, frame.voice.language())) " · " a href=(view.path("instruments")) { (about.all_instruments) } }
            (values(view, shown))
            (hint(view, shown))
        }
        section class="panel" { h2 { (about.correction) } (correction(frame, shown)) }
        section class="panel" { h2 { (about.loop_checks) } (checks(frame, shown)) }
        @if let Some(svg) = shown.drift {
            (figure("drift", about.drift, about.drift_says, svg, frame.voice.words.cross_hair))
        }
        @if checkable { section class="panel" { (form(view, shown)) } }
        script src="/assets/loop_check.js" defer {}
    };
    frame.page(&shown.instrument.id, &html! {}, &body)
}

fn values(view: &View<'_>, shown: &Shown<'_>) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let about = voice.calibration_words();
    let readings = &view.status.readings;
    let reading = readings
        .iter()
        .find(|it| it.instrument == shown.instrument.id);
    let number = |value: Option<f64>, unit: Unit| {
        value.map_or_else(
            || NONE.to_owned(),
            |it| {
                format!(
                    "{} {}",
                    voice.number(it, unit_digits(unit) + 1),
                    unit_words(unit)
                )
            },
        )
    };
    let unit = shown.instrument.reads_in();
    let rows = [
        (
            words.raw_value,
            reading.and_then(|it| it.raw),
            shown.instrument.unit,
        ),
        (about.uncorrected, reading.and_then(|it| it.measured), unit),
        (
            about.corrected_value,
            reading.and_then(|it| it.corrected),
            unit,
        ),
        (words.believed_value, reading.and_then(|it| it.value), unit),
    ];
    html! {
        table class="plain" { tbody { @for (name, value, unit) in rows {
            tr { th scope="row" { (name) } td { (number(value, unit)) } }
        } } }
    }
}

/// What somebody should see to.
fn hint(view: &View<'_>, shown: &Shown<'_>) -> Markup {
    let calibrated = &view.status.calibration;
    let known = calibrated
        .iter()
        .find(|it| it.instrument == shown.instrument.id);
    html! {
        @if let Some(text) = known.and_then(|it| it.hint.as_ref()) {
            @let said = hint_said(text, view.voice);
            p class="amiss-line" { (flag()) " " (shown.instrument.id) ": " span lang=[said.lang] { (said.text) } }
        }
    }
}

fn correction(frame: &Frame<'_>, shown: &Shown<'_>) -> Markup {
    let voice = frame.voice;
    let about = voice.calibration_words();
    let in_force = shown
        .corrections
        .last()
        .is_some_and(|made| made.correction.is_some());
    html! {
        p class="sub" { (about.correction_says) }
        @if shown.corrections.is_empty() { p { (about.no_correction) } }
        ul class="notes" { @for stored in shown.corrections.iter().rev() {
            li {
                (fill(about.correction_is, &[&stored.version.to_string(), &voice.date(stored.made), &stored.who])) ": "
                strong { (stored.correction.as_ref().map_or_else(|| about.taken_back.to_owned(), |made| rule_words(voice, made.rule))) }
            }
        } }
        @if in_force {
            div class="buttons" {
                button type="button" class="quiet" data-check="take-back" data-instrument=(shown.instrument.id) { (about.take_back) }
            }
        }
    }
}

fn checks(frame: &Frame<'_>, shown: &Shown<'_>) -> Markup {
    let voice = frame.voice;
    let about = voice.calibration_words();
    let result = |evaluation: &Evaluation| {
        let word = match evaluation.verdict {
            Verdict::Pass => about.pass,
            Verdict::Fail => about.fail,
        };
        let doubt = if evaluation.in_doubt {
            about.in_doubt
        } else {
            ""
        };
        format!("{word} {doubt}").trim_end().to_owned()
    };
    html! {
        @if shown.checks.is_empty() { p class="none" { (about.no_checks) } } @else {
            div class="scroll" tabindex="0" role="region" aria-label=(about.loop_checks) {
                table class="data" {
                    thead { tr {
                        th scope="col" { (about.loop_check) } th scope="col" { (about.checked_on) }
                        th scope="col" { (about.as_found) } th scope="col" { (about.as_left) } th scope="col" { (about.tolerance) }
                        th scope="col" class="words" { (about.verdict) } th scope="col" { (about.due) } th scope="col" class="words" { (about.by) }
                    } }
                    tbody { @for stored in shown.checks.iter().rev() {
                        @let evaluation = evaluate(&stored.check, &Parameters::default());
                        @let amiss = evaluation.verdict == Verdict::Fail;
                        @let error = |series: &Option<lauter_core::calibration::Series>| series.as_ref().map_or_else(|| NONE.to_owned(), |it| voice.number(it.greatest_error, 4));
                        tr class=[amiss.then_some("amiss")] {
                            th scope="row" { a href=(api_path(frame.site, frame.tun, &format!("loop-checks/{}/certificate", stored.number))) { (fill(about.number, &[&stored.number.to_string()])) } }
                            td { (voice.date(stored.checked)) } td { (error(&evaluation.as_found)) } td { (error(&evaluation.as_left)) }
                            td { (voice.number(stored.check.tolerance, 4)) }
                            td class="words" { @if amiss { (flag()) } (result(&evaluation)) }
                            td { (stored.due.map_or_else(|| NONE.to_owned(), |due| voice.date(due))) @if stored.due.is_some_and(|due| due < shown.now) { " " (about.overdue) } }
                            td class="words" { (stored.who) }
                        }
                    } }
                }
            }
        }
    }
}

/// The rows of a series: way and what is applied to begin with.
fn rows(instrument: &Instrument) -> Vec<(&'static str, Vec<(&'static str, String)>)> {
    let blank = |keys: &[&'static str]| keys.iter().map(|key| (*key, String::new())).collect();
    match instrument.measures.dimension() {
        Dimension::Ph => ["phosphate", "phthalate"]
            .map(|buffer| {
                let temperature = ("temperature_c", "25".to_owned());
                ("up", vec![("buffer", buffer.to_owned()), temperature])
            })
            .to_vec(),
        Dimension::Gravity => vec![("up", blank(&["gravity_p", "temperature_c"])); 3],
        Dimension::Flow => vec![("up", blank(&["mass_kg", "seconds", "temperature_c"])); 3],
        _ => {
            let (low, high) = instrument.range().unwrap_or((0.0, 1.0));
            let at = |share: f64| {
                let value = low + share * (high - low);
                vec![("value", format!("{}", (1e6 * value).round() / 1e6))]
            };
            let up = [0.0, 0.25, 0.5, 0.75, 1.0].map(|share| ("up", at(share)));
            let down = [0.75, 0.5, 0.25, 0.0].map(|share| ("down", at(share)));
            up.into_iter().chain(down).collect()
        }
    }
}

fn form(view: &View<'_>, shown: &Shown<'_>) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let about = voice.calibration_words();
    let unit = unit_words(shown.instrument.reads_in());
    let days = shown.instrument.measures.usual_check_interval_days();
    let fields = [
        (
            "tolerance",
            format!("{}, {unit}", about.tolerance),
            String::new(),
            true,
        ),
        (
            "resolution",
            format!("{}, {unit}", about.resolution),
            "0".to_owned(),
            true,
        ),
        (
            "expanded_uncertainty",
            format!("{}, {unit}", about.reference_uncertainty),
            String::new(),
            true,
        ),
        (
            "temperature_uncertainty_c",
            about.temperature_uncertainty.to_owned(),
            "0".to_owned(),
            true,
        ),
        (
            "due_days",
            about.days.to_owned(),
            voice.number(days, 0),
            false,
        ),
    ];
    html! {
        h2 { (about.enter_check) }
        p { (about.steps) }
        @if view.status.brew.is_some() { p class="amiss-line" { (flag()) " " (about.brew_runs) } }
        p class="caution" { strong { (words.caution) } " " (about.caution_check) }
        form class="plan" id="loop-check" data-check="form" data-instrument=(shown.instrument.id) novalidate {
            div class="field wide" {
                label for="check-reference" { (about.reference) ": " (about.reference_says) }
                input id="check-reference" name="reference" maxlength="200" required autocomplete="off";
            }
            @for (key, label, value, needed) in &fields {
                div class="field" {
                    label for={ "check-" (key) } { (label) }
                    input id={ "check-" (key) } name=(key) inputmode="decimal" value=(value) required[*needed] autocomplete="off";
                }
            }
            @for (series, title) in [("as_found", about.as_found), ("as_left", about.as_left)] {
                fieldset class="wide series" data-series=(series) {
                    legend { (title) }
                    @for (index, (direction, applied)) in rows(shown.instrument).iter().enumerate() {
                        (row(view, &format!("{series}-{index}"), direction, applied, unit))
                    }
                }
                @if series == "as_found" && Method::of(shown.instrument.measures).is_some() {
                    div class="buttons wide" {
                        button type="button" class="quiet" data-check="correct" data-instrument=(shown.instrument.id) { (about.correct_now) }
                    }
                }
            }
            div class="field wide" {
                label for="check-note" { (about.note) " (" (words.optional) ")" }
                input id="check-note" name="note" maxlength="200" autocomplete="off";
            }
            button type="submit" class="wide" { (words.save) }
        }
    }
}

fn row(
    view: &View<'_>,
    id: &str,
    direction: &str,
    applied: &[(&'static str, String)],
    unit: &str,
) -> Markup {
    let about = view.voice.calibration_words();
    let label = |key: &str| match key {
        "buffer" => about.buffer.to_owned(),
        "temperature_c" => about.temperature.to_owned(),
        "gravity_p" => format!("{}, °P", about.applied),
        "mass_kg" => about.mass.to_owned(),
        "seconds" => about.seconds.to_owned(),
        _ => format!("{}, {unit}", about.applied),
    };
    html! {
        div class="point" data-direction=(direction) {
            span { @if direction == "up" { "↑ " (about.up) } @else { "↓ " (about.down) } }
            @for (key, value) in applied {
                div class="field" {
                    label for={ (id) "-" (key) } { (label(key)) }
                    @if *key == "buffer" {
                        select id={ (id) "-" (key) } data-key=(key) {
                            @for (name, label) in [("phthalate", about.phthalate), ("phosphate", about.phosphate), ("borate", about.borate)] {
                                option value=(name) selected[name == value] { (label) }
                            }
                        }
                    } @else {
                        input id={ (id) "-" (key) } data-key=(key) inputmode="decimal" value=(value) autocomplete="off";
                    }
                }
            }
            div class="field" {
                label for={ (id) "-reading" } { (about.reading) ", " (unit) }
                input id={ (id) "-reading" } data-key="reading" inputmode="decimal" autocomplete="off";
            }
            button type="button" class="quiet" data-check="take" { (about.take) }
        }
    }
}

/// The address of an instrument's page.
pub fn address(view: &View<'_>, id: &str) -> String {
    view.path(&format!("instruments/{}", segment(id)))
}

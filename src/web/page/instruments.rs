//! The instruments' page: raw value, believed value, status and what changed last, and whether links and receivers
//! answer. Its changing parts come over the same stream as those of the run-off page.

use std::collections::BTreeMap;

use lauter_core::reading::{Instrument, Status};
use lauter_core::supervisor::ConditionedReading;
use lauter_core::units::Unit;
use maud::{Markup, html};

use super::actions::brew_line;
use super::instrument::address;
use super::links::links;
use super::shell::{Frame, drawn};
use super::symbols::flag;
use super::view::View;
use crate::display::terms::{
    cause_words, fill, measures_words, status_words, unit_digits, unit_words,
};
use crate::display::told::alarm_said;
use crate::display::{NONE, hint_said};

/// Every part of the page that changes while it is looked at, by the id of its element.
pub fn parts(view: &View<'_>) -> BTreeMap<&'static str, String> {
    let drawn: [(&'static str, Markup); 3] = [
        ("part-readings", table(view)),
        ("part-links", links(view)),
        ("part-brew", brew_line(view)),
    ];
    drawn
        .into_iter()
        .map(|(id, markup)| (id, markup.into_string()))
        .collect()
}

pub fn page(frame: &Frame<'_>, view: &View<'_>) -> Markup {
    let words = frame.voice.words;
    let parts = parts(view);
    let part = |id: &str| drawn(parts.get(id).map_or("", String::as_str));
    let beside = html! { p class="brew" id="part-brew" { (part("part-brew")) } };
    let body = html! {
        section class="panel" {
            h2 { (words.instruments) }
            p class="sub" { (words.instruments_say) }
            div class="scroll" id="part-readings" tabindex="0" role="region" aria-label=(words.instruments) { (part("part-readings")) }
        }
        section class="panel" {
            h2 { (words.links) }
            div id="part-links" { (part("part-links")) }
        }
    };
    frame.page(words.instruments, &beside, &body)
}

fn table(view: &View<'_>) -> Markup {
    let words = view.voice.words;
    let about = view.voice.calibration_words();
    html! {
        table class="data" {
            thead { tr {
                th scope="col" class="words" { (words.instrument) } th scope="col" class="words" { (words.status) }
                th scope="col" { (words.raw_value) } th scope="col" { (words.believed_value) } th scope="col" { "±" }
                th scope="col" { (words.rate) } th scope="col" { (about.corrected_value) }
                th scope="col" class="words" { (about.due) } th scope="col" class="words long" { (words.last_change) }
            } }
            tbody { @for configured in &view.configuration.instruments { (row(view, &configured.instrument)) } }
        }
    }
}

fn row(view: &View<'_>, instrument: &Instrument) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let language = voice.language();
    let reading = view
        .status
        .readings
        .iter()
        .find(|reading| reading.instrument == instrument.id);
    let cause = reading.and_then(|reading| reading.cause);
    let amiss = reading.is_none_or(|it| it.value.is_none() || it.status != Status::Good);
    let pick = |of: fn(&ConditionedReading) -> Option<f64>| reading.and_then(of);
    // What comes over a current loop is in mA, what is believed in the unit that the span gives it.
    let own = reading.map_or(instrument.unit, |reading| reading.unit);
    let finely = |value: Option<f64>| {
        value.map_or(NONE.to_owned(), |value| {
            voice.number(value, unit_digits(own) + 1)
        })
    };
    html! {
        tr class=[amiss.then_some("amiss")] {
            th scope="row" class="words" {
                a href=(address(view, &instrument.id)) { (instrument.id) }
                br; span class="sub" { (measures_words(instrument.measures, language)) }
            }
            td class="words" {
                @if amiss { (flag()) }
                (reading.map_or(words.never_read, |reading| status_words(reading.status, language)))
                @if let Some(cause) = cause { " · " (cause_words(cause, language)) }
            }
            td { (figure(view, pick(|it| it.raw), instrument.unit)) }
            td { strong { (figure(view, pick(|it| it.value), own)) } }
            td { (finely(pick(|it| it.standard_error))) }
            td { (finely(pick(|it| it.rate_per_min))) }
            td { (finely(pick(|it| it.corrected))) }
            td class="words" { (due(view, &instrument.id)) }
            td class="words long" { (last_change(view, &instrument.id)) }
        }
    }
}

/// When it is to be checked again, and what somebody should see to.
fn due(view: &View<'_>, id: &str) -> Markup {
    let known = view
        .status
        .calibration
        .iter()
        .find(|it| it.instrument == id);
    let day = known
        .and_then(|it| it.due.as_ref())
        .map(|due| due.chars().take(10).collect::<String>());
    html! {
        @match day { Some(day) => (day), None => (NONE) }
        @if let Some(hint) = known.and_then(|it| it.hint.as_ref()) {
            @let said = hint_said(hint, view.voice);
            br; (flag()) span lang=[said.lang] { (said.text) }
        }
    }
}

/// A value with its unit; a switch says on or off.
fn figure(view: &View<'_>, value: Option<f64>, unit: Unit) -> String {
    let words = view.voice.words;
    match (value, unit) {
        (None, _) => NONE.to_owned(),
        (Some(0.0), Unit::Bool) => words.off.to_owned(),
        (Some(_), Unit::Bool) => words.on.to_owned(),
        (Some(value), unit) => format!(
            "{} {}",
            view.voice.number(value, unit_digits(unit)),
            unit_words(unit)
        )
        .trim_end()
        .to_owned(),
    }
}

fn last_change(view: &View<'_>, id: &str) -> Markup {
    let voice = view.voice;
    let changes = &view.notebook.changes;
    let last = changes
        .iter()
        .rev()
        .find(|line| line.instrument.as_deref() == Some(id));
    html! {
        @if let Some(line) = last {
            @let said = alarm_said(line, voice);
            (fill(voice.words.at_minute, &[&voice.minutes(line.elapsed_s)])) " " span lang=[said.lang] { (said.text) }
        } @else { (voice.words.none_this_brew) }
    }
}

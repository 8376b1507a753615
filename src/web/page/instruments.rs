//! The instruments' page: raw value, believed value, status and what changed last.

use lauter_core::supervisor::{AlarmLine, Line};
use maud::{Markup, html};

use super::instrument::address;
use super::shell::Frame;
use super::symbols::flag;
use super::view::View;
use crate::display::NONE;
use crate::display::terms::{cause_words, fill, measures_words, status_words};
use lauter_core::reading::Status;

/// `changes`: the alarms of the newest brew about instruments, oldest first.
pub fn page(frame: &Frame<'_>, view: &View<'_>, changes: &[AlarmLine]) -> Markup {
    let (voice, words) = (frame.voice, frame.voice.words);
    let language = voice.language();
    let about = voice.calibration_words();
    let number = |value: Option<f64>| value.map_or(NONE.to_owned(), |value| voice.number(value, 3));
    let body = html! {
        section class="panel" {
            h2 { (words.instruments) }
            p class="sub" { (words.instruments_say) }
            div class="scroll" tabindex="0" role="region" aria-label=(words.instruments) {
                table class="data" {
                    thead { tr {
                        th scope="col" { (words.instrument) } th scope="col" class="words" { (words.measures) }
                        th scope="col" { (words.raw_value) } th scope="col" { (words.believed_value) } th scope="col" { "±" }
                        th scope="col" { (words.rate) } th scope="col" class="words" { (words.unit) }
                        th scope="col" { (about.corrected_value) } th scope="col" class="words" { (about.due) }
                        th scope="col" class="words" { (words.status) } th scope="col" class="words" { (words.last_change) }
                    } }
                    tbody {
                        @for configured in &view.configuration.instruments {
                            @let instrument = &configured.instrument;
                            @let reading = view.status.readings.iter().find(|reading| reading.instrument == instrument.id);
                            @let cause = reading.and_then(|reading| reading.cause);
                            @let amiss = reading.is_none_or(|reading| reading.value.is_none() || reading.status != Status::Good);
                            tr class=[amiss.then_some("amiss")] {
                                th scope="row" { a href=(address(view, &instrument.id)) { (instrument.id) } }
                                td class="words" { (measures_words(instrument.measures, language)) }
                                td { (number(reading.and_then(|reading| reading.raw))) }
                                td { strong { (number(reading.and_then(|reading| reading.value))) } }
                                td { (number(reading.and_then(|reading| reading.standard_error))) }
                                td { (number(reading.and_then(|reading| reading.rate_per_min))) }
                                td class="words" { (unit_name(view, &instrument.id)) }
                                td { (number(reading.and_then(|reading| reading.corrected))) }
                                td class="words" { (due(view, &instrument.id)) }
                                td class="words" {
                                    @if amiss { (flag()) }
                                    (reading.map_or(words.never_read, |reading| status_words(reading.status, language)))
                                    @if let Some(cause) = cause { " · " (cause_words(cause, language)) }
                                }
                                td class="words" { (last_change(frame, changes, &instrument.id)) }
                            }
                        }
                    }
                }
            }
        }
        section class="panel" {
            h2 { (words.links) }
            p class="sub" { (words.links_say) }
            ul class="notes" lang="en" {
                @for line in &view.status.alarms {
                    @if let Line::Alarm(alarm) = line {
                        @if alarm.alarm == lauter_core::alarm::AlarmId::LinkLost || alarm.alarm == lauter_core::alarm::AlarmId::DeliveryDelayed {
                            li { (alarm.message) }
                        }
                    }
                }
            }
        }
    };
    frame.page(words.instruments, &html! {}, &body)
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
        @if let Some(hint) = known.and_then(|it| it.hint.as_ref()) { " · " (flag()) span lang="en" { (hint) } }
    }
}

fn unit_name(view: &View<'_>, id: &str) -> String {
    let reading = view
        .status
        .readings
        .iter()
        .find(|reading| reading.instrument == id);
    reading
        .and_then(|reading| serde_json::to_value(reading.unit).ok())
        .and_then(|unit| unit.as_str().map(str::to_owned))
        .unwrap_or_default()
}

fn last_change(frame: &Frame<'_>, changes: &[AlarmLine], id: &str) -> Markup {
    let voice = frame.voice;
    let last = changes
        .iter()
        .rev()
        .find(|line| line.instrument.as_deref() == Some(id));
    html! {
        @if let Some(line) = last {
            (fill(voice.words.at_minute, &[&voice.minutes(line.elapsed_s)])) " " span lang="en" { (line.message) }
        } @else { (voice.words.none_this_brew) }
    }
}

//! What people do at the tun: hand samples, notes, rakings, the start and the end of the run-off.

use maud::{Markup, html};

use super::View;
use super::start;
use super::view::{api_path, segment};
use crate::display::course::occurrence_said;
use crate::display::terms::fill;
use crate::report;

/// The brew under way, and the time.
pub fn brew_line(view: &View<'_>) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    // The plan's minutes count from the first wort in the kettle; so does the pace that is on time.
    let since_start_s = view.status.outlook.and_then(|it| it.since_start_s);
    let time = view.status.time.parse().map(|time| voice.clock(time));
    html! {
        @if let Some(plan) = &view.status.plan {
            strong { (plan.brew) } @if !plan.recipe.is_empty() { " · " (plan.recipe) }
            @if let Some(runoff) = &view.status.runoff {
                " · "
                @if let Some(since_s) = since_start_s {
                    (fill(words.minute_of, &[&voice.minutes(since_s), &voice.number(plan.runoff_minutes, 0)]))
                } @else { (fill(words.minute_before, &[&voice.minutes(runoff.elapsed_s)])) }
            }
        } @else {
            (words.no_brew)
            @if let Some(last) = &view.notebook.brew {
                " · " (fill(words.last_brew, &[last])) " "
                a href=(api_path(&view.status.site, &view.status.tun, &format!("brews/{}/report", segment(last)))) { (words.report) }
            }
        }
        @if let Ok(time) = time { " · " span class="clock" { (time) } }
    }
}

/// The buttons; without a brew the form that starts one.
pub fn panel(view: &View<'_>) -> Markup {
    let words = view.voice.words;
    if view.status.brew.is_none() {
        return start::form(view);
    }
    let seen = view
        .status
        .outlook
        .is_some_and(|outlook| outlook.rakes_are_seen);
    html! {
        h2 { (words.to_record) }
        (taken(view))
        p class="watch-only sub" { (view.voice.asked().watch_only) }
        div class="buttons" {
            button type="button" id="do-note" class="quiet" data-act="note" { (words.note) "…" }
            @if !seen { button type="button" id="do-raking" class="quiet" data-act="raking" { (words.raking) "…" } }
            button type="button" id="do-end" class="quiet" data-act="end" { (words.end_runoff) "…" }
        }
    }
}

/// The buttons that begin a hand sample; nothing without a brew.
pub fn samples(view: &View<'_>) -> Markup {
    let words = view.voice.words;
    let (gravity, volume) = (view.voice.gravity_unit(), view.voice.volume_unit());
    html! {
        @if view.status.brew.is_some() {
            h2 { (words.hand_sample) }
            div class="samples" {
                @for (id, place, place_name, what, name, unit) in [
                    ("sample-rg", "runnings", words.runnings, "gravity", words.gravity, gravity),
                    ("sample-rp", "runnings", words.runnings, "ph", "", "pH"),
                    ("sample-kg", "kettle", words.kettle, "gravity", words.gravity, gravity),
                    ("sample-kv", "kettle", words.kettle, "volume", words.volume, volume),
                ] {
                    @let label = if name.is_empty() { unit.to_owned() } else { format!("{name}, {unit}") };
                    button type="button" id=(id) data-act="sample" data-place=(place) data-what=(what) data-name=(format!("{place_name}: {label}")) {
                        strong { (place_name) } " "
                        span { @if !name.is_empty() { span class="what" { (name) ", " } } (unit) }
                    }
                }
            }
        }
    }
}

/// Samples that can be taken back from here; the others by the command line.
const TAKEN_SHOWN: usize = 3;

/// The last hand samples, each with the way to take it back.
fn taken(view: &View<'_>) -> Markup {
    let (voice, notebook) = (view.voice, view.notebook);
    let numbered = notebook.sample_numbers.iter().zip(&notebook.samples);
    let words = voice.asked();
    html! {
        ul class="taken" {
            @for (number, sample) in numbered.rev().take(TAKEN_SHOWN) {
                @let told = report::sampled(voice, sample);
                li {
                    span { (told) }
                    button type="button" class="quiet" id={ "withdraw-" (number) } data-act="withdraw" data-number=(number)
                        data-name=(report::told_sample(voice, sample)) { (words.withdraw) "…" }
                }
            }
        }
    }
}

/// What was noted and reported by hand.
pub fn notes(view: &View<'_>) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let notes = &view.notebook.notes;
    html! {
        @if !notes.is_empty() {
            h2 { (words.notes) }
            ul class="notes" {
                @for (at_s, it) in notes.iter().rev().take(8) {
                    @let said = occurrence_said(&it.event, &it.text, voice);
                    li { span class="when" { (voice.minutes(*at_s)) " min" } " " span lang=[said.lang] { (said.text) } }
                }
            }
        }
    }
}

//! The dialogs behind the buttons. They are in the page once and stay while its parts are replaced.

use maud::{Markup, html};

use super::View;
use crate::display::Voice;
use crate::display::terms::fill;

pub fn all(view: &View<'_>) -> Markup {
    html! {
        (sample(view)) (withdraw(view)) (shelve(view)) (note(view)) (raking(view)) (end(view))
    }
}

fn dialog(id: &str, title: &Markup, body: &Markup, save: &str, cancel: &str) -> Markup {
    html! {
        dialog id=(id) aria-labelledby={ (id) "-title" } {
            form method="dialog" novalidate {
                h2 id={ (id) "-title" } { (title) }
                (body)
                p class="trouble" role="alert" hidden {}
                div class="buttons" {
                    button type="submit" value="save" class="save" { (save) }
                    button type="button" class="quiet" data-close { (cancel) }
                }
            }
        }
    }
}

fn sample(view: &View<'_>) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let keys = [
        "7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0", "back",
    ];
    let factor = voice.number(view.configuration.watch.wort_factor, 3);
    let body = html! {
        div class="entry" {
            label for="sample-value" class="hidden" { (words.value) }
            input id="sample-value" name="value" inputmode="decimal" autocomplete="off" required;
            span class="unit" id="sample-unit" {}
        }
        fieldset class="choice" id="sample-method" {
            legend { (words.measured_with) }
            label { input type="radio" name="method" value="own" checked; span { (words.density_meter) " (" (voice.gravity_unit()) ")" } }
            label { input type="radio" name="method" value="bx"; span { (words.refractometer) " (°Bx)" } }
        }
        p class="sub" id="hint-bx" hidden { (fill(words.refractometer_says, &[&factor])) }
        div class="keypad" aria-hidden="true" {
            @for key in keys {
                button type="button" tabindex="-1" data-key=(key) {
                    @if key == "back" { "⌫" } @else if key == "." { (voice.number(0.5, 1).chars().nth(1).unwrap_or('.')) } @else { (key) }
                }
            }
        }
        p class="caution" id="hint-kettle" hidden { strong { (words.before_sampling) } " " (words.mix_kettle) }
        p class="caution" id="hint-runnings" hidden { strong { (words.before_sampling) } " " (words.cool_sample) }
        p class="caution" { strong { (words.caution) } " " (words.caution_scald) }
    };
    dialog(
        "dialog-sample",
        &html! { span id="sample-name" { (words.hand_sample) } },
        &body,
        words.save,
        words.cancel,
    )
}

fn withdraw(view: &View<'_>) -> Markup {
    let asked = view.voice.asked();
    let body = html! {
        p { strong id="withdraw-name" {} }
        p { (asked.withdraw_says) }
    };
    dialog(
        "dialog-withdraw",
        &html! { (asked.withdraw_title) },
        &body,
        asked.withdraw,
        view.voice.words.cancel,
    )
}

fn shelve(view: &View<'_>) -> Markup {
    let words = view.voice.words;
    let body = html! {
        p { strong id="shelve-name" {} }
        fieldset class="choice" {
            legend { (words.shelve_for) }
            @for minutes in [5, 10, 15, 30, 60] {
                label { input type="radio" name="minutes" value=(minutes) checked[minutes == 10]; span { (minutes) " min" } }
            }
        }
        div class="field" {
            label for="shelve-reason" { (words.reason) }
            input id="shelve-reason" name="reason" maxlength="200" required list="shelve-reasons" autocomplete="off";
            datalist id="shelve-reasons" {
                option value=(words.reason_meter) {} option value=(words.reason_known) {} option value=(words.reason_work) {}
            }
        }
        p class="sub" { (words.shelve_says) }
    };
    dialog(
        "dialog-shelve",
        &html! { (words.shelve) },
        &body,
        words.shelve,
        words.cancel,
    )
}

fn note(view: &View<'_>) -> Markup {
    let words = view.voice.words;
    let body = html! {
        div class="field" {
            label for="note-text" { (words.note_text) }
            input id="note-text" name="text" maxlength="200" required autocomplete="off";
        }
    };
    dialog(
        "dialog-note",
        &html! { (words.note) },
        &body,
        words.save,
        words.cancel,
    )
}

fn raking(view: &View<'_>) -> Markup {
    let words = view.voice.words;
    let body = html! {
        p { (words.raking_says) }
        fieldset class="choice" {
            legend { (words.raking_for) }
            @for minutes in [1, 2, 5] {
                label { input type="radio" name="minutes" value=(minutes) checked[minutes == 2]; span { (minutes) " min" } }
            }
        }
        p class="caution" { strong { (words.caution) } " " (words.caution_rakes) }
    };
    dialog(
        "dialog-raking",
        &html! { (words.raking) },
        &body,
        words.report_raking,
        words.cancel,
    )
}

fn end(view: &View<'_>) -> Markup {
    let words = view.voice.words;
    let body = html! {
        p { (words.end_says) }
        p class="caution" { strong { (words.caution) } " " (words.caution_kettle) }
    };
    dialog(
        "dialog-end",
        &html! { (words.end_runoff) },
        &body,
        words.end_runoff,
        words.cancel,
    )
}

/// Asks for a name; it is on every page.
pub fn who(voice: Voice) -> Markup {
    let words = voice.words;
    let body = html! {
        p { (words.who_says) }
        div class="field" {
            label for="who-name" { (words.your_name) }
            input id="who-name" name="who" maxlength="60" required autocomplete="name";
        }
    };
    dialog(
        "dialog-who",
        &html! { (words.who_title) },
        &body,
        words.go_on,
        words.cancel,
    )
}

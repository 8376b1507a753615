//! Which instruments are believed, at one glance.

use lauter_core::alarm::AlarmId;
use maud::{Markup, html};

use super::View;
use super::glance::is_met;
use super::symbols::flag;
use crate::display::terms::{cause_words, fill};

/// Doubted instruments that are named; the rest is counted.
const DOUBTED_NAMED: usize = 4;

/// Which instruments are not believed, and why.
pub fn instruments(view: &View<'_>) -> Markup {
    let words = view.voice.words;
    let doubted: Vec<(String, String)> = view
        .status
        .readings
        .iter()
        .filter_map(|reading| {
            let why = match reading.cause {
                Some(cause) if reading.value.is_none() => cause_words(cause, view.voice.language()),
                _ if is_met(
                    view,
                    AlarmId::InstrumentsDisagree,
                    Some(&reading.instrument),
                ) =>
                {
                    words.disagrees
                }
                _ => return None,
            };
            Some((reading.instrument.replace('_', " "), why.to_owned()))
        })
        .collect();
    let all = view.status.readings.len();
    html! {
        h2 { a href=(view.path("instruments")) { (words.instruments) } }
        p class={ "value" @if !doubted.is_empty() { " amiss" } } {
            span class="num" { (all - doubted.len()) "/" (all) }
        }
        @if doubted.is_empty() {
            p class="sub" { (words.all_believed) }
        } @else {
            ul class="doubted" {
                @for (name, why) in doubted.iter().take(DOUBTED_NAMED) { li { (flag()) strong { (name) } ": " (why) } }
                @if doubted.len() > DOUBTED_NAMED { li { (fill(words.and_more, &[&(doubted.len() - DOUBTED_NAMED).to_string()])) } }
            }
        }
    }
}

//! The links to instruments and the receivers of what is told: each with whether it answers.
//!
//! Owns the list alone. What is known of them comes from the adapters' own counters, so that a link shows as silent
//! before its alarm has waited its delay.

use lauter_core::alarm::AlarmId;
use lauter_core::supervisor::Line;
use maud::{Markup, html};
use serde_json::Value;

use super::View;
use super::alarms::plain;
use super::symbols::flag;
use crate::config::model::Language;
use crate::display::told::alarm_said;

/// One link or receiver: its name, and why it does not answer; None while nothing is known.
struct Standing {
    name: String,
    answers: Option<bool>,
    why: String,
}

pub fn links(view: &View<'_>) -> Markup {
    let words = view.voice.words;
    let standings = standings(view);
    html! {
        @if standings.is_empty() { p class="none" { (words.no_links) } } @else {
            ul class="notes" {
                @for it in &standings {
                    li {
                        strong { (it.name) } ": "
                        @match it.answers {
                            Some(true) => (words.answers),
                            Some(false) => span class="flag" { (flag()) (words.does_not_answer) },
                            None => (words.never_read),
                        }
                        @if it.answers != Some(true) && !it.why.is_empty() { (why(view, it)) }
                    }
                }
            }
        }
        ul class="notes" {
            @for line in &view.status.alarms {
                @if let Line::Alarm(alarm) = line {
                    @if matches!(alarm.alarm, AlarmId::LinkLost | AlarmId::DeliveryDelayed) {
                        @let said = alarm_said(alarm, view.voice);
                        li lang=[said.lang] { (said.text) }
                    }
                }
            }
        }
    }
}

/// What the system or the device says of it; it is English whatever the page speaks, and then folded away.
fn why(view: &View<'_>, it: &Standing) -> Markup {
    let text = &it.why;
    html! {
        @if view.voice.language() == Language::English { " · " (text) } @else {
            details id={ "why-" (plain(&it.name)) } { summary { (view.voice.words.technical_message) } p lang="en" { (text) } }
        }
    }
}

fn standings(view: &View<'_>) -> Vec<Standing> {
    let words = view.voice.words;
    let health = &view.status.health;
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let modbus = health["instruments"]["modbus"].as_array();
    let mut standings: Vec<Standing> = modbus
        .into_iter()
        .flatten()
        .map(|link| Standing {
            name: format!("{} (Modbus)", text(&link["name"])),
            answers: link["state"].as_str().map(|state| state == "up"),
            why: text(&link["detail"]),
        })
        .collect();
    for (name, side) in [
        (words.broker_of_readings, &health["instruments"]["mqtt"]),
        (words.broker_of_lines, &health["publishers"]["mqtt"]),
    ] {
        if side.is_object() {
            standings.push(Standing {
                name: name.to_owned(),
                answers: side["connected"].as_bool(),
                why: text(side["fault"].get("detail").unwrap_or(&side["fault"])),
            });
        }
    }
    let series = &health["publishers"]["influx"];
    if series.is_object() {
        let state = text(&series["state"]);
        standings.push(Standing {
            name: words.series_database.to_owned(),
            answers: Some(
                !["Retrying", "Refused"]
                    .iter()
                    .any(|it| state.starts_with(it)),
            ),
            why: state,
        });
    }
    standings
}

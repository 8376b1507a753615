//! The alarm panel: what stands, with advice and caution, and what is put aside.

use lauter_core::alarm::{AlarmState, definition};
use lauter_core::supervisor::{AlarmLine, Line};
use maud::{Markup, html};

use super::View;
use super::next_step::standing;
use super::symbols::{flag, priority_symbol};
use crate::display::alarm_name;
use crate::display::terms::{caution, fill, priority_words, response, state_words};
use crate::engine;

pub fn panel(view: &View<'_>) -> Markup {
    let words = view.voice.words;
    let alarms = standing(view);
    let aside: Vec<&AlarmLine> = view
        .status
        .alarms
        .iter()
        .filter_map(|line| match line {
            Line::Alarm(alarm)
                if matches!(
                    alarm.to,
                    AlarmState::Shelved | AlarmState::Suppressed | AlarmState::OutOfService
                ) =>
            {
                Some(alarm)
            }
            _ => None,
        })
        .collect();
    html! {
        h2 { (words.alarms) @if !alarms.is_empty() { " (" (alarms.len()) ")" } }
        @if alarms.is_empty() { p class="none" { (words.no_alarms) } }
        @for (index, alarm) in alarms.iter().enumerate() { (card(view, alarm, index < OPEN)) }
        @if !aside.is_empty() {
            details class="aside" id="aside" {
                summary { (fill(words.put_aside, &[&aside.len().to_string()])) }
                ul { @for alarm in &aside { (put_aside(view, alarm)) } }
            }
        }
    }
}

fn about(view: &View<'_>, alarm: &AlarmLine) -> String {
    let name = alarm_name(alarm.alarm, view.voice.language());
    match &alarm.instrument {
        Some(id) => format!("{name}: {}", id.replace('_', " ")),
        None => name.to_owned(),
    }
}

/// The identity of a card in the page, so that the focus finds it again.
fn key(alarm: &AlarmLine) -> String {
    let plain = |text: &str| -> String {
        text.chars()
            .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
            .collect()
    };
    format!(
        "{}{}",
        alarm.alarm.name(),
        alarm
            .instrument
            .as_deref()
            .map_or(String::new(), |id| format!("-{}", plain(id)))
    )
}

/// Alarms that are shown in full; of the others message and caution unfold.
const OPEN: usize = 2;

fn card(view: &View<'_>, alarm: &AlarmLine, in_full: bool) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let row = definition(alarm.alarm);
    let unacknowledged = alarm.to != AlarmState::Acknowledged;
    let since_s = view
        .status
        .runoff
        .as_ref()
        .map_or(0.0, |runoff| runoff.elapsed_s - alarm.elapsed_s);
    let longest = engine::alarm_settings(view.configuration, alarm.alarm)
        .longest_shelving_min
        .unwrap_or(row.longest_shelving_min);
    let name = about(view, alarm);
    let heading = format!("alarm-{}", key(alarm));
    html! {
        article class={ "alarm " (alarm.priority.name()) @if unacknowledged { " unacknowledged" } }
            aria-labelledby=(heading) data-alarm-card=(key(alarm)) {
            header {
                (priority_symbol(alarm.priority, unacknowledged, voice))
                h3 id=(heading) { (name) }
                p class="state" {
                    (priority_words(alarm.priority, voice.language())) " · " (state_words(alarm.to, voice.language()))
                    @if since_s >= 60.0 { " · " (fill(words.minutes_ago, &[&voice.minutes(since_s)])) }
                }
            }
            @let said = html! { p class="message" lang="en" { (alarm.message) } };
            @let cautioned = html! {
                @if let Some(text) = caution(row, voice.language()) {
                    p class="caution" { (flag()) strong { (words.caution) } " " (text) }
                }
            };
            @if in_full { (said) }
            p class="advice" { strong { (words.do_this) } " " (response(row, voice.language())) }
            @if in_full { (cautioned) } @else {
                details id={ "more-" (key(alarm)) } { summary { (words.more) } (said) (cautioned) }
            }
            div class="buttons" {
                @if unacknowledged {
                    button type="button" id={ "ack-" (key(alarm)) } data-act="acknowledge" data-alarm=(alarm.alarm.name())
                        data-instrument=[alarm.instrument.as_deref()] aria-label=(format!("{}: {name}", words.acknowledge)) { (words.acknowledge) }
                }
                button type="button" id={ "shelve-" (key(alarm)) } class="quiet" data-act="shelve" data-alarm=(alarm.alarm.name())
                    data-instrument=[alarm.instrument.as_deref()] data-longest=(longest) data-name=(name)
                    aria-label=(format!("{}: {name}", words.shelve)) { (words.shelve) "…" }
            }
        }
    }
}

fn put_aside(view: &View<'_>, alarm: &AlarmLine) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let name = about(view, alarm);
    let back = match alarm.to {
        AlarmState::Shelved => Some(("unshelve", words.unshelve)),
        AlarmState::OutOfService => Some(("return-to-service", words.return_to_service)),
        _ => None,
    };
    html! {
        li {
            span { strong { (name) } " · " (state_words(alarm.to, voice.language())) }
            @if let Some((act, label)) = back {
                button type="button" class="quiet" id={ (act) "-" (key(alarm)) } data-act=(act) data-alarm=(alarm.alarm.name())
                    data-instrument=[alarm.instrument.as_deref()] aria-label=(format!("{label}: {name}")) { (label) }
            }
        }
    }
}

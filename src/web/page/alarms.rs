//! The alarm panel: what stands, with advice and caution, and what is put aside.

use lauter_core::alarm::{AlarmId, AlarmState, definition};
use lauter_core::supervisor::{AlarmLine, Line};
use maud::{Markup, html};

use super::View;
use super::footing::silent_s;
use super::next_step::{gives_order, standing};
use super::symbols::{flag, priority_symbol};
use crate::display::alarm_name;
use crate::display::terms::{caution, fill, priority_words, response, state_words};
use crate::display::told::alarm_said;
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
        @if alarms.is_empty() { p class="none" { (if aside.is_empty() { words.no_alarms } else { words.no_alarms_beside }) } }
        @for (index, listed) in grouped(view, &alarms).iter().enumerate() {
            @match listed {
                Listed::One(alarm) => (card(view, alarm, index < OPEN)),
                Listed::OfLink(link, faults) => (group(view, link, faults)),
            }
        }
        @if !aside.is_empty() {
            details class="aside" id="aside" {
                summary { (fill(words.put_aside, &[&aside.len().to_string()])) }
                ul { @for alarm in &aside { (put_aside(view, alarm)) } }
            }
        }
    }
}

pub(super) fn about(view: &View<'_>, alarm: &AlarmLine) -> String {
    let name = alarm_name(alarm.alarm, view.voice.language());
    match &alarm.instrument {
        Some(id) => format!("{name}: {}", id.replace('_', " ")),
        None => name.to_owned(),
    }
}

/// The identity of a card in the page, so that the focus finds it again.
fn key(alarm: &AlarmLine) -> String {
    format!(
        "{}{}",
        alarm.alarm.name(),
        alarm
            .instrument
            .as_deref()
            .map_or(String::new(), |id| format!("-{}", plain(id)))
    )
}

/// Alarms that are shown in full; of the others advice, message and caution unfold.
const OPEN: usize = 2;
/// From so many on, faults of instruments on one link stand together: one cable is one thing to see to.
const TOGETHER: usize = 3;

/// One place in the list.
enum Listed<'a> {
    One(&'a AlarmLine),
    OfLink(&'a str, Vec<&'a AlarmLine>),
}

/// The link of an instrument whose fault stands, or has returned and waits for its acknowledgement.
fn link_of<'a>(view: &'a View<'_>, alarm: &AlarmLine) -> Option<&'a str> {
    let listed = gives_order(view, alarm) || alarm.to == AlarmState::ReturnedUnacknowledged;
    let of_instrument = alarm.alarm == AlarmId::InstrumentFault && listed;
    let id = alarm.instrument.as_deref().filter(|_| of_instrument)?;
    let mut configured = view.configuration.instruments.iter();
    let found = configured.find(|it| it.instrument.id == id)?;
    found.instrument.link.as_deref()
}

/// The faults that are listed together with one, if they are enough for that: what stands and what is over are two things.
fn together<'a>(
    view: &'a View<'_>,
    alarms: &'a [AlarmLine],
    alarm: &AlarmLine,
) -> Option<(&'a str, Vec<&'a AlarmLine>)> {
    let link = link_of(view, alarm)?;
    let of_link: Vec<&AlarmLine> = alarms
        .iter()
        .filter(|it| link_of(view, it) == Some(link))
        .filter(|it| gives_order(view, it) == gives_order(view, alarm))
        .collect();
    (of_link.len() >= TOGETHER).then_some((link, of_link))
}

/// The list with the instrument faults of one link together, at the place of the first of them.
fn grouped<'a>(view: &'a View<'_>, alarms: &'a [AlarmLine]) -> Vec<Listed<'a>> {
    let mut listed: Vec<Listed<'_>> = Vec::new();
    for alarm in alarms {
        match together(view, alarms, alarm) {
            None => listed.push(Listed::One(alarm)),
            Some((link, faults)) => {
                let is_first = faults.first().is_some_and(|it| std::ptr::eq(*it, alarm));
                if is_first {
                    listed.push(Listed::OfLink(link, faults));
                }
            }
        }
    }
    listed
}

/// What many faults on one link are called, and how many of them nobody has acknowledged; None for an alarm that stands
/// alone.
pub(super) fn of_many(view: &View<'_>, alarm: &AlarmLine) -> Option<(String, String, usize)> {
    let alarms = standing(view);
    let (link, faults) = together(view, &alarms, alarm)?;
    Some((link.to_owned(), many(view, link, &faults), open(&faults)))
}

fn many(view: &View<'_>, link: &str, faults: &[&AlarmLine]) -> String {
    let name = alarm_name(AlarmId::InstrumentFault, view.voice.language());
    let count = faults.len().to_string();
    format!(
        "{name}: {}",
        fill(view.voice.words.on_link, &[&count, link])
    )
}

fn open(faults: &[&AlarmLine]) -> usize {
    let open = faults.iter().filter(|it| it.to != AlarmState::Acknowledged);
    open.count()
}

/// The button for all faults of a link at once.
pub(super) fn acknowledge_all(view: &View<'_>, id: &str, link: &str, open: usize) -> Markup {
    let label = fill(view.voice.words.acknowledge_all, &[&open.to_string()]);
    html! { button type="button" id=(id) data-act="acknowledge-group" data-link=(link) { (label) } }
}

/// The faults of one link, folded beneath their names.
fn group(view: &View<'_>, link: &str, faults: &[&AlarmLine]) -> Markup {
    let words = view.voice.words;
    let names: Vec<String> = faults
        .iter()
        .filter_map(|alarm| Some(alarm.instrument.as_deref()?.replace('_', " ")))
        .collect();
    let open = open(faults);
    let is_over = faults.iter().all(|alarm| !gives_order(view, alarm));
    // The button finds its group by this name.
    let name = if is_over {
        format!("{link} (over)")
    } else {
        link.to_owned()
    };
    let id = plain(&name);
    html! {
        section class={ "group" @if is_over { " over" } } data-link=(name) {
            h3 { (many(view, link, faults)) }
            p class="sub" { (names.join(", ")) }
            @if is_over { p class="message" { (words.alarm_over) } }
            @if open > 0 {
                div class="buttons" { (acknowledge_all(view, &format!("ack-group-{id}"), &name, open)) }
            }
            details id={ "group-" (id) } {
                summary { (words.one_by_one) }
                @for alarm in faults { (card(view, alarm, false)) }
            }
        }
    }
}

pub(super) fn plain(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
        .collect()
}

fn card(view: &View<'_>, alarm: &AlarmLine, in_full: bool) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let unacknowledged = alarm.to != AlarmState::Acknowledged;
    let is_over = !gives_order(view, alarm);
    // The run-off's own time stands still while every instrument is silent.
    let since_s = view
        .status
        .runoff
        .as_ref()
        .filter(|_| silent_s(view).is_none())
        .map_or(0.0, |runoff| runoff.elapsed_s - alarm.elapsed_s);
    let heading = format!("alarm-{}", key(alarm));
    html! {
        article class={ "alarm " (alarm.priority.name()) @if is_over { " over" } @else if unacknowledged { " unacknowledged" } @if !in_full { " brief" } }
            aria-labelledby=(heading) data-alarm-card=(key(alarm)) {
            header {
                (priority_symbol(alarm.priority, unacknowledged && !is_over, voice))
                h3 id=(heading) { (about(view, alarm)) }
                p class="state" {
                    (priority_words(alarm.priority, voice.language())) " · " (state_words(alarm.to, voice.language()))
                    @if since_s >= 60.0 && !is_over { " · " (fill(words.minutes_ago, &[&voice.minutes(since_s)])) }
                }
            }
            @if is_over {
                p class="message" { (over(view, alarm)) }
                (buttons(view, alarm))
            } @else if in_full {
                (told(view, alarm)) (buttons(view, alarm))
            } @else {
                @if unacknowledged { (acknowledge(view, alarm)) }
                details id={ "more-" (key(alarm)) } { summary { (words.more) } (told(view, alarm)) (shelve(view, alarm)) }
            }
        }
    }
}

/// What was found, what to do and what to beware of.
fn told(view: &View<'_>, alarm: &AlarmLine) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let row = definition(alarm.alarm);
    let message = alarm_said(alarm, voice);
    html! {
        p class="message" lang=[message.lang] { (message.text) }
        p class="advice" { strong { (words.do_this) } " " (response(row, voice.language())) }
        @if let Some(text) = caution(row, voice.language()) {
            p class="caution" { (flag()) strong { (words.caution) } " " (text) }
        }
    }
}

fn buttons(view: &View<'_>, alarm: &AlarmLine) -> Markup {
    html! {
        div class="buttons" {
            @if alarm.to != AlarmState::Acknowledged { (acknowledge(view, alarm)) }
            @if gives_order(view, alarm) { (shelve(view, alarm)) }
        }
    }
}

fn acknowledge(view: &View<'_>, alarm: &AlarmLine) -> Markup {
    let words = view.voice.words;
    let name = about(view, alarm);
    html! {
        button type="button" id={ "ack-" (key(alarm)) } data-act="acknowledge" data-alarm=(alarm.alarm.name())
            data-instrument=[alarm.instrument.as_deref()] aria-label=(format!("{}: {name}", words.acknowledge)) { (words.acknowledge) }
    }
}

fn shelve(view: &View<'_>, alarm: &AlarmLine) -> Markup {
    let words = view.voice.words;
    let name = about(view, alarm);
    let longest = engine::alarm_settings(view.configuration, alarm.alarm)
        .longest_shelving_min
        .unwrap_or(definition(alarm.alarm).longest_shelving_min);
    html! {
        button type="button" id={ "shelve-" (key(alarm)) } class="quiet" data-act="shelve" data-alarm=(alarm.alarm.name())
            data-instrument=[alarm.instrument.as_deref()] data-longest=(longest) data-name=(name)
            aria-label=(format!("{}: {name}", words.shelve)) { (words.shelve) "…" }
    }
}

/// Why an alarm asks for nothing any more.
fn over(view: &View<'_>, alarm: &AlarmLine) -> &'static str {
    let words = view.voice.words;
    match (alarm.to, view.status.brew.is_some()) {
        (AlarmState::ReturnedUnacknowledged, true) => words.alarm_over,
        (AlarmState::Acknowledged, _) => words.alarm_ends,
        (_, _) => words.alarm_of_ended,
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

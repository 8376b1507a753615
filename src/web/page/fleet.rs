//! The page that lists every tun behind the broker.
//!
//! Owns what stands in its rows. A tun that is not there shows no figures: they would be old ones in disguise.

use std::collections::BTreeMap;

use jiff::Timestamp;
use maud::{DOCTYPE, Markup, html};

use super::shell::{head, script_words};
use super::symbols::{flag, priority_symbol};
use crate::clock::wall_now;
use crate::display::fleet_words::{self, Words};
use crate::display::terms::{fill, state_words};
use crate::display::{NONE, Voice, alarm_name, phase_name};
use crate::fleet::{Alarm, Fleet, FleetTun, Presence};
use lauter_core::alarm::AlarmState;

/// Alarms named in a row; of the others their number.
const NAMED: usize = 3;

/// What changes while it is looked at.
pub fn parts(fleet: &Fleet, voice: Voice, now: Timestamp) -> BTreeMap<&'static str, String> {
    let words = fleet_words::of(voice.language());
    BTreeMap::from([
        ("part-count", count(fleet, words, now).into_string()),
        ("part-fleet", rows(fleet, voice, words, now).into_string()),
    ])
}

pub fn page(fleet: &Fleet, voice: Voice) -> Markup {
    let words = fleet_words::of(voice.language());
    let now = wall_now();
    html! {
        (DOCTYPE)
        html lang=(voice.tag()) {
            (head(words.all_tuns))
            body data-parts="/fleet/parts" data-words=(script_words(voice)) {
                a class="skip" href="#main" { (voice.words.skip) }
                header class="top" {
                    div class="name" { p class="tun" { (words.all_tuns) } div id="part-count" { (count(fleet, words, now)) } }
                    div class="tools" {
                        span class="link" id="link" role="status" data-live=(voice.words.live) data-lost=(voice.words.not_live) {}
                        a class="button" href="/" { (voice.words.to_start) }
                        button type="button" class="quiet" id="theme" data-act="theme" aria-label=(voice.words.theme_says) { (voice.words.theme) }
                    }
                }
                main id="main" tabindex="-1" {
                    h1 class="hidden" { (words.all_tuns) }
                    section class="panel" {
                        p class="sub" { (words.all_tuns_say) }
                        div class="scroll" tabindex="0" role="region" aria-label=(words.all_tuns) {
                            table class="data" {
                                thead { tr {
                                    th scope="col" class="words" { (words.tun) }
                                    th scope="col" class="words" { (words.alarms) } th scope="col" class="words" { (words.phase) }
                                    th scope="col" class="words" { (words.brew) } th scope="col" { (words.stop_point) }
                                    th scope="col" { (words.kettle_gravity) } th scope="col" class="words" { (words.heard) }
                                } }
                                tbody id="part-fleet" { (rows(fleet, voice, words, now)) }
                            }
                        }
                    }
                }
                div id="toast" role="status" aria-live="polite" {}
                div id="call" class="hidden" role="alert" aria-live="assertive" {}
                footer { p { strong { (voice.words.caution) } " " (voice.words.cautions) } }
            }
        }
    }
}

fn count(fleet: &Fleet, words: &Words, now: Timestamp) -> Markup {
    let (mut all, mut away, mut alarmed) = (0, 0, 0);
    for (_, _, tun) in fleet.tuns() {
        all += 1;
        away += usize::from(tun.presence(now) != Presence::There);
        alarmed += usize::from(!tun.standing().is_empty());
    }
    let figures = [all, away, alarmed].map(|number: usize| number.to_string());
    let figures = figures.each_ref().map(String::as_str);
    html! {
        p class="brew" { (fill(words.count, &figures)) }
        @if !fleet.connected { p class="brew" { span class="flag" { (flag()) (words.broker_away) } } }
    }
}

fn rows(fleet: &Fleet, voice: Voice, words: &Words, now: Timestamp) -> Markup {
    html! {
        @for (site, name, tun) in fleet.tuns() { (row(site, name, tun, voice, words, now)) }
        @if fleet.tuns().next().is_none() { tr { td class="words" colspan="7" { (words.none_yet) } } }
    }
}

fn row(
    site: &str,
    name: &str,
    tun: &FleetTun,
    voice: Voice,
    words: &Words,
    now: Timestamp,
) -> Markup {
    let presence = tun.presence(now);
    let present = tun
        .overview
        .as_ref()
        .filter(|_| presence == Presence::There);
    let gravity = present.and_then(|overview| overview.kettle_gravity_p);
    html! {
        tr class=[(presence != Presence::There).then_some("amiss")] {
            th scope="row" class="words name" {
                @if let Some(page) = tun.page() { a href=(page) { (name) } } @else { (name) }
                br; span class="sub" { (site) }
            }
            td class="words" { (alarms(&tun.standing(), voice)) }
            td class="words" { (present.map_or(NONE, |overview| phase_name(overview.phase, voice.language()))) }
            td class="words" { (present.and_then(|overview| overview.brew.as_deref()).unwrap_or(NONE)) }
            td { (present.map_or_else(|| NONE.to_owned(), |_| stop(tun, voice, words, now))) }
            td { (gravity.map_or_else(|| NONE.to_owned(), |gravity_p| voice.gravity_with_unit(gravity_p))) }
            td class="words" { (heard(tun, presence, words, now)) }
        }
    }
}

fn alarms(standing: &[&Alarm], voice: Voice) -> Markup {
    let language = voice.language();
    html! {
        @if standing.is_empty() { (NONE) }
        @for alarm in standing.iter().take(NAMED) {
            span class="sample" {
                (priority_symbol(alarm.priority, alarm.to == AlarmState::Unacknowledged, voice)) " "
                (alarm_name(alarm.alarm, language))
                @if let Some(instrument) = &alarm.instrument { ": " (instrument) }
                " · " (state_words(alarm.to, language))
            }
        }
        @if standing.len() > NAMED { (fill(voice.words.and_more, &[&(standing.len() - NAMED).to_string()])) }
    }
}

fn stop(tun: &FleetTun, voice: Voice, words: &Words, now: Timestamp) -> String {
    let stop = tun.overview.as_ref().and_then(|overview| overview.stop);
    let Some(stop) = stop else {
        return NONE.to_owned();
    };
    let volume = voice.volume_with_unit(stop.volume_l);
    match tun.to_stop_s(now) {
        Some(ahead_s) if ahead_s > 0.0 => fill(words.stop_in, &[&volume, &voice.minutes(ahead_s)]),
        _ => volume,
    }
}

fn heard(tun: &FleetTun, presence: Presence, words: &Words, now: Timestamp) -> Markup {
    let said = match presence {
        Presence::There => words.there,
        Presence::Silent => words.silent,
        Presence::Gone => words.gone,
    };
    html! {
        @if presence != Presence::There { (flag()) }
        (said) ", " (age(tun.heard, words, now))
    }
}

/// In steps, so that a page is not sent anew for every second of every tun.
fn age(heard: Option<Timestamp>, words: &Words, now: Timestamp) -> String {
    let Some(heard) = heard else {
        return words.never.to_owned();
    };
    let seconds = now.duration_since(heard).as_secs().max(0);
    let (words, number) = match seconds {
        0..60 => (words.seconds_ago, seconds / 5 * 5),
        60..7200 => (words.minutes_ago, seconds / 60),
        _ => (words.hours_ago, seconds / 3600),
    };
    fill(words, &[&number.to_string()])
}

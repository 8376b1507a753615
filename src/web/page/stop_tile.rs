//! Where and when to stop, with its doubt, and how full the kettle is.

use lauter_core::projection::StopCause;
use lauter_core::supervisor::RunoffState;
use maud::{Markup, html};

use super::View;
use super::footing::{channel_doubt, expected_before, reckoned, shown_band, silent_s};
use super::gauge::{Mark, gauge};
use super::symbols::flag;
use crate::display::terms::fill;
use crate::display::{NONE, Voice, later};

/// Where and when to stop, with its doubt.
pub fn stop(view: &View<'_>) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let projection = view.status.projection.as_ref();
    let runoff = view.status.runoff.as_ref();
    let Some((stop, runoff)) = projection.and_then(|line| line.stop).zip(runoff) else {
        return html! {
            h2 { (words.stop_point) }
            p class="hero" { span class="num" { (NONE) } }
            p class="sub" { (words.no_stop_yet) }
        };
    };
    let to_go_s = stop.elapsed_s - runoff.elapsed_s;
    let band = shown_band(view).filter(|_| stop.cause == StopCause::TargetGravity);
    let reckoned = reckoned(view);
    let in_doubt = channel_doubt(view).map(|_| words.in_doubt.to_owned());
    html! {
        h2 { (words.stop_point)
            @for amiss in [&reckoned, &in_doubt].into_iter().flatten() { " " span class="flag" { (flag()) (amiss) } }
        }
        p class={ "hero" @if reckoned.is_some() || in_doubt.is_some() { " amiss" } } {
            span class="num" { (voice.volume(stop.volume_l)) } span class="unit" { " " (voice.volume_unit()) }
        }
        p class="hero second" { (when(view, to_go_s)) }
        (kettle_scale(view, runoff))
        p class="sub" {
            @if let Some(before) = expected_before(view) { strong { (before) } " " }
            @if let Some(target) = band {
                (fill(words.band_says, &[&voice.volume(target.volume_l.p5), &voice.volume_with_unit(target.volume_l.p95)]))
                @if silent_s(view).is_none() && target.elapsed_s.p95 > runoff.elapsed_s {
                    ", " (fill(words.band_minutes, &[
                        &voice.minutes((target.elapsed_s.p5 - runoff.elapsed_s).max(0.0)),
                        &voice.minutes((target.elapsed_s.p95 - runoff.elapsed_s).max(0.0)),
                    ]))
                }
                ". "
            }
            (stop_cause(stop.cause, voice))
            @if stop.top_up_l >= 1.0 {
                " " (fill(words.then_top_up, &[&voice.volume_with_unit(stop.top_up_l), &voice.volume_with_unit(stop.final_volume_l)]))
            }
        }
    }
}

/// How long it still takes. While every instrument is silent nobody knows: minutes that stand still would be a lie.
fn when(view: &View<'_>, to_go_s: f64) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let silent = silent_s(view).is_some();
    html! {
        @if silent && to_go_s > 0.0 {
            span class="num" { (NONE) } span class="unit" { " " (words.minutes_to_go) }
            " " span class="at" { (words.minutes_unknown) }
        } @else if silent {
            span class="unit" { (words.reached) }
        } @else if to_go_s > 0.0 {
            span class="num" { (voice.minutes(to_go_s)) } span class="unit" { " " (words.minutes_to_go) }
            " " span class="at" { (clock_at(view, to_go_s)) }
        } @else {
            span class="unit" { (fill(words.reached_ago, &[&voice.minutes(-to_go_s)])) }
        }
    }
}

fn clock_at(view: &View<'_>, ahead_s: f64) -> String {
    match view.status.time.parse() {
        Ok(now) => view.voice.clock(later(now, ahead_s)),
        Err(_) => String::new(),
    }
}

fn stop_cause(cause: StopCause, voice: Voice) -> &'static str {
    match cause {
        StopCause::TargetGravity => voice.words.by_target,
        StopCause::GravityFloor => voice.words.by_floor,
        StopCause::PhCeiling => voice.words.by_ceiling,
        StopCause::KettleCapacity => voice.words.by_capacity,
        StopCause::RunoffEnded => voice.words.by_end,
    }
}

/// The kettle as a scale: filled so far, the band and the stop-point, and what it holds at most.
fn kettle_scale(view: &View<'_>, runoff: &RunoffState) -> Markup {
    let capacity_l = view.configuration.kettle.capacity_l;
    let mut marks = vec![Mark::Filled(runoff.kettle_volume_l)];
    if let Some(line) = &view.status.projection {
        if let Some(target) = shown_band(view) {
            marks.push(Mark::Band(target.volume_l.p5, target.volume_l.p95));
        }
        marks.extend(line.stop.map(|stop| Mark::Stop(stop.volume_l)));
    }
    let voice = view.voice;
    html! {
        div class="kettle" {
            (gauge(0.0, capacity_l, None, &marks))
            p class="ends" {
                span { (voice.words.in_kettle) " " strong { (voice.volume_with_unit(runoff.kettle_volume_l)) } }
                span { (voice.words.capacity) " " (voice.volume_with_unit(capacity_l)) }
            }
        }
    }
}

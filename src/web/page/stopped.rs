//! What the kettle would need if the run-off were stopped now, against the projected stop.

use maud::{Markup, html};

use super::View;
use super::footing::reckoned;
use super::glance::runoff;
use super::symbols::flag;
use crate::display::NONE;
use crate::display::terms::fill;

pub fn if_stopped(view: &View<'_>) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let now = runoff(view, |it| it.if_stopped_now);
    let plan = view.status.plan.as_ref();
    let stop = plan.and_then(|_| view.status.projection.as_ref()?.stop);
    let grist_kg = plan.map_or(1.0, |plan| plan.grist_kg);
    let or_none = |value: Option<String>| value.unwrap_or_else(|| NONE.to_owned());
    let volume = |l: f64| voice.volume_with_unit(l);
    let length = |l_per_kg: f64| voice.number(l_per_kg, 2);
    html! {
        h2 { (words.if_stopped) @if let Some(amiss) = reckoned(view) { " " span class="flag" { (flag()) (amiss) } } }
        table class="plain" {
            thead { tr { td {} th scope="col" { (words.now) } th scope="col" { (words.at_stop_point) } } }
            tbody {
                tr { th scope="row" { (words.kettle_volume) }
                    td { (or_none(runoff(view, |it| Some(volume(it.kettle_volume_l))))) }
                    td { (or_none(stop.map(|it| volume(it.volume_l)))) } }
                tr { th scope="row" { (words.top_up) }
                    td { (or_none(now.map(|it| volume(it.top_up_l)))) }
                    td { (or_none(stop.map(|it| volume(it.top_up_l)))) } }
                tr { th scope="row" { (words.final_volume) }
                    td { (or_none(now.map(|it| volume(it.final_volume_l)))) }
                    td { (or_none(stop.map(|it| volume(it.final_volume_l)))) } }
                tr { th scope="row" { (words.brew_length) ", L/kg" }
                    td { (or_none(now.map(|it| length(it.brew_length_l_per_kg)))) }
                    td { (or_none(stop.map(|it| length(it.final_volume_l / grist_kg)))) } }
            }
        }
        @if let Some(boil) = now.map(|it| it.boil_off_percent).filter(|percent| *percent > 0.05) {
            p class="sub" { (fill(words.boil_off, &[&voice.number(boil, 1)])) }
        }
    }
}

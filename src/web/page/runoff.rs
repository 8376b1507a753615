//! The run-off page.

use maud::{Markup, html};

use super::dialogs;
use super::shell::{Frame, Place, drawn};
use super::view::{View, parts};
use crate::display::terms::fill;

/// The three charts as they are when the page is opened.
#[derive(Clone, Debug, Default)]
pub struct Drawings {
    pub gravity: String,
    pub bed: String,
    pub acidity: String,
}

pub fn page(view: &View<'_>, drawings: &Drawings) -> Markup {
    let words = view.voice.words;
    let parts = parts(view);
    let part = |id: &str| drawn(parts.get(id).map_or("", String::as_str));
    let tile =
        |id: &str, class: &str| html! { section class={ "tile " (class) } id=(id) { (part(id)) } };
    let frame = Frame {
        site: &view.status.site,
        tun: &view.status.tun,
        voice: view.voice,
        place: Place::Runoff,
        fleet: view.configuration.web.fleet,
    };
    let beside = html! { p class="brew" id="part-brew" { (part("part-brew")) } };
    let body = html! {
        div class="runoff" {
            section class="now" aria-label=(words.what_next) {
                div id="part-next" { (part("part-next")) }
                div id="part-phase" { (part("part-phase")) }
            }
            div class="glance" {
                (tile("part-stop", "wide")) (tile("part-kettle", "big"))
                (tile("part-runnings", "")) (tile("part-acidity", "")) (tile("part-flow", ""))
                (tile("part-bed", "half")) (tile("part-instruments", "half"))
            }
            div class="side" {
            section class="panel alarms" id="part-alarms" aria-label=(words.alarms) { (part("part-alarms")) }
            section class="panel samplebar" id="part-samples" aria-label=(words.hand_sample) { (part("part-samples")) }
            section class="panel actions" id="part-actions" { (part("part-actions")) }
            section class="panel stopped" id="part-if-stopped" { (part("part-if-stopped")) }
            }
            div class="rest" {
            div class="charts" {
                (figure("gravity", words.gravity_chart, &fill(words.gravity_legend, &[]), &drawings.gravity, words.cross_hair))
                (figure("bed", words.bed_chart, "", &drawings.bed, words.cross_hair))
                (figure("ph", words.ph_chart, "", &drawings.acidity, words.cross_hair))
            }
            div class="panel table" {
                h2 id="table-title" { (words.table) }
                div class="scroll" id="part-table" tabindex="0" role="region" aria-labelledby="table-title" { (part("part-table")) }
                div id="part-notes" { (part("part-notes")) }
            }
            }
        }
        (dialogs::all(view))
    };
    frame.page(words.runoff, &beside, &body)
}

/// A chart with its name, and the read-out of its cross-hair.
pub fn figure(name: &str, title: &str, legend: &str, svg: &str, hint: &str) -> Markup {
    html! {
        figure class={ "panel chart-" (name) } {
            figcaption { h2 { (title) } @if !legend.is_empty() { p class="sub" { (legend) } } }
            div class="plot" data-chart=(name) tabindex="0" role="group" aria-label=(format!("{title}. {hint}")) { (drawn(svg)) }
            output class="read" {}
        }
    }
}

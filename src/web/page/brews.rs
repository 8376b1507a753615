//! Past brews compared: a table, and curves over each other.

use jiff::Timestamp;
use lauter_core::alarm::AlarmState;
use maud::{Markup, html};

use super::runoff::figure;
use super::shell::Frame;
use super::view::api_path;
use crate::brew_record::{BedSetting, BrewRecord};
use crate::display::NONE;
use crate::display::terms::fill;
use crate::store::Crush;

/// Brews that can be laid over each other: as many as have colours of their own.
pub const COMPARED: usize = 5;

/// One row: a brew, and whether its curves are shown.
#[derive(Debug)]
pub struct Row {
    pub record: BrewRecord,
    pub shown: bool,
}

/// A comparison chart with its name.
pub type NamedChart = (&'static str, &'static str, String);

pub fn page(
    frame: &Frame<'_>,
    rows: &[Row],
    charts: &[NamedChart],
    bed: &BedSetting,
    crushes: &[(Timestamp, Crush)],
) -> Markup {
    let words = frame.voice.words;
    let shown: Vec<&str> = rows
        .iter()
        .filter(|row| row.shown)
        .map(|row| row.record.brew.header.plan.brew.as_str())
        .collect();
    let body = html! {
        section class="panel" {
            h2 { (words.brews) }
            @if rows.is_empty() { p class="none" { (words.no_brews) } } @else {
                form method="get" {
                    div class="scroll" tabindex="0" role="region" aria-label=(words.brews) { (table(frame, rows, bed, crushes)) }
                    button type="submit" { (fill(words.compare, &[&COMPARED.to_string()])) }
                }
            }
        }
        @if !charts.is_empty() {
            section class="panel" aria-label=(words.legend) {
                ul class="legend" {
                    @for (index, name) in shown.iter().take(COMPARED).enumerate() {
                        li { svg viewBox="0 0 240 16" class="chart key" aria-hidden="true" { line class={ "l-brew" (index + 1) } x1="0" y1="8" x2="240" y2="8" stroke-width="12" {} } " " (name) }
                    }
                }
            }
            div class="charts" {
                @for (name, title, svg) in charts { (figure(name, title, "", svg, words.cross_hair)) }
            }
        }
    };
    frame.page(words.brews, &html! {}, &body)
}

fn table(
    frame: &Frame<'_>,
    rows: &[Row],
    bed: &BedSetting,
    crushes: &[(Timestamp, Crush)],
) -> Markup {
    let (voice, words) = (frame.voice, frame.voice.words);
    let or_none = |value: Option<String>| value.unwrap_or_else(|| NONE.to_owned());
    html! {
        table class="data" {
            thead { tr {
                th scope="col" { (words.show) } th scope="col" class="words" { (words.brew) } th scope="col" class="words" { (words.date) }
                th scope="col" { (words.stop_point) br; (voice.volume_unit()) } th scope="col" { (words.kettle_gravity) br; (voice.gravity_unit()) }
                th scope="col" { (words.extract) br; "kg" } th scope="col" { (words.extract_yield) br; "%" }
                th scope="col" { (words.brew_length) br; "L/kg" } th scope="col" { (words.bed_resistance) br; "10⁹/m" }
                th scope="col" { (words.alarms) } th scope="col" class="words" { (words.crush) } th scope="col" class="words" { (words.report) }
            } }
            tbody {
                @for row in rows {
                    @let brew = &row.record.brew;
                    @let plan = &brew.header.plan;
                    @let summary = brew.finished.as_ref().and_then(|finished| finished.summary.as_ref());
                    @let report = api_path(frame.site, frame.tun, &format!("brews/{}/report", super::view::segment(&plan.brew)));
                    tr {
                        td { label class="tick" { span class="hidden" { (words.show) " " (plan.brew) } input type="checkbox" name="brew" value=(plan.brew) checked[row.shown]; } }
                        th scope="row" class="words name" { (plan.brew) @if !plan.recipe.is_empty() { br; span class="sub" { (plan.recipe) } } }
                        td class="words" { (voice.date(brew.header.started)) }
                        td { (or_none(summary.and_then(|it| it.stop_volume_l).map(|l| voice.volume(l)))) }
                        td { (or_none(summary.and_then(|it| it.kettle_gravity_p).map(|p| voice.gravity_finely(p)))) }
                        td { (or_none(summary.and_then(|it| it.extract_kg).map(|kg| voice.number(kg, 0)))) }
                        td { (or_none(row.record.extract_yield().map(|share| voice.percent(share, 1)))) }
                        td { (or_none(summary.and_then(|it| it.brew_length_l_per_kg).map(|l| voice.number(l, 2)))) }
                        td { (or_none(row.record.usual_resistance_per_m(bed).map(|r| voice.resistance(r)))) }
                        td { (raised(&row.record)) }
                        td class="words" { (or_none(crush_of(crushes, brew.header.started).map(|crush| format!("{} mm", voice.number(crush.gap_mm, 2))))) }
                        td class="words" { a class="button" href=(report) aria-label=(format!("{} {}", words.report, plan.brew)) { (words.report) } }
                    }
                }
            }
        }
    }
}

/// How many alarms were raised.
fn raised(record: &BrewRecord) -> usize {
    let raised = record.alarms.iter().filter(|line| {
        line.to == AlarmState::Unacknowledged && line.from != AlarmState::ReturnedUnacknowledged
    });
    raised.count()
}

/// The last entry before a brew began.
pub fn crush_of(crushes: &[(Timestamp, Crush)], started: Timestamp) -> Option<&Crush> {
    let before = crushes.iter().rev().find(|(time, _)| *time <= started);
    before.map(|(_, crush)| crush)
}

//! The report as one HTML page that needs nothing beside it.

use lauter_core::alarm::definition;
use maud::{DOCTYPE, Markup, PreEscaped, html as markup};

use super::alarms::stories;
use super::table::rows;
use crate::brew_record::{BedSetting, BrewRecord, InstrumentHealth};
use crate::charts::{self, ChartError, Scene, Size};
use crate::display::course::occurrence_said;
use crate::display::terms::{
    cause_words, caution, fill, measures_words, priority_words, response, stop_cause_words,
};
use crate::display::told::alarm_said;
use crate::display::{NONE, Voice, alarm_name};
use crate::store::Crush;

/// Everything a report is written from.
#[derive(Debug)]
pub struct Report<'a> {
    pub site: &'a str,
    pub tun: &'a str,
    pub record: &'a BrewRecord,
    pub health: &'a [InstrumentHealth],
    pub crush: Option<&'a Crush>,
    pub bed: BedSetting,
    pub capacity_l: f64,
    pub voice: Voice,
}

pub const STYLE: &str = include_str!("report.css");
/// Charts as wide as a printed page.
const WIDE: Size = Size {
    width: 720,
    height: 300,
};
const NARROW: Size = Size {
    width: 720,
    height: 260,
};

pub fn html(report: &Report<'_>) -> Result<String, ChartError> {
    let (voice, words) = (report.voice, report.voice.words);
    let plan = &report.record.brew.header.plan;
    let scene = Scene {
        record: report.record,
        fan: &[],
        bed: report.bed,
        capacity_l: report.capacity_l,
        voice,
    };
    let drawings = [
        (words.gravity_chart, charts::gravity(&scene, WIDE)?),
        (
            words.stop_chart,
            charts::stop_point_course(report.record, voice, NARROW)?,
        ),
        (words.bed_chart, charts::bed(&scene, WIDE)?),
        (words.ph_chart, charts::acidity(&scene, NARROW)?),
    ];
    let page = markup! {
        (DOCTYPE)
        html lang=(voice.tag()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (plan.brew) " · " (words.report) " · lauterd" }
                style { (PreEscaped(charts::STYLE)) (PreEscaped(STYLE)) }
            }
            body {
                main {
                    (heading(report))
                    (outcome(report))
                    section { h2 { (words.plan) } (plan_table(report)) }
                    @for (title, svg) in &drawings {
                        section class="figure" { h2 { (title) } (PreEscaped(without_readings(svg))) }
                    }
                    section { h2 { (words.table) } (rows(voice, &report.record.table, &report.record.samples)) }
                    section { h2 { (words.alarms_answered) } (alarms(report)) }
                    section { h2 { (words.rake_effects) } (told(report, &["raking", "rake-effect"], words.no_raking)) }
                    section { h2 { (words.course) } (told(report, &["phase", "note", "hand-sample", "sample-withdrawn", "brew-started", "brew-ended", "target-out-of-reach"], words.nothing)) }
                    section { h2 { (words.stop_against_projection) } (projections(report)) }
                    section { h2 { (words.instrument_health) } (health(report)) }
                    section class="signatures" { h2 { (words.signatures) }
                        p { span { (words.brewer) } } p { span { (words.operator) } } p { span { (words.date) } } }
                }
                footer { p { strong { (words.caution) } " " (words.cautions) } }
            }
        }
    };
    Ok(page.into_string())
}

/// What only a cross-hair needs is left out on paper.
fn without_readings(svg: &str) -> String {
    match svg.split_once(" data-panels=\"") {
        Some((before, rest)) => {
            let after = rest.split_once('"').map_or("", |(_, after)| after);
            format!("{before}{after}")
        }
        None => svg.to_owned(),
    }
}

fn heading(report: &Report<'_>) -> Markup {
    let (voice, words) = (report.voice, report.voice.words);
    let header = &report.record.brew.header;
    let ended = report.record.brew.finished.as_ref();
    markup! {
        header {
            p class="site" { (report.site) " / " (report.tun) }
            h1 { (header.plan.brew) @if !header.plan.recipe.is_empty() { " · " (header.plan.recipe) } }
            p { (words.started_at) " " (voice.date(header.started)) " · " (words.ended_at) " "
                (ended.map_or_else(|| words.not_yet.to_owned(), |finished| voice.date(finished.ended))) }
        }
    }
}

fn outcome(report: &Report<'_>) -> Markup {
    let (voice, words) = (report.voice, report.voice.words);
    let summary = report
        .record
        .brew
        .finished
        .as_ref()
        .and_then(|it| it.summary.as_ref());
    let or_none = |value: Option<String>| value.unwrap_or_else(|| NONE.to_owned());
    let figures = [
        (
            words.stop_point,
            or_none(
                summary
                    .and_then(|it| it.stop_volume_l)
                    .map(|l| voice.volume_with_unit(l)),
            ),
        ),
        (
            words.after,
            or_none(
                summary
                    .and_then(|it| it.stop_elapsed_s)
                    .map(|s| format!("{} min", voice.minutes(s))),
            ),
        ),
        (
            words.kettle_gravity,
            or_none(
                summary
                    .and_then(|it| it.kettle_gravity_p)
                    .map(|p| format!("{} {}", voice.gravity_finely(p), voice.gravity_unit())),
            ),
        ),
        (
            words.extract,
            or_none(
                summary
                    .and_then(|it| it.extract_kg)
                    .map(|kg| format!("{} kg", voice.number(kg, 0))),
            ),
        ),
        (
            words.extract_yield,
            or_none(
                report
                    .record
                    .extract_yield()
                    .map(|share| format!("{} %", voice.percent(share, 1))),
            ),
        ),
        (
            words.brew_length,
            or_none(
                summary
                    .and_then(|it| it.brew_length_l_per_kg)
                    .map(|l| format!("{} L/kg", voice.number(l, 2))),
            ),
        ),
    ];
    markup! {
        section class="outcome" aria-label=(words.outcome) {
            dl { @for (name, value) in &figures { div { dt { (name) } dd { (value) } } } }
            @if let Some(summary) = summary { p { (stop_cause_words(summary.stop_cause, voice.language())) } }
        }
    }
}

fn plan_table(report: &Report<'_>) -> Markup {
    let (voice, words) = (report.voice, report.voice.words);
    let plan = &report.record.brew.header.plan;
    let rows = [
        (
            words.grist,
            format!("{} kg", voice.number(plan.grist_kg, 0)),
        ),
        (
            words.start_of_boil_gravity,
            voice.gravity_with_unit(plan.target_gravity_p),
        ),
        (
            words.planned_volume,
            voice.volume_with_unit(plan.planned_volume_l),
        ),
        (
            words.runoff_time,
            format!("{} min", voice.number(plan.runoff_minutes, 0)),
        ),
        (
            words.first_wort_gravity,
            plan.first_wort_gravity_p
                .map_or_else(|| NONE.to_owned(), |p| voice.gravity_with_unit(p)),
        ),
        (
            words.gravity_floor,
            voice.gravity_with_unit(plan.gravity_floor_p),
        ),
        (words.ph_ceiling, voice.ph(plan.ph_ceiling)),
        (
            words.mill_gap,
            report.crush.map_or_else(
                || NONE.to_owned(),
                |crush| format!("{} mm", voice.number(crush.gap_mm, 2)),
            ),
        ),
    ];
    markup! {
        dl class="plan" { @for (name, value) in &rows { div { dt { (name) } dd { (value) } } } }
    }
}

fn alarms(report: &Report<'_>) -> Markup {
    let (voice, words) = (report.voice, report.voice.words);
    let language = voice.language();
    let stories = stories(report.record, voice);
    markup! {
        @if stories.is_empty() { p { (words.no_alarms) } }
        @for story in &stories {
            @let row = definition(story.raised.alarm);
            article {
                h3 { (voice.minutes(story.raised.elapsed_s)) " min · " (alarm_name(story.raised.alarm, language))
                    @if let Some(id) = &story.raised.instrument { ": " (id) } " · " (priority_words(story.raised.priority, language)) }
                @let said = alarm_said(story.raised, voice);
                p lang=[said.lang] { (said.text) }
                p { strong { (words.do_this) } " " (response(row, language)) }
                @if let Some(text) = caution(row, language) { p { strong { (words.caution) } " " (text) } }
                @if !story.followed.is_empty() {
                    p { @for (index, (at_s, text)) in story.followed.iter().enumerate() {
                        @if index > 0 { " · " } (voice.minutes(*at_s)) " min " (text) } }
                }
            }
        }
    }
}

fn told(report: &Report<'_>, events: &[&str], nothing: &str) -> Markup {
    let voice = report.voice;
    let found: Vec<_> = report
        .record
        .occurrences
        .iter()
        .filter(|occurrence| events.contains(&occurrence.event.as_str()))
        .collect();
    markup! {
        @if found.is_empty() { p { (nothing) } } @else {
            ul { @for occurrence in found {
                @let said = occurrence_said(&occurrence.event, &occurrence.text, voice);
                li { (voice.minutes(occurrence.elapsed_s.unwrap_or(0.0))) " min · " span lang=[said.lang] { (said.text) } }
            } }
        }
    }
}

/// The projection about every ten minutes, against where the stop-point came.
fn projections(report: &Report<'_>) -> Markup {
    let (voice, words) = (report.voice, report.voice.words);
    let summary = report
        .record
        .brew
        .finished
        .as_ref()
        .and_then(|it| it.summary.as_ref());
    let came_l = summary.and_then(|it| it.stop_volume_l);
    let doubts = report.record.channel_doubts();
    let in_doubt = |at_s: f64| {
        doubts
            .iter()
            .any(|(from_s, to_s)| (*from_s..=*to_s).contains(&at_s))
    };
    let mut next_s = 0.0;
    let mut kept = Vec::new();
    for line in &report.record.projections {
        if line.elapsed_s >= next_s
            && let Some(target) = line.target
        {
            next_s = line.elapsed_s + 600.0;
            kept.push((line.elapsed_s, target.volume_l));
        }
    }
    markup! {
        table class="data" {
            thead { tr { th scope="col" { (words.minute) } th scope="col" { (words.projected) br; (voice.volume_unit()) }
                th scope="col" { (words.band) br; (voice.volume_unit()) } th scope="col" { (words.off_by) br; "%" } } }
            tbody { @for (at_s, band) in &kept {
                tr { th scope="row" { (voice.minutes(*at_s)) } td { (voice.volume(band.p50)) @if in_doubt(*at_s) { br; strong { (words.in_doubt) } } }
                    td { (voice.volume(band.p5)) " – " (voice.volume(band.p95)) }
                    td { (came_l.map_or_else(|| NONE.to_owned(), |l| voice.percent(band.p50 / l - 1.0, 1))) } }
            } }
        }
        p { (fill(words.readings_said, &[
            &summary.map_or(0, |it| it.readings).to_string(), &summary.map_or(0, |it| it.rejected).to_string()])) }
    }
}

fn health(report: &Report<'_>) -> Markup {
    let (voice, words) = (report.voice, report.voice.words);
    let instruments = &report.record.brew.header.instruments;
    markup! {
        @if report.health.is_empty() { p { (words.readings_gone) } } @else {
            table class="data" {
                thead { tr { th scope="col" { (words.instrument) } th scope="col" { (words.measures) }
                    th scope="col" { (words.without_value) br; "%" } th scope="col" class="words" { (words.why_not) } } }
                tbody { @for (instrument, health) in instruments.iter().zip(report.health) {
                    tr { th scope="row" { (instrument.id) } td class="words" { (measures_words(instrument.measures, voice.language())) }
                        td { (voice.percent(health.without_value as f64 / health.told.max(1) as f64, 1)) }
                        td class="words" { @for (index, (cause, count)) in health.causes.iter().take(3).enumerate() {
                            @if index > 0 { ", " } (cause_words(*cause, voice.language())) " (" (count) ")" } } }
                } }
            }
        }
    }
}

//! The tun's page: what it has learnt, with its spread and what it is used for; the crush log against what the
//! brews gave.

use jiff::Timestamp;
use lauter_core::profile::{Figure, Figures};
use maud::{Markup, html};

use super::runoff::figure;
use super::shell::Frame;
use super::view::page_path;
use crate::display::NONE;
use crate::display::course::reason_said;
use crate::display::terms::fill;
use crate::store::Crush;
use crate::web::wire::KnownProfile;

/// Openings of the sieves that the form asks for, mm, the pan last. A common plansifter set, from memory.
pub const SIEVES_MM: [f64; 6] = [1.27, 1.01, 0.547, 0.253, 0.152, 0.0];

pub fn page(
    frame: &Frame<'_>,
    known: &KnownProfile,
    crushes: &[(Timestamp, Crush)],
    corrected: Option<&(Timestamp, Crush)>,
    chart: Option<&str>,
) -> Markup {
    let words = frame.voice.words;
    let body = html! {
        div class="columns" {
            section class="panel wide" { (learnt(frame, known)) }
            section class="panel" { (crush_form(frame, corrected)) }
            section class="panel" {
                h2 { (words.crush_log) }
                (crush_table(frame, crushes))
            }
            @if let Some(svg) = chart {
                (figure("crush", words.crush_chart, words.crush_chart_says, svg, words.cross_hair))
            }
            section class="panel" { (verdicts(frame, known)) }
        }
    };
    frame.page(words.tun, &html! {}, &body)
}

/// A learnt quantity: name, figure, its factor and digits, unit, what it is used for.
type Habit = (
    &'static str,
    Option<Figure>,
    f64,
    usize,
    &'static str,
    &'static str,
);

fn habits(frame: &Frame<'_>, figures: &Figures) -> [Habit; 10] {
    let (voice, words) = (frame.voice, frame.voice.words);
    [
        (
            words.breakthrough,
            figures.breakthrough_l_per_kg,
            1.0,
            2,
            "L/kg",
            words.used_for_curve,
        ),
        (
            words.stop_volume,
            figures.stop_volume_l_per_kg,
            1.0,
            2,
            "L/kg",
            words.used_for_plan,
        ),
        (
            words.extract_yield,
            figures.extract_kg_per_kg,
            100.0,
            1,
            "%",
            words.used_to_compare,
        ),
        (
            words.stop_over_plan,
            figures.stop_over_plan,
            100.0,
            1,
            "%",
            words.used_for_plan,
        ),
        (
            words.bed_resistance,
            figures.resistance_per_m,
            1e-9,
            1,
            "10⁹/m",
            words.used_to_compare,
        ),
        (
            words.safe_flow,
            figures.safe_flow_l_min_m2,
            voice.flow_value(1.0),
            1,
            voice.flux_unit(),
            words.used_for_pace,
        ),
        (
            words.trouble_from,
            figures.trouble_from_share,
            100.0,
            0,
            "%",
            words.used_for_pace,
        ),
        (
            words.rake_effect,
            figures.rake_effect,
            100.0,
            0,
            "%",
            words.used_to_rake,
        ),
        (
            words.rake_gain,
            figures.rake_gain_p,
            voice.gravity_step(),
            voice.gravity_digits(),
            voice.gravity_unit(),
            words.used_to_rake,
        ),
        (
            words.ph_rise,
            figures.ph_rise,
            1.0,
            2,
            "pH",
            words.used_for_ph,
        ),
    ]
}

fn learnt(frame: &Frame<'_>, known: &KnownProfile) -> Markup {
    let (voice, words) = (frame.voice, frame.voice.words);
    let figures = &known.figures;
    let rows = habits(frame, figures);
    let number = |value: f64, scale: f64, digits: usize| voice.number(scale * value, digits);
    html! {
        h2 { (words.learnt) }
        p class="sub" {
            @match (known.version, known.saved) {
                (Some(version), Some(saved)) => (fill(words.profile_of, &[
                    &version.to_string(), &voice.date(saved), &figures.accepted.to_string(), &figures.refused.to_string(),
                ])),
                _ => (words.no_profile),
            }
        }
        div class="scroll" tabindex="0" role="region" aria-label=(words.learnt) {
            table class="data" {
                thead { tr {
                    th scope="col" class="words" { (words.quantity) } th scope="col" { (words.median) } th scope="col" { (words.spread) }
                    th scope="col" { (words.brews) } th scope="col" class="words" { (words.used_for) }
                } }
                tbody {
                    @for (name, figure, scale, digits, unit, used) in rows {
                        tr {
                            th scope="row" class="words" { (name) ", " (unit) }
                            @if let Some(figure) = figure {
                                td { strong { (number(figure.median, scale, digits)) } }
                                td { (number(figure.least, scale, digits)) " – " (number(figure.greatest, scale, digits)) }
                                td { (figure.brews) }
                            } @else { td { (NONE) } td { (NONE) } td { "0" } }
                            td class="words" { (used) }
                        }
                    }
                }
            }
        }
    }
}

fn verdicts(frame: &Frame<'_>, known: &KnownProfile) -> Markup {
    let words = frame.voice.words;
    html! {
        h2 { (words.who_taught) }
        @if known.profile.verdicts.is_empty() { p class="none" { (words.no_profile) } }
        ul class="notes" {
            @for verdict in known.profile.verdicts.iter().rev() {
                li { strong { (verdict.brew) } " · "
                    @if verdict.acceptance.accepted { (words.taught) } @else { (words.did_not_teach) }
                    " · " (reason_said(verdict.acceptance.reason, frame.voice)) }
            }
        }
    }
}

/// The form for an entry, or for the correction of one.
fn crush_form(frame: &Frame<'_>, corrected: Option<&(Timestamp, Crush)>) -> Markup {
    let (voice, words) = (frame.voice, frame.voice.words);
    let crush = corrected.map(|(_, crush)| crush);
    let replaces = corrected.map(|(time, _)| time.to_string());
    let share = |opening_mm: f64| {
        let fractions = crush.map_or(&[][..], |crush| &crush.fractions);
        let found = fractions
            .iter()
            .find(|it| (it.opening_mm - opening_mm).abs() < 1e-6);
        found.map(|it| voice.number(it.percent, 1))
    };
    html! {
        h2 { (words.enter_crush) }
        @if let Some((time, _)) = corrected { p class="sub" { (fill(words.correcting, &[&voice.date(*time)])) } }
        form class="plan" data-act="crush" id="crush-form" data-replaces=[replaces] novalidate {
            div class="field" {
                label for="crush-gap" { (words.mill_gap) ", mm" }
                input id="crush-gap" name="gap_mm" inputmode="decimal" required autocomplete="off"
                    value=[crush.map(|it| voice.number(it.gap_mm, 2))];
            }
            @for opening in SIEVES_MM {
                @let id = format!("crush-{}", (opening * 1000.0).round());
                div class="field" {
                    label for=(id) {
                        @if opening > 0.0 { (fill(words.on_sieve, &[&voice.number(opening, 3)])) } @else { (words.in_pan) } ", %"
                    }
                    input id=(id) data-opening=(opening) inputmode="decimal" autocomplete="off" value=[share(opening)];
                }
            }
            div class="field wide" {
                label for="crush-note" { (words.note) " (" (words.optional) ")" }
                input id="crush-note" name="note" maxlength="200" autocomplete="off" value=[crush.map(|it| it.note.as_str())];
            }
            p class="caution wide" { strong { (words.caution) } " " (words.caution_mill) }
            button type="submit" class="wide" { (words.save) }
        }
    }
}

fn crush_table(frame: &Frame<'_>, crushes: &[(Timestamp, Crush)]) -> Markup {
    let (voice, words) = (frame.voice, frame.voice.words);
    html! {
        @if crushes.is_empty() { p class="none" { (words.no_crush) } } @else {
            div class="scroll" tabindex="0" role="region" aria-label=(words.crush_log) {
                table class="data" {
                    thead { tr {
                        th scope="col" class="words" { (words.date) } th scope="col" { (words.mill_gap) br; "mm" }
                        th scope="col" class="words" { (words.sieves) } th scope="col" class="words" { (words.note) }
                        th scope="col" class="words" { (words.correct) }
                    } }
                    tbody {
                        @for (time, crush) in crushes.iter().rev() {
                            tr {
                                th scope="row" class="words" { (voice.date(*time)) }
                                td { (voice.number(crush.gap_mm, 2)) }
                                td class="words" {
                                    @for fraction in &crush.fractions {
                                        span class="sample" {
                                            @if fraction.opening_mm > 0.0 { (voice.number(fraction.opening_mm, 3)) " mm" } @else { (words.in_pan) }
                                            " " strong { (voice.number(fraction.percent, 1)) " %" }
                                        }
                                    }
                                }
                                td class="words" { (crush.note) @if !crush.note.is_empty() { " · " } (crush.who) }
                                td class="words" {
                                    a class="button" href=(format!("{}?correct={}#crush-form", page_path(frame.site, frame.tun, "tun"), time.as_microsecond()))
                                        aria-label=(format!("{} {}", words.correct, voice.date(*time))) { (words.correct) "…" }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

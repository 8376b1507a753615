//! The brewer's table, with hand samples beside it.

use lauter_core::supervisor::{Place, Sample, TableLine};
use maud::{Markup, html};

use crate::display::{NONE, Voice};

/// The table of a brew; each sample stands beside the row that closes its interval.
pub fn rows(voice: Voice, table: &[TableLine], samples: &[(f64, Sample)]) -> Markup {
    let words = voice.words;
    let (gravity, volume) = (voice.gravity_unit(), voice.volume_unit());
    let or_none = |value: Option<String>| value.unwrap_or_else(|| NONE.to_owned());
    let mut from_s = f64::NEG_INFINITY;
    let after: Vec<_> = samples
        .iter()
        .filter(|(at, _)| table.last().is_none_or(|row| *at > row.elapsed_s))
        .collect();
    html! {
        table class="data" {
            caption class="hidden" { (words.table) }
            thead {
                tr {
                    th scope="col" { (words.minute) }
                    th scope="col" { (words.runnings) br; (gravity) }
                    th scope="col" { "pH" }
                    th scope="col" { (words.kettle) br; (volume) }
                    th scope="col" { (words.kettle) br; (gravity) }
                    th scope="col" { (words.flow) br; (voice.flow_unit()) }
                    th scope="col" { (words.pressure_drop) br; "kPa" }
                    th scope="col" class="hand" { (words.hand_samples) }
                }
            }
            tbody {
                @for line in table {
                    @let beside: Vec<_> = samples.iter().filter(|(at, _)| *at > from_s && *at <= line.elapsed_s).collect();
                    tr {
                        th scope="row" { (voice.minutes(line.elapsed_s)) }
                        td { (or_none(line.runnings_gravity_p.map(|p| voice.gravity_finely(p)))) }
                        td { (or_none(line.runnings_ph.map(|ph| voice.ph(ph)))) }
                        td { (voice.volume(line.kettle_volume_l)) }
                        td { (or_none(line.kettle_gravity_p.map(|p| voice.gravity_finely(p)))) }
                        td { (or_none(line.flow_l_min.map(|flow| voice.flow(flow)))) }
                        td { (or_none(line.pressure_drop_kpa.map(|kpa| voice.number(kpa, 2)))) }
                        td class="hand" { @for sample in &beside { (sampled(voice, sample)) } }
                    }
                    @let () = from_s = line.elapsed_s;
                }
                @if !after.is_empty() {
                    tr {
                        th scope="row" { (words.since) }
                        @for _ in 0..6 { td { "" } }
                        td class="hand" { @for sample in &after { (sampled(voice, sample)) } }
                    }
                }
                @if table.is_empty() && after.is_empty() {
                    tr { td colspan="8" class="none" { (words.table_empty) } }
                }
            }
        }
    }
}

/// A sample as it stands in the table.
pub fn sampled(voice: Voice, (at_s, sample): &(f64, Sample)) -> Markup {
    let (place, figures) = said(voice, sample);
    html! {
        span class="sample" { span class="when" { (voice.minutes(*at_s)) " min" } " " (place) " " strong { (figures) } }
    }
}

/// The same as plain words.
pub fn told_sample(voice: Voice, (at_s, sample): &(f64, Sample)) -> String {
    let (place, figures) = said(voice, sample);
    format!("{} min {place} {figures}", voice.minutes(*at_s))
}

fn said(voice: Voice, sample: &Sample) -> (&'static str, String) {
    let words = voice.words;
    let place = match sample.place {
        Place::Runnings => words.runnings,
        Place::Kettle => words.kettle,
    };
    let mut parts = Vec::new();
    parts.extend(
        sample
            .gravity_p
            .map(|p| format!("{} {}", voice.gravity_finely(p), voice.gravity_unit())),
    );
    parts.extend(sample.ph.map(|ph| format!("pH {}", voice.ph(ph))));
    parts.extend(sample.volume_l.map(|l| voice.volume_with_unit(l)));
    (place, parts.join(", "))
}

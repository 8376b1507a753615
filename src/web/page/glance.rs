//! What is read at one glance and from three metres: phase, stop-point, gravities, pH, pace, bed, instruments.

use lauter_core::alarm::{AlarmId, AlarmState};
use lauter_core::supervisor::{Line, Phase, RunoffState};
use maud::{Markup, html};

use super::View;
use super::alarms::acknowledge_all;
use super::footing::reckoned;
use super::gauge::{Mark, gauge};
use super::next_step::next_step;
use super::symbols::{flag, priority_symbol};
use crate::display::terms::{cause_words, fill};
use crate::display::{NONE, alarm_name, phase_name};

/// Whether an alarm stands whose condition is met now: the tiles judge nothing by themselves.
pub(super) fn is_met(view: &View<'_>, alarm: AlarmId, instrument: Option<&str>) -> bool {
    view.status.alarms.iter().any(|line| match line {
        Line::Alarm(line) => {
            line.alarm == alarm
                && instrument.is_none_or(|id| line.instrument.as_deref() == Some(id))
                && matches!(
                    line.to,
                    AlarmState::Unacknowledged | AlarmState::Acknowledged | AlarmState::Shelved
                )
        }
        _ => false,
    })
}

/// The parts of the run-off, in their order.
pub fn phase(view: &View<'_>) -> Markup {
    let now = view.status.runoff.as_ref().map(|runoff| runoff.phase);
    let order = [
        Phase::Recirculation,
        Phase::FirstWort,
        Phase::Sparge,
        Phase::Draining,
        Phase::Finished,
    ];
    let place = now.and_then(|now| order.iter().position(|phase| *phase == now));
    html! {
        ol class="phases" {
            @for (index, phase) in order.iter().enumerate() {
                li aria-current=[(place == Some(index)).then_some("step")]
                   class=(if place.is_some_and(|place| index < place) { "past" } else { "" }) {
                    (phase_name(*phase, view.voice.language()))
                }
            }
        }
    }
}

/// The one sentence.
pub fn next(view: &View<'_>) -> Markup {
    let step = next_step(view);
    let class = step.alarm.map_or("calm", |priority| priority.name());
    html! {
        div class={ "next " (class) } {
            @if let Some(priority) = step.alarm { (priority_symbol(priority, step.unacknowledged.is_some(), view.voice)) }
            div class="said" {
                p { span class="lead" { (view.voice.words.next_lead) } " " strong { (step.text) } }
                @if !step.beside.is_empty() {
                    p class="beside" { @for sentence in &step.beside { span { (sentence) } " " } }
                }
            }
            @if let Some((link, open)) = &step.many {
                (acknowledge_all(view, "ack-next", link, *open))
            } @else if let Some(alarm) = step.unacknowledged {
                button type="button" id="ack-next" data-act="acknowledge" data-alarm=(alarm.alarm.name())
                    data-instrument=[alarm.instrument.as_deref()]
                    aria-label=(format!("{}: {}", view.voice.words.acknowledge, alarm_name(alarm.alarm, view.voice.language()))) { (view.voice.words.acknowledge) }
            }
        }
        // On a phone the order stays in sight, and this does not take the screen with it.
        @if let Some(caution) = step.caution {
            p class="caution beware" { (flag()) strong { (view.voice.words.caution) } " " (caution) }
        }
    }
}

/// One figure with its scale and its words.
struct Tile<'a> {
    name: &'a str,
    value: Option<String>,
    unit: &'a str,
    scale: Markup,
    says: String,
    /// What is abnormal, in words.
    amiss: Option<String>,
}

fn tile(tile: &Tile<'_>) -> Markup {
    html! {
        h2 { (tile.name) }
        p class={ "value" @if tile.amiss.is_some() { " amiss" } } {
            span class="num" { (tile.value.as_deref().unwrap_or(NONE)) } span class="unit" { " " (tile.unit) }
        }
        (tile.scale)
        p class="sub" {
            @if let Some(amiss) = &tile.amiss { span class="flag" { (flag()) (amiss) } " " }
            (tile.says)
        }
    }
}

pub(super) fn runoff<T>(view: &View<'_>, pick: impl Fn(&RunoffState) -> Option<T>) -> Option<T> {
    view.status.runoff.as_ref().and_then(pick)
}

pub fn kettle(view: &View<'_>) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let gravity_p = runoff(view, |it| it.kettle_gravity_p);
    let target_p = view.status.plan.as_ref().map(|plan| plan.target_gravity_p);
    let top_p = view
        .status
        .plan
        .as_ref()
        .and_then(|plan| plan.first_wort_gravity_p)
        .unwrap_or(20.0)
        .max(gravity_p.unwrap_or(0.0));
    let marks: Vec<Mark> = target_p.map(Mark::Target).into_iter().collect();
    let says = match (gravity_p, target_p) {
        (Some(now), Some(target)) => {
            let doubt = runoff(view, |it| it.kettle_gravity_se_p).unwrap_or(0.0);
            let left = voice.gravity_value(now) - voice.gravity_value(target);
            let band = voice.gravity_value(now + 1.645 * doubt) - voice.gravity_value(now);
            if left > 0.0 {
                fill(
                    words.above_target,
                    &[
                        &voice.number(left, voice.gravity_digits()),
                        &voice.gravity_with_unit(target),
                        &voice.number(band, voice.gravity_digits() + 1),
                    ],
                )
            } else {
                fill(words.target_is, &[&voice.gravity_with_unit(target)])
            }
        }
        (None, Some(target)) => fill(words.target_is, &[&voice.gravity_with_unit(target)]),
        _ => String::new(),
    };
    tile(&Tile {
        name: words.kettle_gravity,
        value: gravity_p.map(|p| voice.gravity(p)),
        unit: voice.gravity_unit(),
        scale: gauge(
            target_p.unwrap_or(10.0) - 4.0,
            top_p + 1.0,
            gravity_p,
            &marks,
        ),
        says,
        amiss: reckoned(view),
    })
}

pub fn runnings(view: &View<'_>) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let gravity_p = runoff(view, |it| it.runnings_gravity_p);
    let floor_p = view.status.plan.as_ref().map(|plan| plan.gravity_floor_p);
    let marks: Vec<Mark> = floor_p
        .map(|floor| Mark::Beyond(0.0, floor))
        .into_iter()
        .collect();
    let below = gravity_p
        .zip(floor_p)
        .is_some_and(|(now, floor)| now <= floor);
    let amiss = below
        .then(|| words.below_floor.to_owned())
        .or_else(|| no_value(view, gravity_p.is_none(), "runnings-gravity"));
    tile(&Tile {
        name: words.runnings_gravity,
        value: gravity_p.map(|p| voice.gravity(p)),
        unit: voice.gravity_unit(),
        scale: gauge(0.0, 22.0, gravity_p, &marks),
        says: floor_p.map_or(String::new(), |p| {
            fill(words.floor_is, &[&voice.gravity_with_unit(p)])
        }),
        amiss,
    })
}

pub fn acidity(view: &View<'_>) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let ph = runoff(view, |it| it.runnings_ph);
    let ceiling = view.status.plan.as_ref().map(|plan| plan.ph_ceiling);
    let marks: Vec<Mark> = ceiling
        .map(|ceiling| Mark::Beyond(ceiling, 6.6))
        .into_iter()
        .collect();
    let above = ph.zip(ceiling).is_some_and(|(now, ceiling)| now >= ceiling);
    let amiss = above
        .then(|| words.above_ceiling.to_owned())
        .or_else(|| no_value(view, ph.is_none(), "runnings-ph"));
    let basis = view.status.plan.as_ref().map(|plan| match plan.ph_basis {
        lauter_core::projection::PhBasis::Room => words.cooled,
        lauter_core::projection::PhBasis::Process => words.in_line,
    });
    tile(&Tile {
        name: words.ph_of_runnings,
        value: ph.map(|ph| voice.ph(ph)),
        unit: "pH",
        scale: gauge(5.0, 6.6, ph, &marks),
        says: ceiling.map_or(String::new(), |ceiling| {
            format!(
                "{} ({})",
                fill(words.ceiling_is, &[&voice.ph(ceiling)]),
                basis.unwrap_or_default()
            )
        }),
        amiss,
    })
}

/// Of the planned flow. Own choice.
const LEAST_PACE_SHARE: f64 = 0.1;

pub fn flow(view: &View<'_>) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let flow_l_min = runoff(view, |it| it.flow_l_min);
    let outlook = view.status.outlook.as_ref();
    // In the last litres a flow that is on time means nothing any more.
    let pace = outlook
        .map(|it| {
            (
                it.timely_flow_l_min.unwrap_or(it.planned_flow_l_min),
                it.planned_flow_l_min,
            )
        })
        .filter(|(timely, planned)| *timely > LEAST_PACE_SHARE * planned)
        .map(|(timely, _)| timely);
    let amiss = if is_met(view, AlarmId::RunoffTooFast, None) {
        Some(words.too_fast.to_owned())
    } else if is_met(view, AlarmId::RunoffTooSlow, None) {
        Some(words.too_slow.to_owned())
    } else {
        None
    };
    let top = 2.0 * pace.unwrap_or(60.0);
    let marks: Vec<Mark> = pace.map(Mark::Target).into_iter().collect();
    tile(&Tile {
        name: words.flow,
        value: flow_l_min.map(|flow| voice.flow(flow)),
        unit: voice.flow_unit(),
        scale: gauge(0.0, top, flow_l_min, &marks),
        says: pace.map_or(String::new(), |pace| {
            fill(
                words.pace_is,
                &[&format!("{} {}", voice.flow(pace), voice.flow_unit())],
            )
        }),
        amiss: amiss.or_else(|| no_value(view, flow_l_min.is_none(), "runoff-flow")),
    })
}

pub fn bed(view: &View<'_>) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let kpa = runoff(view, |it| it.pressure_drop_kpa);
    let limit = view.configuration.tun.pressure_drop_limit_kpa;
    let outlook = view.status.outlook.as_ref();
    let amiss = if kpa.is_some_and(|kpa| kpa >= limit) {
        Some(words.bed_over.to_owned())
    } else if is_met(view, AlarmId::StuckBed, None) || is_met(view, AlarmId::BedCompaction, None) {
        Some(words.bed_tight.to_owned())
    } else {
        None
    };
    let mut says = fill(
        words.limit_is,
        &[&format!("{} kPa", voice.number(limit, 2))],
    );
    if let Some(share) = kpa.map(|kpa| (1.0 - kpa / limit).max(0.0)) {
        says = format!(
            "{says} · {}",
            fill(words.headroom_is, &[&voice.percent(share, 0)])
        );
    }
    if let Some(resistance) = outlook.and_then(|it| it.bed_resistance_per_m) {
        says = format!(
            "{says} · {}",
            fill(words.resistance_is, &[&voice.resistance(resistance)])
        );
    }
    if let Some(seconds) = outlook
        .and_then(|it| it.seconds_to_pressure_limit)
        .filter(|s| *s < 3600.0)
    {
        says = format!(
            "{says} · {}",
            fill(words.limit_in, &[&voice.minutes(seconds)])
        );
    }
    tile(&Tile {
        name: words.bed,
        value: kpa.map(|kpa| voice.number(kpa, 2)),
        unit: "kPa",
        scale: gauge(0.0, 1.25 * limit, kpa, &[Mark::Beyond(limit, 1.25 * limit)]),
        says,
        amiss: amiss.or_else(|| no_value(view, kpa.is_none(), "bed-pressure-drop")),
    })
}

/// Why a figure has no value, if an instrument of that kind is there and a brew runs.
fn no_value(view: &View<'_>, missing: bool, measures: &str) -> Option<String> {
    if !missing || view.status.brew.is_none() {
        return None;
    }
    let reading = view.reading_of(measures)?;
    Some(cause_words(reading.cause?, view.voice.language()).to_owned())
}

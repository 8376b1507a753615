//! What is read at one glance and from three metres: phase, stop-point, gravities, pH, pace, bed, instruments.

use lauter_core::alarm::{AlarmId, AlarmState};
use lauter_core::projection::StopCause;
use lauter_core::supervisor::{Line, Phase, RunoffState};
use maud::{Markup, html};

use super::View;
use super::gauge::{Mark, gauge};
use super::next_step::next_step;
use super::symbols::{flag, priority_symbol};
use crate::display::terms::{cause_words, fill};
use crate::display::{NONE, Voice, alarm_name, later, phase_name};

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
            @if let Some(priority) = step.alarm { (priority_symbol(priority, true, view.voice)) }
            p { span class="lead" { (view.voice.words.next_lead) } " " strong { (step.text) } }
            @if let Some(alarm) = step.unacknowledged {
                button type="button" id="ack-next" data-act="acknowledge" data-alarm=(alarm.alarm.name())
                    data-instrument=[alarm.instrument.as_deref()]
                    aria-label=(format!("{}: {}", view.voice.words.acknowledge, alarm_name(alarm.alarm, view.voice.language()))) { (view.voice.words.acknowledge) }
            }
        }
    }
}

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
    let target = projection.and_then(|line| line.target);
    let band = target.filter(|_| stop.cause == StopCause::TargetGravity);
    html! {
        h2 { (words.stop_point) }
        p class="hero" {
            span class="num" { (voice.volume(stop.volume_l)) } span class="unit" { " " (voice.volume_unit()) }
        }
        p class="hero second" {
            @if to_go_s > 0.0 {
                span class="num" { (voice.minutes(to_go_s)) } span class="unit" { " " (words.minutes_to_go) }
                " " span class="at" { (clock_at(view, to_go_s)) }
            } @else {
                span class="unit" { (fill(words.reached_ago, &[&voice.minutes(-to_go_s)])) }
            }
        }
        (kettle_scale(view, runoff))
        p class="sub" {
            @if let Some(target) = band {
                (fill(words.band_says, &[&voice.volume(target.volume_l.p5), &voice.volume_with_unit(target.volume_l.p95)]))
                " " (fill(words.band_minutes, &[
                    &voice.minutes((target.elapsed_s.p5 - runoff.elapsed_s).max(0.0)),
                    &voice.minutes((target.elapsed_s.p95 - runoff.elapsed_s).max(0.0)),
                ])) " "
            }
            (stop_cause(stop.cause, voice))
            @if stop.top_up_l >= 1.0 {
                " " (fill(words.then_top_up, &[&voice.volume_with_unit(stop.top_up_l), &voice.volume_with_unit(stop.final_volume_l)]))
            }
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
        if let Some(target) = line.target {
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
            let left = now - target;
            if left > 0.0 && voice.gravity_unit() == "°P" {
                fill(
                    words.above_target,
                    &[
                        &voice.number(left, 1),
                        &voice.gravity_with_unit(target),
                        &voice.number(1.645 * doubt, 2),
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
        amiss: None,
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

pub fn flow(view: &View<'_>) -> Markup {
    let (voice, words) = (view.voice, view.voice.words);
    let flow_l_min = runoff(view, |it| it.flow_l_min);
    let outlook = view.status.outlook.as_ref();
    let pace = outlook.map(|it| it.timely_flow_l_min.unwrap_or(it.planned_flow_l_min));
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

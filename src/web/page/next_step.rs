//! What to do next, in one sentence, and what has to be known beside it.
//!
//! Owns the choice: the most pressing alarm whose condition stands speaks first, whether somebody has acknowledged it
//! or not; then what the figures rest on, what is shelved, what is in doubt and the pace. Only where none of these
//! speaks is there nothing to correct. It judges nothing itself.

use lauter_core::alarm::{AlarmId, AlarmState, Priority, definition};
use lauter_core::supervisor::{AlarmLine, Line, Phase, RunoffState};

use super::View;
use super::alarms::{about, of_many};
use super::footing::{channel_doubt, not_measured, silent_s};
use super::pace::pace;
use crate::display::terms::{caution, fill, response};

/// The sentence, and how pressing the alarm is that it comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct NextStep {
    pub text: String,
    pub alarm: Option<Priority>,
    /// What to beware of while the order is carried out.
    pub caution: Option<&'static str>,
    /// The alarm itself while nobody has acknowledged it.
    pub unacknowledged: Option<AlarmLine>,
    /// The link on which many faults stand together, and how many of them nobody has acknowledged.
    pub many: Option<(String, usize)>,
    /// Sentences that stand beside it, the weightiest first.
    pub beside: Vec<String>,
}

/// The alarms that are listed, the most pressing first: what gives an order before what is over, what nobody has
/// acknowledged before what somebody has, then by priority, then the newest.
pub fn standing(view: &View<'_>) -> Vec<AlarmLine> {
    let mut alarms: Vec<AlarmLine> = lines(view)
        .filter(|line| is_standing(line.to))
        .cloned()
        .collect();
    alarms.sort_by(|a, b| {
        let pressing = |line: &AlarmLine| {
            (
                gives_order(view, line),
                line.to == AlarmState::Unacknowledged,
                line.priority,
            )
        };
        pressing(b)
            .cmp(&pressing(a))
            .then(b.elapsed_s.total_cmp(&a.elapsed_s))
    });
    alarms
}

fn lines<'a>(view: &'a View<'_>) -> impl Iterator<Item = &'a AlarmLine> {
    view.status.alarms.iter().filter_map(|line| match line {
        Line::Alarm(alarm) => Some(alarm),
        _ => None,
    })
}

pub fn is_standing(state: AlarmState) -> bool {
    matches!(
        state,
        AlarmState::Unacknowledged | AlarmState::Acknowledged | AlarmState::ReturnedUnacknowledged
    )
}

/// Its condition stands and concerns what goes on now: what has returned asks only for an acknowledgement, and what
/// belongs to a brew says nothing once that brew has ended.
pub fn gives_order(view: &View<'_>, line: &AlarmLine) -> bool {
    let stands = matches!(
        line.to,
        AlarmState::Unacknowledged | AlarmState::Acknowledged
    );
    stands && (view.status.brew.is_some() || !definition(line.alarm).needs_brew())
}

/// Its order is to stop.
fn stops(alarm: AlarmId) -> bool {
    matches!(
        alarm,
        AlarmId::KettleHighLevel
            | AlarmId::StopPointReached
            | AlarmId::GravityFloor
            | AlarmId::PhCeiling
    )
}

/// The alarm whose order comes first, acknowledged or not.
fn most_pressing<'a>(view: &'a View<'_>) -> Option<&'a AlarmLine> {
    let pressing = |line: &AlarmLine| {
        let open = line.to == AlarmState::Unacknowledged;
        (line.priority, stops(line.alarm), open)
    };
    lines(view)
        .filter(|line| gives_order(view, line))
        .max_by(|a, b| {
            pressing(a)
                .cmp(&pressing(b))
                .then(a.elapsed_s.total_cmp(&b.elapsed_s))
        })
}

/// Names of what was put on the shelf while its condition stood.
fn shelved(view: &View<'_>) -> Vec<String> {
    let while_standing = |line: &&AlarmLine| {
        line.to == AlarmState::Shelved
            && matches!(
                line.from,
                AlarmState::Unacknowledged | AlarmState::Acknowledged
            )
            && (view.status.brew.is_some() || !definition(line.alarm).needs_brew())
    };
    lines(view)
        .filter(while_standing)
        .map(|line| about(view, line))
        .collect()
}

pub fn next_step(view: &View<'_>) -> NextStep {
    let words = view.voice.words;
    let pressing = most_pressing(view);
    let many = pressing.and_then(|alarm| of_many(view, alarm));
    let mut sentences: Vec<String> = Vec::new();
    sentences.extend(pressing.map(|alarm| {
        let order = response(definition(alarm.alarm), view.voice.language());
        let name = many
            .as_ref()
            .map_or_else(|| about(view, alarm), |(_, name, _)| name.clone());
        format!("{name}. {order}")
    }));
    sentences.extend(not_measured(view));
    let shelved = shelved(view);
    if !shelved.is_empty() {
        sentences.push(fill(words.next_shelved, &[&shelved.join(", ")]));
    }
    let doubt = channel_doubt(view);
    let in_doubt = doubt.is_some();
    sentences.extend(doubt);
    let quiet = sentences.is_empty();
    let stopping = pressing.is_some_and(|alarm| stops(alarm.alarm));
    // A stop-point in doubt is not given as an order.
    if !stopping && !in_doubt {
        let urgent = pressing.is_some_and(|alarm| alarm.priority >= Priority::High);
        sentences.extend(course(view, quiet, urgent));
    }
    let mut sentences = sentences.into_iter();
    NextStep {
        text: sentences.next().unwrap_or_default(),
        alarm: pressing.map(|alarm| alarm.priority),
        caution: pressing.and_then(|alarm| caution(definition(alarm.alarm), view.voice.language())),
        unacknowledged: pressing
            .filter(|alarm| alarm.to == AlarmState::Unacknowledged)
            .cloned(),
        many: many
            .filter(|(_, _, open)| *open > 0)
            .map(|(link, _, open)| (link, open)),
        beside: sentences.collect(),
    }
}

/// What the phase asks for; `quiet` while nothing else has been said, `urgent` where an order must not be met by
/// another one about the pace.
fn course(view: &View<'_>, quiet: bool, urgent: bool) -> Vec<String> {
    let words = view.voice.words;
    let one = |sentence: &str| vec![sentence.to_owned()];
    let Some(runoff) = &view.status.runoff else {
        return match (&view.status.brew, quiet) {
            (Some(_), _) => one(words.next_waiting),
            (None, true) => one(words.next_no_brew),
            (None, false) => Vec::new(),
        };
    };
    match runoff.phase {
        Phase::Idle => one(words.next_waiting),
        Phase::Recirculation => one(words.next_recirculation),
        Phase::Finished => one(words.next_finished),
        // What was projected before says nothing about now; that has been said already.
        Phase::Draining | Phase::FirstWort | Phase::Sparge if silent_s(view).is_some() => {
            Vec::new()
        }
        Phase::Draining => draining(view, runoff),
        Phase::FirstWort | Phase::Sparge => running(view, runoff, quiet, urgent),
    }
}

/// The projected stop-point lies behind.
fn is_past(view: &View<'_>, runoff: &RunoffState) -> bool {
    let stop = view.status.projection.as_ref().and_then(|line| line.stop);
    stop.is_some_and(|stop| stop.elapsed_s <= runoff.elapsed_s)
}

fn running(view: &View<'_>, runoff: &RunoffState, quiet: bool, urgent: bool) -> Vec<String> {
    let words = view.voice.words;
    if is_past(view, runoff) {
        return vec![words.next_reached.to_owned()];
    }
    match pace(view, runoff) {
        None => vec![words.next_early.to_owned()],
        Some(pace) => match pace.correction.filter(|_| !urgent) {
            Some(correction) => vec![correction, pace.plan],
            None if quiet => vec![pace.calm],
            None => vec![pace.plan],
        },
    }
}

fn draining(view: &View<'_>, runoff: &RunoffState) -> Vec<String> {
    let (voice, words) = (view.voice, view.voice.words);
    if is_past(view, runoff) {
        return vec![words.next_reached.to_owned()];
    }
    let stop = view.status.projection.as_ref().and_then(|line| line.stop);
    vec![stop.map_or_else(
        || words.next_early.to_owned(),
        |stop| {
            let minutes = voice.minutes(stop.elapsed_s - runoff.elapsed_s);
            fill(
                words.next_draining,
                &[&voice.volume_with_unit(stop.volume_l), &minutes],
            )
        },
    )]
}

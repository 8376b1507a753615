//! What to do next, in one sentence.
//!
//! Owns the choice: the most pressing alarm speaks first, with its own response; without one, the phase of the
//! run-off does. It judges nothing itself.

use lauter_core::alarm::{AlarmState, Priority, definition};
use lauter_core::supervisor::{AlarmLine, Line, Phase, RunoffState};

use super::View;
use crate::display::terms::{fill, response};

/// The sentence, and how pressing the alarm is that it comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct NextStep {
    pub text: String,
    pub alarm: Option<Priority>,
    /// The alarm itself while nobody has acknowledged it.
    pub unacknowledged: Option<AlarmLine>,
}

/// The alarms that stand, the most pressing first: what nobody has acknowledged before what somebody has, then by
/// priority, then the newest.
pub fn standing(view: &View<'_>) -> Vec<AlarmLine> {
    let mut alarms: Vec<AlarmLine> = view
        .status
        .alarms
        .iter()
        .filter_map(|line| match line {
            Line::Alarm(alarm) if is_standing(alarm.to) => Some(alarm.clone()),
            _ => None,
        })
        .collect();
    alarms.sort_by(|a, b| {
        let pressing = |line: &AlarmLine| (line.to == AlarmState::Unacknowledged, line.priority);
        pressing(b)
            .cmp(&pressing(a))
            .then(b.elapsed_s.total_cmp(&a.elapsed_s))
    });
    alarms
}

pub fn is_standing(state: AlarmState) -> bool {
    matches!(
        state,
        AlarmState::Unacknowledged | AlarmState::Acknowledged | AlarmState::ReturnedUnacknowledged
    )
}

pub fn next_step(view: &View<'_>) -> NextStep {
    let pressing = standing(view).into_iter().find(|alarm| {
        alarm.to == AlarmState::Unacknowledged
            || (alarm.to == AlarmState::Acknowledged && alarm.priority >= Priority::High)
    });
    if let Some(alarm) = pressing {
        return NextStep {
            text: response(definition(alarm.alarm), view.voice.language()).to_owned(),
            alarm: Some(alarm.priority),
            unacknowledged: Some(alarm).filter(|it| it.to == AlarmState::Unacknowledged),
        };
    }
    NextStep {
        text: calm(view),
        alarm: None,
        unacknowledged: None,
    }
}

fn calm(view: &View<'_>) -> String {
    let words = view.voice.words;
    let Some(runoff) = &view.status.runoff else {
        return if view.status.brew.is_some() {
            words.next_waiting
        } else {
            words.next_no_brew
        }
        .to_owned();
    };
    match runoff.phase {
        Phase::Idle => words.next_waiting.to_owned(),
        Phase::Recirculation => words.next_recirculation.to_owned(),
        Phase::Finished => words.next_finished.to_owned(),
        Phase::Draining => stop_sentence(view, runoff, words.next_draining),
        Phase::FirstWort | Phase::Sparge => stop_sentence(view, runoff, words.next_running),
    }
}

/// A sentence with pace, volume and minutes, once there is a stop-point to speak of.
fn stop_sentence(view: &View<'_>, runoff: &RunoffState, sentence: &str) -> String {
    let voice = view.voice;
    let pace = view.status.outlook.as_ref();
    let flow = pace
        .and_then(|outlook| outlook.timely_flow_l_min)
        .or(pace.map(|outlook| outlook.planned_flow_l_min));
    let stop = view.status.projection.as_ref().and_then(|line| line.stop);
    match (stop, flow) {
        (Some(stop), _) if stop.elapsed_s <= runoff.elapsed_s => {
            voice.words.next_reached.to_owned()
        }
        (Some(stop), Some(flow)) => fill(
            sentence,
            &[
                &format!("{} {}", voice.flow(flow), voice.flow_unit()),
                &voice.volume_with_unit(stop.volume_l),
                &voice.minutes(stop.elapsed_s - runoff.elapsed_s),
            ],
        ),
        _ => voice.words.next_early.to_owned(),
    }
}

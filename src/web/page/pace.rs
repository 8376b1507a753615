//! Whether the run-off keeps its time, in one sentence that names a flow and the minutes that belong to it.
//!
//! Owns the wording and from when a wrong pace is spoken of; what the bed can take is the core's to say.

use lauter_core::alarm::AlarmId;
use lauter_core::supervisor::{Outlook, RunoffState};

use super::View;
use super::glance::is_met;
use crate::display::terms::fill;

/// Flow this far from the pace that is on time is spoken of, share, when it costs at least so many seconds. Own choice:
/// less is within what a valve by hand can do.
const WRONG_SHARE: f64 = 0.1;
const WRONG_S: f64 = 120.0;

/// What the present flow leads to.
#[derive(Clone, Debug, PartialEq)]
pub struct Pace {
    /// What to change; None while the pace is right or nobody can tell.
    pub correction: Option<String>,
    /// Flow, volume and minutes that belong together.
    pub plan: String,
    /// The same as the sentence of a run-off in which nothing is wrong.
    pub calm: String,
}

/// None before there is a stop-point ahead.
pub fn pace(view: &View<'_>, runoff: &RunoffState) -> Option<Pace> {
    let (voice, words) = (view.voice, view.voice.words);
    let stop = view.status.projection.as_ref()?.stop?;
    let to_go_s = stop.elapsed_s - runoff.elapsed_s;
    let volume = voice.volume_with_unit(stop.volume_l);
    let minutes = voice.minutes(to_go_s);
    let flow = |l_min: f64| format!("{} {}", voice.flow(l_min), voice.flow_unit());
    let Some(now_l_min) = runoff.flow_l_min.filter(|flow| *flow > 0.0) else {
        let plan = fill(words.stop_then, &[&volume, &minutes]);
        return Some(Pace {
            correction: None,
            calm: plan.clone(),
            plan,
        });
    };
    let figures = [flow(now_l_min), volume, minutes];
    let figures: Vec<&str> = figures.iter().map(String::as_str).collect();
    let outlook = view.status.outlook.as_ref();
    Some(Pace {
        correction: outlook.and_then(|it| correction(view, runoff, it, now_l_min, to_go_s)),
        plan: fill(words.at_present, &figures),
        calm: fill(words.next_running, &figures),
    })
}

fn correction(
    view: &View<'_>,
    runoff: &RunoffState,
    outlook: &Outlook,
    now_l_min: f64,
    to_go_s: f64,
) -> Option<String> {
    let (voice, words) = (view.voice, view.voice.words);
    let Some(timely_l_min) = outlook.timely_flow_l_min else {
        return outlook
            .since_start_s
            .map(|_| words.planned_end_passed.to_owned());
    };
    let late_s = to_go_s * (1.0 - now_l_min / timely_l_min.max(1e-6));
    let off = (now_l_min / timely_l_min.max(1e-6) - 1.0).abs() > WRONG_SHARE;
    if !off || late_s.abs() < WRONG_S {
        return None;
    }
    let flow = |l_min: f64| format!("{} {}", voice.flow(l_min), voice.flow_unit());
    let minutes = voice.minutes(late_s.abs());
    let (now, timely) = (flow(now_l_min), flow(timely_l_min));
    let detect = lauter_core::detect::Parameters::default();
    if late_s < 0.0 {
        return Some(fill(words.next_fast, &[&timely, &now, &minutes]));
    }
    // A run-off is opened slowly, and nobody calls that slow.
    if outlook
        .since_start_s
        .is_none_or(|s| s < detect.slow_start_s)
    {
        return None;
    }
    let has_room = runoff.pressure_drop_kpa.is_some_and(|kpa| {
        kpa * timely_l_min / now_l_min < detect.compaction_share * outlook.pressure_drop_limit_kpa
    });
    let tight = [
        AlarmId::StuckBed,
        AlarmId::BedCompaction,
        AlarmId::Channelling,
    ]
    .into_iter()
    .any(|alarm| is_met(view, alarm, None));
    // Who sees to the bed, or may have to, is not told to pull harder on it.
    if tight || outlook.channel_doubt.is_some() {
        return None;
    }
    Some(if has_room {
        fill(words.next_slow, &[&timely, &now, &minutes])
    } else {
        fill(words.next_slow_tight, &[&now, &minutes])
    })
}

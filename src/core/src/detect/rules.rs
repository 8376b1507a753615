//! The rules that need no memory of their own: each looks at the present estimates.
//!
//! Owns thresholds and wording. A rule that is on asks for the deadband less before it goes off, so that a
//! value at its limit does not chatter.

use super::{AlarmId, Finding, Parameters, View, disagreement};
use crate::projection::StopCause;

/// How a rule is held: whether its alarm is on now, and its deadband and site limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Held {
    pub active: bool,
    pub deadband: f64,
    pub limit: Option<f64>,
}

impl Held {
    pub(super) fn above(&self, value: f64, limit: f64) -> bool {
        value >= limit - if self.active { self.deadband } else { 0.0 }
    }

    fn below(&self, value: f64, limit: f64) -> bool {
        value <= limit + if self.active { self.deadband } else { 0.0 }
    }
}

/// A rule says nothing where it cannot tell.
type Rule = fn(&Parameters, &View, Held) -> Option<Finding>;

/// Adds all conditions of the brew but channelling to `findings`. `held` tells how each alarm stands.
pub fn conditions(
    parameters: &Parameters,
    view: &View,
    held: &dyn Fn(AlarmId) -> Held,
    findings: &mut Vec<Finding>,
) {
    let rules: [(AlarmId, Rule); 11] = [
        (AlarmId::BedCompaction, bed_compaction),
        (AlarmId::StuckBed, stuck_bed),
        (AlarmId::GravityFloor, gravity_floor),
        (AlarmId::PhCeiling, ph_ceiling),
        (AlarmId::TanninLimitAhead, tannin_limit_ahead),
        (AlarmId::StopPointAhead, stop_point_ahead),
        (AlarmId::StopPointReached, stop_point_reached),
        (AlarmId::KettleHighLevel, kettle_high_level),
        (AlarmId::RunoffTooFast, runoff_too_fast),
        (AlarmId::RunoffTooSlow, runoff_too_slow),
        (AlarmId::TurbidRunnings, turbid_runnings),
    ];
    findings.extend(
        rules
            .into_iter()
            .filter_map(|(alarm, rule)| rule(parameters, view, held(alarm))),
    );
    let held = held(AlarmId::InstrumentsDisagree);
    disagreement::find(parameters, view, held, findings);
}

fn bed_compaction(parameters: &Parameters, view: &View, held: Held) -> Option<Finding> {
    let pressure_drop_kpa = view.pressure_drop_kpa?;
    let limit_kpa = held.limit.unwrap_or(view.pressure_drop_limit_kpa);
    let share = pressure_drop_kpa / limit_kpa;
    let near = held.above(share, parameters.compaction_share);
    // After a pause or the rakes the bed finds its pressure anew, which looks like a steep trend.
    let settled = held.active || view.undisturbed_s >= parameters.trend_after_s;
    let soon = view.seconds_to_pressure_limit.is_some_and(|seconds| {
        settled && seconds <= parameters.compaction_ahead_s * if held.active { 1.5 } else { 1.0 }
    });
    let holds = view.flowing && ((near && soon) || held.above(share, 1.0));
    let message = || {
        let ahead = view
            .seconds_to_pressure_limit
            .filter(|_| share < 1.0)
            .map_or_else(String::new, |seconds| {
                format!(" It reaches the limit in about {}.", minutes(seconds))
            });
        format!(
            "The bed is being pulled tight: pressure drop {pressure_drop_kpa:.2} kPa of {limit_kpa:.2} kPa.{ahead}"
        )
    };
    Some(
        Finding::new(AlarmId::BedCompaction, holds, message)
            .with("pressure_drop_kpa", pressure_drop_kpa)
            .with("pressure_drop_limit_kpa", limit_kpa)
            .with(
                "time_to_limit_s",
                view.seconds_to_pressure_limit.unwrap_or(f64::NAN),
            ),
    )
}

/// So near its limit that flow is not wanting for pull.
pub fn is_pulled(pressure_drop_kpa: f64, limit_kpa: f64) -> bool {
    pressure_drop_kpa >= 0.85 * limit_kpa
}

fn stuck_bed(parameters: &Parameters, view: &View, held: Held) -> Option<Finding> {
    let flow_l_min = view.flow_l_min?;
    let usual_l_min = view.usual_flow_l_min?;
    let lost = held.below(
        flow_l_min / usual_l_min,
        held.limit.unwrap_or(parameters.stuck_flow_share),
    );
    let pulled = match (view.pressure_drop_kpa, view.pump_running) {
        (Some(pressure_drop_kpa), _) => is_pulled(pressure_drop_kpa, view.pressure_drop_limit_kpa),
        // A pump that has just started is still opening up.
        (None, Some(running)) => running && view.pulled_s >= parameters.opening_up_s,
        // Nothing tells a closed valve from a stuck bed.
        (None, None) => return None,
    };
    let message = || {
        format!(
            "The bed is stuck: {flow_l_min:.0} L/min of the usual {usual_l_min:.0} L/min although it is being pulled."
        )
    };
    Some(
        Finding::new(
            AlarmId::StuckBed,
            lost && pulled && !view.recirculating,
            message,
        )
        .with("flow_l_min", flow_l_min)
        .with("usual_flow_l_min", usual_l_min)
        .with(
            "pressure_drop_kpa",
            view.pressure_drop_kpa.unwrap_or(f64::NAN),
        ),
    )
}

/// The pipe and the first litres may hold water: before this share of the run-off no floor is judged.
const FIRST_SHARE: f64 = 0.05;

fn gravity_floor(_: &Parameters, view: &View, held: Held) -> Option<Finding> {
    let runnings_p = view.runnings_gravity_p?;
    let floor_p = held.limit.unwrap_or(view.gravity_floor_p);
    let holds = (view.flowing || held.active)
        && view.runoff_share > FIRST_SHARE
        && held.below(runnings_p, floor_p);
    let message = || {
        format!(
            "Runnings gravity {runnings_p:.2} °P has come down to the floor of {floor_p:.1} °P.{}",
            top_up(view)
        )
    };
    Some(
        Finding::new(AlarmId::GravityFloor, holds, message)
            .with("runnings_gravity_p", runnings_p)
            .with("gravity_floor_p", floor_p),
    )
}

fn ph_ceiling(_: &Parameters, view: &View, held: Held) -> Option<Finding> {
    let ph = view.runnings_ph?;
    let ceiling = held.limit.unwrap_or(view.ph_ceiling);
    let holds =
        (view.flowing || held.active) && view.runoff_share > FIRST_SHARE && held.above(ph, ceiling);
    let message = || {
        format!(
            "Runnings pH {ph:.2} has risen to the ceiling of pH {ceiling:.2}.{}",
            top_up(view)
        )
    };
    Some(
        Finding::new(AlarmId::PhCeiling, holds, message)
            .with("runnings_ph", ph)
            .with("ph_ceiling", ceiling),
    )
}

/// Warns when a limit is likely to come soon, and later also when it may come: a warning that comes too late is worth
/// nothing, and what the electrode's calibration hides no reading shows.
#[allow(clippy::unnecessary_wraps, reason = "one shape for all rules")]
fn tannin_limit_ahead(parameters: &Parameters, view: &View, held: Held) -> Option<Finding> {
    let target_s = view
        .target
        .map_or(f64::INFINITY, |target| target.elapsed_s.p50);
    let likely = [
        (view.gravity_floor, false),
        (view.ph_ceiling_crossing, true),
    ]
    .into_iter()
    .filter_map(|(crossing, is_ceiling)| Some((crossing?.elapsed_s.p50, is_ceiling)))
    .min_by(|a, b| a.0.total_cmp(&b.0))
    .filter(|(elapsed_s, _)| *elapsed_s < target_s);
    let limit_s = held.limit.unwrap_or(view.limit_ahead_s);
    let soon = |elapsed_s: f64, within_s: f64| held.below(elapsed_s - view.elapsed_s, within_s);
    let is_likely = likely.is_some_and(|(elapsed_s, _)| soon(elapsed_s, limit_s));
    let may_come = view
        .early_limit
        .is_some_and(|early| soon(early.elapsed_s, parameters.early_limit_share * limit_s));
    let possible = view
        .early_limit
        .map(|early| (early.elapsed_s, early.is_ceiling));
    let Some((elapsed_s, is_ceiling)) = likely.or(possible) else {
        return Some(Finding::gone(AlarmId::TanninLimitAhead));
    };
    let holds = view.flowing && view.runoff_share > FIRST_SHARE && (is_likely || may_come);
    let ahead_s = elapsed_s - view.elapsed_s;
    let (name, key, limit) = if is_ceiling {
        ("the pH ceiling", "ph_ceiling", view.ph_ceiling)
    } else {
        ("the gravity floor", "gravity_floor_p", view.gravity_floor_p)
    };
    let verb = if is_likely { "reach" } else { "may reach" };
    let message = || {
        format!(
            "Runnings {verb} {name} in about {}, before the kettle is at its target.{}",
            minutes(ahead_s.max(0.0)),
            top_up(view)
        )
    };
    Some(
        Finding::new(AlarmId::TanninLimitAhead, holds, message)
            .with("time_to_limit_s", ahead_s)
            .with(key, limit),
    )
}

fn stop_point_ahead(_: &Parameters, view: &View, held: Held) -> Option<Finding> {
    let stop = view.stop?;
    let ahead_s = stop.elapsed_s - view.elapsed_s;
    let limit_s = held.limit.unwrap_or(view.stop_ahead_s);
    // Of a tannin limit its own warning speaks: one cause, one alarm.
    let at_target = !matches!(stop.cause, StopCause::GravityFloor | StopCause::PhCeiling);
    let holds = view.flowing
        && view.runoff_share > FIRST_SHARE
        && at_target
        && ahead_s > 0.0
        && held.below(ahead_s, limit_s);
    let message = || {
        format!(
            "The stop-point is about {} away, at {:.0} L in the kettle.{}",
            minutes(ahead_s.max(0.0)),
            stop.volume_l,
            top_up(view)
        )
    };
    Some(
        Finding::new(AlarmId::StopPointAhead, holds, message)
            .with("time_to_stop_s", ahead_s)
            .with("stop_volume_l", stop.volume_l),
    )
}

fn stop_point_reached(_: &Parameters, view: &View, held: Held) -> Option<Finding> {
    let kettle_p = view.contents.gravity_p?;
    let target_p = held.limit.unwrap_or(view.target_gravity_p);
    let holds = view.target_was_ahead && held.below(kettle_p, target_p);
    let message = || {
        format!(
            "Kettle gravity {kettle_p:.2} °P has come down to the target of {target_p:.2} °P at {:.0} L. Stop the run-off now.",
            view.contents.volume_l
        )
    };
    Some(
        Finding::new(AlarmId::StopPointReached, holds, message)
            .with("kettle_gravity_p", kettle_p)
            .with("kettle_gravity_se_p", view.contents.gravity_se_p)
            .with("kettle_volume_l", view.contents.volume_l),
    )
}

#[allow(clippy::unnecessary_wraps, reason = "one shape for all rules")]
fn kettle_high_level(parameters: &Parameters, view: &View, held: Held) -> Option<Finding> {
    let limit_l = held
        .limit
        .unwrap_or(parameters.high_level_share * view.capacity_l);
    let deadband_l = held.deadband * view.capacity_l;
    let held = Held {
        deadband: deadband_l,
        ..held
    };
    let volume_l = view.contents.volume_l;
    let message = || {
        format!(
            "The kettle holds {volume_l:.0} L of {:.0} L: it is nearly full. Stop the run-off now.",
            view.capacity_l
        )
    };
    Some(
        Finding::new(
            AlarmId::KettleHighLevel,
            held.above(volume_l, limit_l),
            message,
        )
        .with("kettle_volume_l", volume_l)
        .with("capacity_l", view.capacity_l),
    )
}

fn runoff_too_fast(parameters: &Parameters, view: &View, held: Held) -> Option<Finding> {
    let share = view.flow_l_min? / view.planned_flow_l_min;
    let holds = held.above(share, held.limit.unwrap_or(parameters.too_fast_share));
    wrong_pace(AlarmId::RunoffTooFast, view, holds)
}

fn runoff_too_slow(parameters: &Parameters, view: &View, held: Held) -> Option<Finding> {
    let share = view.flow_l_min? / view.planned_flow_l_min;
    let holds = view.since_start_s >= parameters.slow_start_s
        && held.below(share, held.limit.unwrap_or(parameters.too_slow_share));
    wrong_pace(AlarmId::RunoffTooSlow, view, holds)
}

/// A pause is the brewer's decision and no wrong pace.
fn wrong_pace(alarm: AlarmId, view: &View, holds: bool) -> Option<Finding> {
    let flow_l_min = view.flow_l_min?;
    let message = || {
        format!(
            "Flow is {flow_l_min:.0} L/min; the plan's pace is {:.0} L/min. {}",
            view.planned_flow_l_min,
            view.timely_flow_l_min.map_or_else(
                || "The planned end has passed.".to_owned(),
                |timely_l_min| format!("From here {timely_l_min:.0} L/min finish on time.")
            )
        )
    };
    Some(
        Finding::new(alarm, view.flowing && holds, message)
            .with("flow_l_min", flow_l_min)
            .with("planned_flow_l_min", view.planned_flow_l_min)
            .with(
                "timely_flow_l_min",
                view.timely_flow_l_min.unwrap_or(f64::NAN),
            ),
    )
}

fn turbid_runnings(parameters: &Parameters, view: &View, held: Held) -> Option<Finding> {
    let turbidity_ebc = view.turbidity_ebc?;
    let limit_ebc = held.limit.unwrap_or(parameters.turbid_ebc);
    // While the wort goes back to the tun it may be cloudy: that is what recirculation is for.
    // The rakes stir the bed up for some minutes, and everybody knows.
    let stirred = view
        .seconds_since_raking
        .is_some_and(|seconds| seconds < parameters.settling_s);
    let clear_enough = stirred
        || !held.above(turbidity_ebc, limit_ebc)
        || clears_by_itself(parameters, view, turbidity_ebc, limit_ebc);
    let holds = view.flowing && !view.recirculating && !clear_enough;
    let message =
        || format!("The runnings are cloudy: {turbidity_ebc:.0} EBC, limit {limit_ebc:.0} EBC.");
    Some(
        Finding::new(AlarmId::TurbidRunnings, holds, message)
            .with("turbidity_ebc", turbidity_ebc)
            .with("turbidity_limit_ebc", limit_ebc),
    )
}

/// Loose solids are washed out exponentially: at the present rate the runnings are clear before anybody could have
/// turned them back and settled the bed again.
fn clears_by_itself(
    parameters: &Parameters,
    view: &View,
    turbidity_ebc: f64,
    limit_ebc: f64,
) -> bool {
    let fall_ebc_s = -view.turbidity_rate_ebc_s.unwrap_or(0.0);
    fall_ebc_s > 0.0
        && turbidity_ebc / fall_ebc_s * (turbidity_ebc / limit_ebc).ln() <= parameters.settling_s
}

fn top_up(view: &View) -> String {
    match view.stop {
        Some(stop) if stop.top_up_l >= 1.0 => format!(
            " Stop at {:.0} L and top up with {:.0} L of liquor to {:.0} L.",
            stop.volume_l, stop.top_up_l, stop.final_volume_l
        ),
        _ => String::new(),
    }
}

pub(super) fn minutes(seconds: f64) -> String {
    if seconds < 90.0 {
        format!("{seconds:.0} s")
    } else {
        format!("{:.0} min", seconds / 60.0)
    }
}

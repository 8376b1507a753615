//! A whole run-off with the tun's own settings, simulated and faster than life.
//!
//! Owns what is asked of it: the stop-point that the service calls is that of the simulator's truth, and no alarm comes
//! that a calm brew has no reason for. Faster than life, every pause of disk or broker lasts as many times longer: a late
//! delivery is told, and no fault of the tun.

use lauter_core::alarm::AlarmId;
use simulators::Scenario;

use super::trial::{Expected, Outcome, Trial};

/// Largest error of the called stop-point, share of the true volume. Own choice: instruments of the demonstration's
/// quality stay well below one per cent.
const STOP_POINT_WITHIN: f64 = 0.02;

/// Alarms that belong to the end of every run-off.
const BELONGING: [AlarmId; 3] = [
    AlarmId::StopPointAhead,
    AlarmId::StopPointReached,
    AlarmId::TanninLimitAhead,
];

/// A calm brew to a little past its target.
pub fn trial(base: &Scenario) -> Trial {
    let mut scenario = base.clone();
    scenario.influx = None;
    scenario.run.past_target_s = 600.0;
    scenario.run.longest_s = 2.0 * 60.0 * scenario.plan.runoff_minutes;
    Trial {
        name: "dry-run",
        scenario,
        expected: vec![Expected {
            alarm: AlarmId::StopPointReached,
            at_s: 0.0,
            fault: None,
            provoked_by: "a run-off at its target".to_owned(),
        }],
        beside: Vec::new(),
        to_the_end: true,
    }
}

/// What it showed: Ok when all is as it should be, else what is not.
pub fn judged(outcome: &Outcome) -> Result<String, String> {
    let summary = outcome
        .summary
        .as_ref()
        .ok_or("no summary of the brew came to the broker")?;
    let truth = outcome
        .truth
        .ok_or("the simulated kettle never came down to its target; give a plan that fits this tun (--plan)")?;
    let called_l = summary
        .stop_volume_l
        .ok_or("the service called no stop-point")?;
    let error = called_l / truth.volume_l - 1.0;
    let late = if outcome.others.contains(&AlarmId::DeliveryDelayed) {
        "; the record or the broker came late at this speed"
    } else {
        ""
    };
    let reading = format!(
        "stop-point {called_l:.0} L, true {:.0} L ({:+.2} %); {} readings, {} rejected{late}",
        truth.volume_l,
        100.0 * error,
        summary.readings,
        summary.rejected
    );
    let strange: Vec<&str> = outcome
        .others
        .iter()
        .filter(|alarm| !BELONGING.contains(alarm) && **alarm != AlarmId::DeliveryDelayed)
        .map(|alarm| alarm.name())
        .collect();
    if error.abs() > STOP_POINT_WITHIN {
        return Err(format!(
            "{reading}: more than {:.0} % apart",
            100.0 * STOP_POINT_WITHIN
        ));
    }
    if !strange.is_empty() {
        return Err(format!(
            "{reading}; alarms without a reason: {}",
            strange.join(", ")
        ));
    }
    Ok(reading)
}

#[cfg(test)]
mod tests {
    use lauter_core::supervisor::{StopCause, SummaryLine};
    use simulators::Crossing;

    use super::*;

    fn outcome(others: &[AlarmId]) -> Outcome {
        let summary = SummaryLine {
            stop_volume_l: Some(4616.0),
            stop_elapsed_s: Some(5400.0),
            stop_cause: StopCause::TargetGravity,
            kettle_gravity_p: Some(12.4),
            extract_kg: Some(600.0),
            brew_length_l_per_kg: Some(4.7),
            readings: 56_890,
            rejected: 47,
        };
        Outcome {
            seen: Vec::new(),
            others: others.to_vec(),
            summary: Some(summary),
            truth: Some(Crossing {
                elapsed_s: 5400.0,
                volume_l: 4617.0,
            }),
        }
    }

    #[test]
    fn an_alarm_without_a_reason_fails_the_dry_run_and_a_late_delivery_is_only_told() {
        assert!(judged(&outcome(&BELONGING)).is_ok());
        let words = judged(&outcome(&[AlarmId::Channelling])).expect_err("a calm brew");
        assert!(words.contains("without a reason: channelling"), "{words}");
        let late = judged(&outcome(&[AlarmId::DeliveryDelayed])).expect("as it should be");
        assert!(late.contains("came late at this speed"), "{late}");
    }
}

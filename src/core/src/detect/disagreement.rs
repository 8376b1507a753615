//! Instruments that contradict each other, or the hand samples.
//!
//! Owns which instrument is named and in what words. Each instrument has one finding, so that its alarm also returns.

use super::{AlarmId, Finding, Held, Parameters, View, VolumeChange};

/// One finding for each instrument that can be contradicted.
pub(super) fn find(parameters: &Parameters, view: &View, held: Held, found: &mut Vec<Finding>) {
    found.extend(level_disagrees(parameters, view, held));
    found.extend(kettle_gravity_disagrees(parameters, view, held));
    found.extend(flow_disagrees(view));
    let sampled = view.sampled.iter().flatten();
    found.extend(sampled.map(|(instrument, sum)| sampled_otherwise(parameters, instrument, *sum)));
}

fn sampled_otherwise(parameters: &Parameters, instrument: &str, sum: f64) -> Finding {
    let message =
        || format!("Hand samples contradict {instrument} ({sum:+.1} standard deviations in sum).");
    Finding::new(
        AlarmId::InstrumentsDisagree,
        sum.abs() > parameters.sample_deviations,
        message,
    )
    .about(instrument)
    .with("sample_standard_deviations", sum)
}

/// The flow meter is more likely wrong than the level it is compared with.
fn flow_disagrees(view: &View) -> Option<Finding> {
    let flow = view.flow_instrument?;
    let change = view.volume_change.as_ref();
    let change = change.filter(|change| change.suspect == flow);
    Some(match change {
        Some(change) => volume_changed(change),
        None => Finding::gone(AlarmId::InstrumentsDisagree).about(flow),
    })
}

fn volume_changed(change: &VolumeChange) -> Finding {
    let message = || {
        format!(
            "Kettle level and summed flow have drifted {:.0} L apart since minute {:.0}: {} is more likely wrong than {}.",
            change.difference_l.abs(),
            change.since_minutes,
            change.suspect,
            change.other
        )
    };
    Finding::new(AlarmId::InstrumentsDisagree, true, message)
        .about(&change.suspect)
        .with("level_minus_flow_l", change.difference_l)
}

fn level_disagrees(parameters: &Parameters, view: &View, held: Held) -> Option<Finding> {
    let (instrument, deviations) = view.level_disagreement.as_ref()?;
    match &view.volume_change {
        Some(change) if change.suspect == *instrument => return Some(volume_changed(change)),
        // The other one is suspected.
        Some(_) => {
            let quiet = Finding::gone(AlarmId::InstrumentsDisagree);
            return Some(quiet.about(instrument));
        }
        None => {}
    }
    let hint = if *deviations < 0.0 {
        " If wort is going back to the tun, an instrument that measures `recirculating` has to say so."
    } else {
        ""
    };
    let message = || {
        format!(
            "The kettle level contradicts the sum of the flow ({deviations:+.1} standard deviations).{hint}"
        )
    };
    Some(disagreement(
        parameters,
        held,
        instrument,
        *deviations,
        message,
    ))
}

fn kettle_gravity_disagrees(parameters: &Parameters, view: &View, held: Held) -> Option<Finding> {
    let (instrument, deviations) = view.kettle_gravity_disagreement.as_ref()?;
    let message = || {
        format!(
            "The kettle gravity meter contradicts the extract balance ({deviations:+.1} standard deviations)."
        )
    };
    Some(disagreement(
        parameters,
        held,
        instrument,
        *deviations,
        message,
    ))
}

fn disagreement(
    parameters: &Parameters,
    held: Held,
    instrument: &str,
    deviations: f64,
    message: impl FnOnce() -> String,
) -> Finding {
    let limit = held.limit.unwrap_or(parameters.disagreement_deviations);
    Finding::new(
        AlarmId::InstrumentsDisagree,
        held.above(deviations.abs(), limit),
        message,
    )
    .about(instrument)
    .with("disagreement_standard_deviations", deviations)
}

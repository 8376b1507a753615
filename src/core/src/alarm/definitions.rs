//! The rationalised alarm table: why each alarm exists and what its reader is to do.
//!
//! Owns priority, delays, deadband, cause, consequence, response and caution of every alarm, in one place, as
//! IEC 62682 asks: an alarm without a response is not an alarm. It does not decide when one is true.

use serde::Serialize;

use super::identity::Priority;
use crate::detect::AlarmId;

/// One row of the table.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Definition {
    pub alarm: AlarmId,
    pub priority: Priority,
    /// The condition must last this long before the alarm is annunciated, s.
    pub on_delay_s: f64,
    /// It must be gone this long before the alarm returns, s.
    pub off_delay_s: f64,
    /// How far the value must come back before the condition counts as gone, in `deadband_unit`.
    pub deadband: f64,
    pub deadband_unit: &'static str,
    pub cause: &'static str,
    /// What happens if nobody does anything.
    pub consequence: &'static str,
    /// The next step.
    pub response: &'static str,
    /// Empty where the response puts nobody at risk.
    pub caution: &'static str,
    /// Common practice, no source.
    pub time_to_respond: &'static str,
}

const RAKE_CAUTION: &str = "Rakes are rotating machinery: keep guards and interlocks in place, never open a manway or reach \
     in with rakes powered, follow the site's lock-out procedure and local code. Hot wort and liquor scald.";
const SCALD_CAUTION: &str = "Hot wort and liquor scald.";
const KETTLE_CAUTION: &str = "Never fill a kettle on this message alone: the hard-wired high-level trip stands. Hot wort scalds.";
const INSTRUMENT_CAUTION: &str = "Isolate and release pressure before opening a fitting; hot wort and cleaning chemicals injure. \
     Instruments and limits are set by competent people on site.";

/// The row of one alarm.
pub fn definition(alarm: AlarmId) -> Definition {
    DEFINITIONS[AlarmId::ALL.iter().position(|id| *id == alarm).unwrap_or(0)]
}

/// All rows, in the order of `AlarmId::ALL`.
pub const DEFINITIONS: [Definition; 16] = [
    Definition {
        alarm: AlarmId::Channelling,
        priority: Priority::High,
        on_delay_s: 15.0,
        off_delay_s: 300.0,
        deadband: 0.05,
        deadband_unit: "share of bed resistance",
        cause: "Liquor has found a channel through the bed: runnings fall below the forecast and the bed's resistance drops.",
        consequence: "Extract stays in the bed: yield is lost. The stop-point hardly moves at first.",
        response: "Slow the run-off, then rake gently: half a turn at the lowest speed. Do not move the stop-point on this alone.",
        caution: RAKE_CAUTION,
        time_to_respond: "5 min",
    },
    Definition {
        alarm: AlarmId::BedCompaction,
        priority: Priority::Medium,
        on_delay_s: 60.0,
        off_delay_s: 120.0,
        deadband: 0.1,
        deadband_unit: "share of the pressure drop limit",
        cause: "The bed is being pulled tight: its resistance rises towards the pressure drop limit.",
        consequence: "The bed sticks and flow is lost.",
        response: "Slow the run-off by a fifth and watch the pressure drop; if it still rises, rake gently, half a turn at the lowest speed.",
        caution: RAKE_CAUTION,
        time_to_respond: "5 min",
    },
    Definition {
        alarm: AlarmId::StuckBed,
        priority: Priority::High,
        on_delay_s: 20.0,
        off_delay_s: 60.0,
        deadband: 0.1,
        deadband_unit: "share of the usual flow",
        cause: "Flow is lost although the bed is being pulled.",
        consequence: "The run-off stops; pulling harder tightens the bed further.",
        response: "Stop the run-off, let the bed relax, underlet if the site's practice allows, rake gently, recirculate until clear, start slowly.",
        caution: RAKE_CAUTION,
        time_to_respond: "at once",
    },
    Definition {
        alarm: AlarmId::GravityFloor,
        priority: Priority::High,
        on_delay_s: 20.0,
        off_delay_s: 60.0,
        deadband: 0.2,
        deadband_unit: "°P",
        cause: "Runnings gravity has come down to the gravity floor.",
        consequence: "Tannin and husk bitterness leach into the wort.",
        response: "Stop the run-off. Bring the kettle to volume with the top-up liquor shown.",
        caution: SCALD_CAUTION,
        time_to_respond: "2 min",
    },
    Definition {
        alarm: AlarmId::PhCeiling,
        priority: Priority::High,
        on_delay_s: 30.0,
        off_delay_s: 60.0,
        deadband: 0.05,
        deadband_unit: "pH",
        cause: "Runnings pH has risen to the pH ceiling.",
        consequence: "Tannin leaches into the wort.",
        response: "Stop the run-off, or acidify the sparge liquor if the recipe allows. Bring the kettle to volume with the top-up liquor shown.",
        caution: "Acids burn: goggles and gloves, acid into water. Hot wort and liquor scald.",
        time_to_respond: "2 min",
    },
    Definition {
        alarm: AlarmId::TanninLimitAhead,
        priority: Priority::Medium,
        on_delay_s: 60.0,
        off_delay_s: 300.0,
        deadband: 180.0,
        deadband_unit: "s",
        cause: "At this course the runnings reach the gravity floor or the pH ceiling before the kettle reaches its target.",
        consequence: "The run-off must end early or tannin leaches.",
        response: "Plan to stop at the limit and have the top-up liquor shown ready.",
        caution: SCALD_CAUTION,
        time_to_respond: "10 min",
    },
    Definition {
        alarm: AlarmId::StopPointAhead,
        priority: Priority::Low,
        on_delay_s: 30.0,
        off_delay_s: 300.0,
        deadband: 180.0,
        deadband_unit: "s",
        cause: "The projected stop-point is near.",
        consequence: "The kettle is overrun and diluted if nobody is there to stop.",
        response: "Be at the tun. End the sparge so that the bed drains into the last litres.",
        caution: SCALD_CAUTION,
        time_to_respond: "10 min",
    },
    Definition {
        alarm: AlarmId::StopPointReached,
        priority: Priority::High,
        on_delay_s: 0.0,
        off_delay_s: 60.0,
        deadband: 0.3,
        deadband_unit: "°P",
        cause: "Kettle gravity has come down to the start-of-boil gravity.",
        consequence: "Every further litre dilutes the kettle.",
        response: "Stop the run-off now.",
        caution: KETTLE_CAUTION,
        time_to_respond: "at once",
    },
    Definition {
        alarm: AlarmId::KettleHighLevel,
        priority: Priority::Critical,
        on_delay_s: 5.0,
        off_delay_s: 30.0,
        deadband: 0.01,
        deadband_unit: "share of capacity",
        cause: "The kettle is nearly full.",
        consequence: "Hot wort overflows.",
        response: "Stop the run-off now.",
        caution: KETTLE_CAUTION,
        time_to_respond: "at once",
    },
    Definition {
        alarm: AlarmId::RunoffTooFast,
        priority: Priority::Low,
        on_delay_s: 180.0,
        off_delay_s: 120.0,
        deadband: 0.1,
        deadband_unit: "share of the planned flow",
        cause: "Flow is well above the pace of the plan.",
        consequence: "The bed is pulled tight and washes unevenly.",
        response: "Throttle the run-off to the pace shown.",
        caution: "",
        time_to_respond: "10 min",
    },
    Definition {
        alarm: AlarmId::RunoffTooSlow,
        priority: Priority::Low,
        on_delay_s: 300.0,
        off_delay_s: 120.0,
        deadband: 0.1,
        deadband_unit: "share of the planned flow",
        cause: "Flow is well below the pace of the plan.",
        consequence: "The run-off finishes late.",
        response: "If the pressure drop leaves headroom, open the run-off a little; else rake gently, half a turn at the lowest speed.",
        caution: RAKE_CAUTION,
        time_to_respond: "15 min",
    },
    Definition {
        alarm: AlarmId::TurbidRunnings,
        priority: Priority::Medium,
        on_delay_s: 60.0,
        off_delay_s: 120.0,
        deadband: 10.0,
        deadband_unit: "EBC",
        cause: "The runnings are cloudy.",
        consequence: "Husk and lipids reach the kettle.",
        response: "Stop the sparge, rake gently, recirculate until clear.",
        caution: RAKE_CAUTION,
        time_to_respond: "5 min",
    },
    Definition {
        alarm: AlarmId::InstrumentFault,
        priority: Priority::Medium,
        on_delay_s: 15.0,
        off_delay_s: 10.0,
        deadband: 0.0,
        deadband_unit: "",
        cause: "An instrument gives no usable value.",
        consequence: "Estimates go on without it, with wider bands.",
        response: "Check the instrument named; take hand samples meanwhile.",
        caution: INSTRUMENT_CAUTION,
        time_to_respond: "15 min",
    },
    Definition {
        alarm: AlarmId::InstrumentsDisagree,
        priority: Priority::Medium,
        on_delay_s: 120.0,
        off_delay_s: 120.0,
        deadband: 0.5,
        deadband_unit: "standard deviations",
        cause: "Instruments that measure the same thing by different ways contradict each other.",
        consequence: "Kettle volume or gravity may be wrong.",
        response: "Compare with a hand sample or the sight glass and enter it; check the instrument named.",
        caution: INSTRUMENT_CAUTION,
        time_to_respond: "15 min",
    },
    Definition {
        alarm: AlarmId::LinkLost,
        priority: Priority::Medium,
        on_delay_s: 10.0,
        off_delay_s: 10.0,
        deadband: 0.0,
        deadband_unit: "",
        cause: "A link to instruments does not answer.",
        consequence: "All its instruments are silent; estimates go on without them.",
        response: "Check the network, the gateway and its power; take hand samples meanwhile.",
        caution: "",
        time_to_respond: "10 min",
    },
    Definition {
        alarm: AlarmId::DeliveryDelayed,
        priority: Priority::Low,
        on_delay_s: 60.0,
        off_delay_s: 30.0,
        deadband: 0.0,
        deadband_unit: "",
        cause: "A receiver of alarms or records cannot be reached.",
        consequence: "Screens that hang on it show an old state; nothing is lost, rows wait in the store.",
        response: "Watch the tun here or on the service's own page; check the broker or the database.",
        caution: "",
        time_to_respond: "30 min",
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_alarm_has_its_own_row_with_a_response_and_a_consequence() {
        for alarm in AlarmId::ALL {
            let row = definition(alarm);
            assert_eq!(row.alarm, alarm);
            for text in [row.cause, row.consequence, row.response] {
                assert!(text.ends_with('.'), "{alarm:?}: {text}");
            }
        }
    }

    #[test]
    fn whoever_is_sent_to_the_rakes_is_cautioned() {
        for row in DEFINITIONS
            .iter()
            .filter(|row| row.response.contains("rake"))
        {
            assert!(row.caution.contains("lock-out"), "{:?}", row.alarm);
        }
    }
}

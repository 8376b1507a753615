//! The rationalised alarm table: why each alarm exists and what its reader is to do.
//!
//! Owns the columns, as IEC 62682 asks for them: an alarm without a response is not an alarm. The rows stand in
//! `table`. It does not decide when one is true.

use serde::Serialize;

use super::identity::Priority;
use super::suppression::{Follows, Quiet, Reach};
use super::table::DEFINITIONS;
use crate::detect::{AlarmId, Phase};

/// What an alarm is about, beside the tun.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Subject {
    /// The tun as a whole.
    Tun,
    Instrument,
    Link,
    Publisher,
}

/// What becomes of an alarm that stands: one whose figures grow while nothing changes its state, and whose consequence
/// grows with them. ISA-18.2 / IEC 62682 let a priority follow the consequence and ask anew (re-alarm) when it does.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Standing {
    /// While it is shown its text is told anew this often, s.
    pub renewed_every_s: f64,
    /// Once its condition has been met for this long it is more pressing, and asks for acknowledgement once more, s.
    pub rises_after_s: f64,
    pub rises_to: Priority,
}

/// One row of the table.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Definition {
    pub alarm: AlarmId,
    pub subject: Subject,
    pub priority: Priority,
    /// The condition must last this long before the alarm is annunciated, s.
    pub on_delay_s: f64,
    /// It must be gone this long before the alarm returns, s.
    pub off_delay_s: f64,
    /// How far the value must come back before the condition counts as gone, in `deadband_unit`.
    pub deadband: f64,
    pub deadband_unit: &'static str,
    /// It stays unacknowledged when its condition goes, until somebody acknowledges it.
    pub latching: bool,
    /// It may be shelved for this long at most, min.
    pub longest_shelving_min: f64,
    /// States of the plant that suppress it.
    pub quiet: Quiet,
    /// Alarms of which it is a mere consequence, and which suppress it.
    pub follows: &'static [Follows],
    pub cause: &'static str,
    /// What happens if nobody does anything.
    pub consequence: &'static str,
    /// The next step.
    pub response: &'static str,
    /// Empty where the response puts nobody at risk.
    pub caution: &'static str,
    pub time_to_respond: &'static str,
    /// None where the alarm says the same as long as it stands.
    pub standing: Option<Standing>,
}

/// The row of one alarm.
pub fn definition(alarm: AlarmId) -> &'static Definition {
    &DEFINITIONS[alarm as usize]
}

impl Definition {
    /// It is judged only while a brew is under way.
    pub fn needs_brew(&self) -> bool {
        self.subject == Subject::Tun || self.alarm == AlarmId::InstrumentsDisagree
    }

    /// What suppresses it by design, in words; empty where nothing does.
    pub fn suppressed_by(&self) -> Vec<String> {
        let mut words = Vec::new();
        if self.quiet.without_brew {
            words.push("without a brew".to_owned());
        }
        words.extend(self.quiet.phases.iter().map(|phase| match phase {
            Phase::Idle => "before wort flows".to_owned(),
            phase => format!("in the phase {}", phase.words()),
        }));
        if self.quiet.after_stop {
            words.push("after the stop-point".to_owned());
        }
        words.extend(self.follows.iter().map(|follows| {
            let whose = match follows.reach {
                Reach::Tun => "",
                Reach::OwnLink => " of its link",
                Reach::Compared => " of it or of what it is compared with",
                Reach::SameName => " of the same name",
            };
            format!("by {}{whose}", follows.cause.name())
        }));
        words
    }
}

#[cfg(test)]
mod tests {
    use super::super::parameters::LONGEST_SHELVING_MIN;
    use super::*;

    #[test]
    fn every_alarm_has_its_own_row_with_a_response_and_a_consequence() {
        for alarm in AlarmId::ALL {
            let row = definition(alarm);
            assert_eq!(row.alarm, alarm);
            for text in [row.cause, row.consequence, row.response] {
                assert!(text.ends_with('.'), "{alarm:?}: {text}");
            }
            assert!(!row.time_to_respond.is_empty(), "{alarm:?}");
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

    #[test]
    fn a_cause_is_never_less_pressing_than_what_it_suppresses() {
        for row in &DEFINITIONS {
            for follows in row.follows {
                let cause = definition(follows.cause);
                assert!(cause.priority >= row.priority, "{:?}", row.alarm);
            }
        }
    }

    #[test]
    fn what_stands_is_renewed_without_a_flood_and_only_rises() {
        let rows = DEFINITIONS.iter();
        let standing: Vec<_> = rows.filter_map(|row| Some((row, row.standing?))).collect();
        assert!(!standing.is_empty());
        for (row, standing) in standing {
            assert!(standing.renewed_every_s >= 300.0, "{:?}", row.alarm);
            assert!(standing.rises_after_s >= row.on_delay_s, "{:?}", row.alarm);
            assert!(standing.rises_to > row.priority, "{:?}", row.alarm);
        }
    }

    #[test]
    fn no_alarm_explains_itself_by_any_way_round() {
        for row in &DEFINITIONS {
            let mut causes: Vec<AlarmId> = row.follows.iter().map(|f| f.cause).collect();
            let mut seen = 0;
            while let Some(cause) = causes.get(seen).copied() {
                assert_ne!(cause, row.alarm);
                for next in definition(cause).follows {
                    if !causes.contains(&next.cause) {
                        causes.push(next.cause);
                    }
                }
                seen += 1;
            }
        }
    }

    #[test]
    fn first_wort_and_sparge_suppress_nothing() {
        for row in &DEFINITIONS {
            for phase in [Phase::FirstWort, Phase::Sparge] {
                assert!(!row.quiet.phases.contains(&phase), "{:?}", row.alarm);
            }
        }
    }

    #[test]
    fn the_kettles_brim_is_never_quiet_and_waits_for_a_person() {
        let row = definition(AlarmId::KettleHighLevel);
        assert!(row.latching);
        assert_eq!(row.suppressed_by(), Vec::<String>::new());
    }

    #[test]
    fn the_more_pressing_an_alarm_the_shorter_it_may_lie_on_the_shelf() {
        for row in &DEFINITIONS {
            assert!((1.0..=LONGEST_SHELVING_MIN).contains(&row.longest_shelving_min));
            let risen = row.standing.map_or(row.priority, |s| s.rises_to);
            let most = match risen {
                Priority::Critical => 10.0,
                Priority::High => 60.0,
                Priority::Medium => 240.0,
                Priority::Low => LONGEST_SHELVING_MIN,
            };
            assert!(row.longest_shelving_min <= most, "{:?}", row.alarm);
        }
    }
}

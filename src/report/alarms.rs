//! What became of each alarm: raised, answered by whom, returned.

use lauter_core::alarm::AlarmState;
use lauter_core::supervisor::{AlarmLine, OperatorAction};

use crate::brew_record::{BrewRecord, Deed};
use crate::display::Voice;
use crate::display::terms::state_words;

/// One raising of an alarm with what followed.
#[derive(Clone, Debug)]
pub struct Story<'a> {
    pub raised: &'a AlarmLine,
    /// Minutes and words of each change after it.
    pub followed: Vec<(f64, String)>,
}

/// Moments of a line and of the action behind it differ by their rounding alone, s.
const SAME_S: f64 = 0.002;

pub fn stories(record: &BrewRecord, voice: Voice) -> Vec<Story<'_>> {
    let mut stories: Vec<Story<'_>> = Vec::new();
    for line in &record.alarms {
        let rises = line.to == AlarmState::Unacknowledged
            && matches!(
                line.from,
                AlarmState::Normal | AlarmState::Suppressed | AlarmState::Shelved
            );
        if rises {
            stories.push(Story {
                raised: line,
                followed: Vec::new(),
            });
            continue;
        }
        let of_same = stories.iter_mut().rev().find(|story| {
            story.raised.alarm == line.alarm && story.raised.instrument == line.instrument
        });
        if let Some(story) = of_same {
            let deed = record.deeds.iter().find(|(at, deed)| {
                (at - line.elapsed_s).abs() < SAME_S
                    && deed.alarm == line.alarm
                    && deed.instrument == line.instrument
            });
            let what = state_words(line.to, voice.language());
            let text = deed.map_or_else(
                || what.to_owned(),
                |(_, deed)| format!("{what}: {}", told(deed)),
            );
            story.followed.push((line.elapsed_s, text));
        }
    }
    stories
}

fn told(deed: &Deed) -> String {
    match &deed.action {
        OperatorAction::Shelve { minutes, reason } => {
            format!("{} ({minutes:.0} min; {reason})", deed.who)
        }
        OperatorAction::OutOfService { reason } => format!("{} ({reason})", deed.who),
        OperatorAction::Acknowledge
        | OperatorAction::Unshelve
        | OperatorAction::ReturnToService => deed.who.clone(),
    }
}

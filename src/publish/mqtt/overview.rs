//! A tun in one short message, for those who list many.
//!
//! Owns what stands in it and how often it goes out: every ten seconds, and at once when phase, brew or the cause of the
//! stop-point change. It is retained, so that who comes late need not wait. Pure.

use lauter_core::projection::{Stop, StopCause};
use lauter_core::reading::Moment;
use lauter_core::supervisor::{Line, Output, Phase, RunoffState};
use serde::{Deserialize, Serialize};

use super::message::{Message, Quality};
use super::topics::{Stamp, Topics, payload};

/// Least time between two messages that tell of nothing sudden, s. Own choice: the last word of a tun is then never
/// older than this while it is there.
pub const EVERY_S: f64 = 10.0;

/// The fields of `overview` beside `time` and `seq`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Overview {
    /// None between brews.
    pub brew: Option<String>,
    pub phase: Phase,
    pub elapsed_s: Option<f64>,
    pub runnings_gravity_p: Option<f64>,
    pub flow_l_min: Option<f64>,
    pub kettle_volume_l: Option<f64>,
    pub kettle_gravity_p: Option<f64>,
    pub stop: Option<Stop>,
    /// Where the tun's own page is, if others than its own machine can open it.
    pub page: Option<String>,
    pub version: String,
}

type Sudden = (Option<String>, Phase, Option<StopCause>);

/// One tun's overview as it grows.
#[derive(Clone, Debug)]
pub struct Overviews {
    runoff: Option<RunoffState>,
    stop: Option<Stop>,
    page: Option<String>,
    sent: Option<(Moment, Sudden)>,
}

impl Overviews {
    pub fn new(page: Option<String>) -> Self {
        Self {
            runoff: None,
            stop: None,
            page,
            sent: None,
        }
    }

    pub fn note(&mut self, output: &Output) {
        match output {
            Output::Runoff(state) => {
                let other = self
                    .runoff
                    .as_ref()
                    .is_some_and(|known| known.brew != state.brew);
                if other {
                    self.stop = None;
                }
                self.runoff = Some(state.clone());
            }
            Output::Line(Line::Projection(line)) => self.stop = line.stop,
            // Nobody knows any more when it will come.
            Output::Occurrence(told) if told.event == "silent" => self.stop = None,
            Output::Line(Line::Summary(_)) => {
                self.runoff = None;
                self.stop = None;
            }
            _ => {}
        }
    }

    /// The message, if one is due; it then counts as sent.
    pub fn due(
        &mut self,
        topics: &Topics,
        at: Moment,
        stamp: impl FnOnce() -> Stamp,
    ) -> Option<Message> {
        let overview = self.overview();
        let cause = overview.stop.map(|stop| stop.cause);
        let sudden = (overview.brew.clone(), overview.phase, cause);
        if let Some((before, known)) = &self.sent
            && at.since(*before) < EVERY_S
            && *known == sudden
        {
            return None;
        }
        self.sent = Some((at, sudden));
        Some(Message {
            row: None,
            topic: topics.overview(),
            payload: payload(stamp(), &overview),
            quality: Quality::AtMostOnce,
            retain: true,
        })
    }

    fn overview(&self) -> Overview {
        let runoff = self.runoff.as_ref();
        Overview {
            brew: runoff.map(|state| state.brew.clone()),
            phase: runoff.map_or(Phase::Idle, |state| state.phase),
            elapsed_s: runoff.map(|state| state.elapsed_s),
            runnings_gravity_p: runoff.and_then(|state| state.runnings_gravity_p),
            flow_l_min: runoff.and_then(|state| state.flow_l_min),
            kettle_volume_l: runoff.map(|state| state.kettle_volume_l),
            kettle_gravity_p: runoff.and_then(|state| state.kettle_gravity_p),
            stop: self.stop.filter(|_| runoff.is_some()),
            page: self.page.clone(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use jiff::Timestamp;

    use lauter_core::supervisor::{Occurrence, ProjectionLine};

    use super::*;

    fn projection() -> ProjectionLine {
        ProjectionLine {
            elapsed_s: 60.0,
            kettle_volume_l: 1.0,
            kettle_gravity_p: Some(18.0),
            kettle_gravity_se_p: None,
            target: None,
            gravity_floor: None,
            ph_ceiling: None,
            stop: Some(Stop {
                cause: StopCause::TargetGravity,
                volume_l: 4400.0,
                elapsed_s: 6000.0,
                top_up_l: 0.0,
                final_volume_l: 4400.0,
            }),
        }
    }

    fn state(phase: Phase) -> Output {
        Output::Runoff(RunoffState {
            elapsed_s: 60.0,
            brew: "b".to_owned(),
            phase,
            runnings_gravity_p: None,
            runnings_gravity_se_p: None,
            runnings_ph: None,
            runnings_temperature_c: None,
            flow_l_min: None,
            pressure_drop_kpa: None,
            kettle_volume_l: 1.0,
            kettle_gravity_p: Some(18.0),
            kettle_gravity_se_p: None,
            extract_kg: None,
            if_stopped_now: None,
        })
    }

    #[test]
    fn a_tun_whose_instruments_are_all_silent_names_no_stop_point() {
        let mut overviews = Overviews::new(None);
        overviews.note(&state(Phase::Sparge));
        overviews.note(&Output::Line(Line::Projection(projection())));
        assert!(overviews.overview().stop.is_some());
        overviews.note(&Output::Occurrence(Occurrence {
            elapsed_s: Some(1000.0),
            event: "silent".to_owned(),
            text: String::new(),
        }));
        assert_eq!(overviews.overview().stop, None);
        overviews.note(&Output::Line(Line::Projection(projection())));
        assert!(overviews.overview().stop.is_some(), "they answer again");
    }

    #[test]
    fn it_goes_out_every_ten_seconds_and_at_once_when_the_phase_changes() {
        let topics = Topics::new("s", "t");
        let mut overviews = Overviews::new(Some("http://h/tuns/s/t".to_owned()));
        let stamp = || Stamp {
            time: Timestamp::UNIX_EPOCH,
            seq: 1,
        };
        let at = Moment::from_seconds;
        let idle = overviews.due(&topics, at(0.0), stamp).expect("the first");
        assert_eq!(idle.topic, "lauterd/s/t/overview");
        assert!(idle.retain);
        let told: serde_json::Value = serde_json::from_slice(&idle.payload).expect("JSON");
        assert_eq!(
            (&told["phase"], &told["brew"]),
            (&"idle".into(), &serde_json::Value::Null)
        );
        assert!(overviews.due(&topics, at(9.9), stamp).is_none());
        overviews.note(&state(Phase::FirstWort));
        assert!(overviews.due(&topics, at(9.9), stamp).is_some());
        overviews.note(&state(Phase::FirstWort));
        assert!(overviews.due(&topics, at(19.8), stamp).is_none());
        assert!(overviews.due(&topics, at(19.9), stamp).is_some());
    }
}

mod orders;
mod standing;

use super::*;
use crate::alarm::{Phase, Reach};

/// An annunciator with a clock; links and comparisons are made up by names: `x@skid` hangs on `skid`.
#[derive(Clone)]
struct Desk {
    annunciator: Annunciator,
    parameters: Parameters,
    circumstances: Circumstances,
    second: u32,
    lines: Vec<AlarmLine>,
    renewed: Vec<AlarmLine>,
}

fn related(follows: Follows, about: Option<&str>, cause: Option<&str>) -> bool {
    match follows.reach {
        Reach::Tun => true,
        Reach::OwnLink => {
            about
                .and_then(|id| id.split_once('@'))
                .map(|(_, link)| link)
                == cause
        }
        Reach::Compared | Reach::SameName => about == cause,
    }
}

const SPARGE: Circumstances = Circumstances {
    phase: Phase::Sparge,
    after_stop: false,
    without_brew: false,
};

impl Desk {
    fn new() -> Self {
        Self {
            annunciator: Annunciator::default(),
            parameters: Parameters::default(),
            circumstances: SPARGE,
            second: 0,
            lines: Vec::new(),
            renewed: Vec::new(),
        }
    }

    fn situation(&self) -> Situation<'_> {
        Situation {
            circumstances: self.circumstances,
            related: &related,
            parameters: &self.parameters,
            now: Moment::from_seconds(f64::from(self.second)),
            elapsed_s: f64::from(self.second),
        }
    }

    fn take(&mut self, alarm: AlarmId, about: Option<&str>, holds: bool) {
        let mut finding = Finding::new(alarm, holds, || format!("{} is so.", alarm.name()));
        finding.instrument = about.map(str::to_owned);
        let mut annunciator = self.annunciator.clone();
        let news = annunciator.take(finding, &self.situation());
        self.annunciator = annunciator;
        match news {
            Some(News::Changed(line)) => self.lines.push(line),
            Some(News::Renewed(line)) => self.renewed.push(line),
            None => {}
        }
    }

    fn operate(
        &mut self,
        alarm: AlarmId,
        about: Option<&str>,
        action: &OperatorAction,
    ) -> Result<(), OperationFault> {
        let mut annunciator = self.annunciator.clone();
        let who = "shift brewer";
        let deed = Deed { who, action };
        let done = annunciator.operate(alarm, about.map(str::to_owned), deed, &self.situation());
        self.annunciator = annunciator;
        done.map(|line| self.lines.push(line))
    }

    /// The conditions in `holding` hold for `seconds`, and no other.
    fn run(&mut self, seconds: u32, holding: &[(AlarmId, Option<&str>)]) {
        for _ in 0..seconds {
            self.second += 1;
            let mut asked: Vec<(AlarmId, Option<String>)> = AlarmId::ALL.map(|a| (a, None)).into();
            let known = self.annunciator.entries.iter();
            asked.extend(known.map(|entry| (entry.alarm, entry.instrument.clone())));
            asked.extend(
                holding
                    .iter()
                    .map(|(a, about)| (*a, about.map(str::to_owned))),
            );
            asked.sort();
            asked.dedup();
            for (alarm, about) in asked {
                let about = about.as_deref();
                self.take(alarm, about, holding.contains(&(alarm, about)));
            }
        }
    }

    fn state(&self, alarm: AlarmId, about: Option<&str>) -> AlarmState {
        let entry = self.annunciator.find(alarm, about);
        entry.map_or(AlarmState::Normal, |entry| entry.machine.state())
    }

    /// Alarms that came to be shown, in order.
    fn shown(&self) -> Vec<AlarmId> {
        let lines = self.lines.iter();
        lines
            .filter(|line| line.to == AlarmState::Unacknowledged)
            .map(|line| line.alarm)
            .collect()
    }
}

const STUCK: (AlarmId, Option<&str>) = (AlarmId::StuckBed, None);
const SLOW: (AlarmId, Option<&str>) = (AlarmId::RunoffTooSlow, None);

#[test]
fn one_cause_gives_one_alarm() {
    let fault = |id| (AlarmId::InstrumentFault, Some(id));
    let disagree = (AlarmId::InstrumentsDisagree, Some("level@skid"));
    let link = (AlarmId::LinkLost, Some("skid"));
    for (cause, followers) in [
        (STUCK, vec![SLOW, (AlarmId::BedCompaction, None)]),
        (
            (AlarmId::Channelling, None),
            vec![(AlarmId::TurbidRunnings, None), SLOW],
        ),
        (
            (AlarmId::GravityFloor, None),
            vec![(AlarmId::TanninLimitAhead, None)],
        ),
        (
            link,
            vec![fault("level@skid"), fault("flow@skid"), disagree],
        ),
        (fault("level@skid"), vec![disagree]),
        (
            (AlarmId::LinkLost, Some("mqtt")),
            vec![(AlarmId::DeliveryDelayed, Some("mqtt"))],
        ),
    ] {
        let mut desk = Desk::new();
        let mut all = vec![cause];
        all.extend(&followers);
        desk.run(900, &all);
        assert_eq!(desk.shown(), [cause.0], "{cause:?}");
        for (alarm, about) in followers {
            assert_eq!(
                desk.state(alarm, about),
                AlarmState::Suppressed,
                "{alarm:?}"
            );
        }
        let told = desk
            .lines
            .iter()
            .filter(|line| line.to == AlarmState::Suppressed);
        for line in told {
            assert!(
                line.message.contains("Suppressed: it follows from"),
                "{line:?}"
            );
            assert!(line.advice.starts_with("See to "), "{line:?}");
        }
    }
}

#[test]
fn another_links_instrument_is_not_explained() {
    let mut desk = Desk::new();
    let other = (AlarmId::InstrumentFault, Some("ph@panel"));
    desk.run(60, &[(AlarmId::LinkLost, Some("skid")), other]);
    assert_eq!(desk.shown(), [AlarmId::LinkLost, AlarmId::InstrumentFault]);
}

#[test]
fn what_is_shown_already_leaves_the_list_when_its_cause_comes_and_returns_if_it_outlives_it() {
    let mut desk = Desk::new();
    desk.run(400, &[SLOW]);
    assert_eq!(desk.shown(), [AlarmId::RunoffTooSlow]);
    desk.run(60, &[SLOW, STUCK]);
    assert_eq!(desk.state(SLOW.0, None), AlarmState::Suppressed);
    // The stuck bed is over after its off-delay; the slow run-off must then last its own on-delay.
    desk.run(300, &[SLOW]);
    assert_eq!(desk.state(SLOW.0, None), AlarmState::Suppressed);
    desk.run(100, &[SLOW]);
    assert_eq!(desk.state(SLOW.0, None), AlarmState::Unacknowledged);
}

#[test]
fn while_a_slow_cause_is_undecided_its_followers_wait() {
    let mut desk = Desk::new();
    let slow = crate::alarm::Settings {
        on_delay_s: Some(600.0),
        ..crate::alarm::Settings::default()
    };
    desk.parameters.alarms.insert(AlarmId::StuckBed, slow);
    desk.run(500, &[STUCK, SLOW]);
    assert_eq!(desk.shown(), []);
    let mut comes_to_nothing = desk.clone();
    desk.run(150, &[STUCK, SLOW]);
    assert_eq!(desk.shown(), [AlarmId::StuckBed]);
    comes_to_nothing.run(2, &[SLOW]);
    assert_eq!(comes_to_nothing.shown(), [AlarmId::RunoffTooSlow]);
}

#[test]
fn a_shelved_cause_still_explains_and_one_out_of_service_does_not() {
    let reason = || "trial".to_owned();
    let shelve = OperatorAction::Shelve {
        minutes: 15.0,
        reason: reason(),
    };
    let out = OperatorAction::OutOfService { reason: reason() };
    for (action, shown) in [(shelve, false), (out, true)] {
        let mut desk = Desk::new();
        desk.operate(AlarmId::StuckBed, None, &action).unwrap();
        desk.run(600, &[STUCK, SLOW]);
        assert_eq!(desk.shown().contains(&AlarmId::RunoffTooSlow), shown);
    }
}

#[test]
fn the_first_of_a_burst_is_marked() {
    let mut desk = Desk::new();
    let fault = |id| (AlarmId::InstrumentFault, Some(id));
    desk.run(30, &[fault("flow"), STUCK]);
    desk.run(
        30,
        &[fault("flow"), STUCK, (AlarmId::KettleHighLevel, None)],
    );
    desk.run(300, &[fault("flow")]);
    desk.run(30, &[fault("flow"), fault("ph")]);
    let places: Vec<(AlarmId, f64)> = desk
        .lines
        .iter()
        .filter(|line| line.to == AlarmState::Unacknowledged)
        .map(|line| (line.alarm, line.evidence[BURST_PLACE]))
        .collect();
    assert_eq!(
        places,
        [
            (AlarmId::InstrumentFault, 1.0),
            (AlarmId::StuckBed, 2.0),
            (AlarmId::KettleHighLevel, 3.0),
            (AlarmId::InstrumentFault, 1.0),
        ]
    );
}

#[test]
fn a_time_on_the_shelf_has_its_limits_and_says_so() {
    let mut desk = Desk::new();
    desk.run(30, &[STUCK]);
    let shelve = |minutes| OperatorAction::Shelve {
        minutes,
        reason: "pump seal".to_owned(),
    };
    let refused = |desk: &mut Desk, minutes| {
        let fault = desk.operate(AlarmId::StuckBed, None, &shelve(minutes));
        fault.unwrap_err().to_string()
    };
    assert_eq!(
        refused(&mut desk, 16.0),
        "may be shelved for 15 min at most, not for 16 min; shelve it for less, or take it out of service if \
         somebody answers for it"
    );
    for minutes in [0.0, -5.0, f64::NAN] {
        assert!(refused(&mut desk, minutes).contains("at least 1 min"));
    }
    assert_eq!(
        desk.state(AlarmId::StuckBed, None),
        AlarmState::Unacknowledged
    );
    desk.operate(AlarmId::StuckBed, None, &shelve(15.0))
        .unwrap();
    desk.run(15 * 60 - 1, &[STUCK]);
    assert_eq!(desk.state(AlarmId::StuckBed, None), AlarmState::Shelved);
    desk.run(1, &[STUCK]);
    let back = desk.lines.last().unwrap();
    assert_eq!(
        (back.from, back.to),
        (AlarmState::Shelved, AlarmState::Unacknowledged)
    );
    assert!(
        back.message.starts_with("Its time on the shelf is over."),
        "{back:?}"
    );
    let site = crate::alarm::Settings {
        longest_shelving_min: Some(5.0),
        ..crate::alarm::Settings::default()
    };
    desk.parameters.alarms.insert(AlarmId::StuckBed, site);
    assert!(refused(&mut desk, 6.0).contains("5 min at most"));
}

#[test]
fn a_brew_inherits_no_condition_of_the_one_before() {
    let mut desk = Desk::new();
    desk.run(400, &[STUCK, SLOW, (AlarmId::LinkLost, Some("skid"))]);
    let mut annunciator = desk.annunciator.clone();
    let lines = annunciator.end_runoff(true, &desk.situation());
    let ended: Vec<(AlarmId, AlarmState)> = lines.iter().map(|l| (l.alarm, l.to)).collect();
    assert_eq!(
        ended,
        [
            (AlarmId::StuckBed, AlarmState::ReturnedUnacknowledged),
            (AlarmId::RunoffTooSlow, AlarmState::Normal),
        ]
    );
    assert!(!annunciator.any_met(AlarmId::StuckBed));
    assert!(annunciator.any_met(AlarmId::LinkLost));
}

#[test]
fn a_latched_alarm_of_the_brew_before_is_gone_but_not_acknowledged() {
    let mut desk = Desk::new();
    desk.run(10, &[(AlarmId::KettleHighLevel, None)]);
    let high = |desk: &Desk| desk.state(AlarmId::KettleHighLevel, None);
    assert_eq!(high(&desk), AlarmState::Unacknowledged);
    // It latches while its brew goes on.
    desk.run(60, &[]);
    assert_eq!(high(&desk), AlarmState::Unacknowledged);
    let mut annunciator = desk.annunciator.clone();
    annunciator.end_runoff(true, &desk.situation());
    desk.annunciator = annunciator;
    assert_eq!(high(&desk), AlarmState::ReturnedUnacknowledged);
}

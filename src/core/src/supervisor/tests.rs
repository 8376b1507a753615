mod beginnings;
mod corrections;
mod people;
mod rakes;
mod samples;
mod silence;
mod troubles;

use std::collections::BTreeMap;

use super::*;
use crate::alarm::{AlarmId, AlarmState};
use crate::projection::PhBasis;
use crate::reading::{Cause, Status};
use crate::units::Unit;

fn instrument(id: &str, measures: Measures, unit: Unit, low: f64, high: f64) -> Instrument {
    Instrument {
        id: id.to_owned(),
        measures,
        unit,
        span: None,
        temperature: None,
        low: Some(low),
        high: Some(high),
        stale_after_s: 10.0,
        zero: 0.0,
        link: Some("skid".to_owned()),
    }
}

const GRAVITY: usize = 0;
const FLOW: usize = 1;
const RECIRCULATING: usize = 2;
const LEVEL: usize = 3;

fn instruments() -> Vec<Instrument> {
    vec![
        instrument(
            "runnings_gravity",
            Measures::RunningsGravity,
            Unit::DegreePlato,
            -2.0,
            35.0,
        ),
        instrument(
            "runoff_flow",
            Measures::RunoffFlow,
            Unit::LitrePerMinute,
            0.0,
            200.0,
        ),
        instrument(
            "recirculating",
            Measures::Recirculating,
            Unit::Bool,
            0.0,
            1.0,
        ),
        instrument(
            "kettle_level",
            Measures::KettleVolume,
            Unit::Percent,
            0.0,
            110.0,
        ),
    ]
}

fn plant() -> Plant {
    Plant {
        bed_area_m2: 7.0,
        pipe_volume_l: 0.0,
        pressure_drop_limit_kpa: 2.5,
        capacity_l: 7000.0,
        heel_l: 0.0,
        strapping: Vec::new(),
    }
}

fn plan() -> Plan {
    Plan {
        brew: "2026-0412".to_owned(),
        recipe: "Harbour Stout".to_owned(),
        grist_kg: 980.0,
        target_gravity_p: 12.4,
        planned_volume_l: 5200.0,
        runoff_minutes: 90.0,
        first_wort_gravity_p: Some(18.0),
        gravity_floor_p: 3.0,
        ph_ceiling: 6.0,
        ph_basis: PhBasis::Room,
    }
}

/// A made-up run-off: plateau, then a fall over volume.
fn gravity_p(volume_l: f64) -> f64 {
    18.0 / (1.0 + (volume_l / 3300.0).powi(3))
}

/// Noise without a generator's state: the fractional part of a sine, within ±1.
fn wobble(second: f64, phase: f64) -> f64 {
    2.0 * ((second * 12.9898 + phase).sin() * 43758.5453).rem_euclid(1.0) - 1.0
}

struct Run {
    supervisor: Supervisor,
    outputs: Vec<Dated>,
    volume_l: f64,
    second: f64,
}

impl Run {
    fn new() -> Self {
        Self::with(Parameters::default())
    }

    fn with(parameters: Parameters) -> Self {
        Self::taught(parameters, None)
    }

    fn taught(parameters: Parameters, profile: Option<Box<TunProfile>>) -> Self {
        let mut run = Self {
            supervisor: Supervisor::new(plant(), instruments(), parameters),
            outputs: Vec::new(),
            volume_l: 0.0,
            second: 0.0,
        };
        run.give(Event::BrewStarted {
            plan: Box::new(plan()),
            zero: Moment::ZERO,
            profile,
            corrections: Vec::new(),
        });
        run
    }

    fn give(&mut self, event: Event) {
        self.supervisor
            .handle(event, Moment::from_seconds(self.second));
        while let Some(dated) = self.supervisor.poll_output() {
            self.outputs.push(dated);
        }
    }

    fn read(&mut self, instrument: usize, value: f64) {
        let at = Moment::from_seconds(self.second);
        self.give(Event::Reading {
            instrument,
            reading: Reading {
                value: Ok(value),
                status: Status::Good,
                at,
            },
        });
    }

    /// `seconds` of flow, to the kettle or back.
    fn flow(&mut self, seconds: u32, flow_l_min: f64, recirculating: bool) {
        for _ in 0..seconds {
            self.second += 1.0;
            if !recirculating {
                self.volume_l += flow_l_min / 60.0;
            }
            let noise = wobble(self.second, 0.0);
            self.read(GRAVITY, gravity_p(self.volume_l) + 0.02 * noise);
            self.read(
                FLOW,
                if flow_l_min > 0.0 {
                    flow_l_min + 0.3 * noise
                } else {
                    0.0
                },
            );
            self.read(RECIRCULATING, f64::from(u8::from(recirculating)));
            self.read(
                LEVEL,
                (self.volume_l + 3.0 * wobble(self.second, 1.0)) / 70.0,
            );
        }
    }

    fn lines(&self) -> Vec<&Line> {
        self.outputs
            .iter()
            .filter_map(|dated| match &dated.output {
                Output::Line(line) => Some(line),
                _ => None,
            })
            .collect()
    }

    fn projections(&self) -> Vec<&ProjectionLine> {
        self.lines()
            .into_iter()
            .filter_map(|line| match line {
                Line::Projection(line) => Some(line),
                _ => None,
            })
            .collect()
    }

    fn alarms(&self) -> Vec<(AlarmId, AlarmState)> {
        self.lines()
            .into_iter()
            .filter_map(|line| match line {
                Line::Alarm(line) => Some((line.alarm, line.to)),
                _ => None,
            })
            .collect()
    }

    fn summary(&mut self) -> SummaryLine {
        self.give(Event::BrewEnded);
        match self.lines().last() {
            Some(Line::Summary(summary)) => summary.clone(),
            other => panic!("the last line is {other:?}"),
        }
    }
}

/// Kettle volume at which the made-up kettle comes down to a gravity, by fine summation.
fn volume_at_kettle_gravity(kettle_p: f64) -> f64 {
    let (mut extract, mut wort, mut volume_l) = (0.0, 0.0, 0.0);
    loop {
        let p = gravity_p(volume_l + 0.05);
        let kg = crate::units::wort_density_kg_m3(p, 75.0) * 0.0001;
        extract += kg * p;
        wort += kg;
        volume_l += 0.1;
        if extract / wort <= kettle_p {
            return volume_l;
        }
    }
}

/// At 60 L/min the seconds are the litres.
fn truth() -> (f64, f64) {
    let volume_l = volume_at_kettle_gravity(12.4);
    (volume_l, volume_l)
}

#[test]
fn the_stop_point_is_called_where_it_is() {
    let mut run = Run::new();
    run.flow(6600, 60.0, false);
    let (volume_l, elapsed_s) = truth();
    let summary = run.summary();
    assert_eq!(summary.stop_cause, StopCause::TargetGravity);
    let called_l = summary.stop_volume_l.unwrap();
    assert!(
        (called_l / volume_l - 1.0).abs() < 0.003,
        "{called_l} L for {volume_l} L"
    );
    assert!(
        (summary.stop_elapsed_s.unwrap() - elapsed_s).abs() < 20.0,
        "{summary:?}"
    );
    assert!(
        run.alarms()
            .contains(&(AlarmId::StopPointReached, AlarmState::Unacknowledged))
    );
}

#[test]
fn kettle_gravity_and_target_are_given_from_the_first_minute_of_flow_on() {
    let mut run = Run::new();
    run.flow(70, 60.0, false);
    let first = run.projections()[0].clone();
    assert!(first.elapsed_s <= 60.0);
    assert!(
        first.kettle_gravity_p.is_some() && first.target.is_some(),
        "{first:?}"
    );
}

#[test]
fn lines_come_at_their_intervals_and_go_on_past_the_stop_point() {
    let mut run = Run::new();
    run.flow(6600, 60.0, false);
    let times: Vec<f64> = run
        .projections()
        .iter()
        .map(|line| line.elapsed_s)
        .collect();
    assert!(
        times
            .windows(2)
            .all(|pair| (pair[1] - pair[0] - 30.0).abs() < 1e-9)
    );
    assert!(times.last().unwrap() > &6500.0);
    let last = run.projections().last().copied().unwrap().clone();
    let reached = last.target.unwrap();
    assert!((reached.volume_l.p50 / truth().0 - 1.0).abs() < 0.003);
    assert_eq!(last.stop.unwrap().cause, StopCause::TargetGravity);
}

#[test]
fn recirculation_and_pauses_do_not_fill_the_kettle() {
    let mut run = Run::new();
    run.flow(600, 40.0, true);
    assert!(run.projections().is_empty());
    run.flow(600, 60.0, false);
    run.flow(300, 0.0, false);
    let volume_l = run.projections().last().unwrap().kettle_volume_l;
    assert!((volume_l - 600.0).abs() < 6.0, "{volume_l}");
    assert_eq!(run.alarms(), []);
}

/// A whole run-off with its end, and what it put out.
fn whole_brew(profile: Option<Box<TunProfile>>) -> Vec<Dated> {
    let mut run = Run::taught(Parameters::default(), profile);
    run.flow(5700, 60.0, false);
    run.give(Event::BrewEnded);
    run.outputs
}

fn lesson_of(outputs: &[Dated]) -> crate::profile::BrewLesson {
    let mut lessons = outputs.iter().filter_map(|dated| match &dated.output {
        Output::Lesson(lesson) => Some((**lesson).clone()),
        _ => None,
    });
    let lesson = lessons.next().expect("a lesson at the end");
    assert!(lessons.next().is_none(), "one lesson");
    lesson
}

#[test]
fn a_profile_that_knows_nothing_changes_nothing() {
    let none = whole_brew(None);
    let empty = whole_brew(Some(Box::default()));
    assert_eq!(
        serde_json::to_string(&none).unwrap(),
        serde_json::to_string(&empty).unwrap()
    );
}

#[test]
fn a_finished_brew_teaches_and_the_next_one_has_another_forecast() {
    let first = whole_brew(None);
    let lesson = lesson_of(&first);
    let stop = lesson.stop.expect("the target was reached");
    assert!(
        (4.0..7.0).contains(&stop.volume_l_per_kg),
        "{} L/kg",
        stop.volume_l_per_kg
    );
    let (profile, acceptance) = TunProfile::default().update(&lesson);
    assert!(acceptance.accepted, "{acceptance:?}");
    let projected = |outputs: &[Dated]| {
        let target = |dated: &Dated| match &dated.output {
            Output::Line(Line::Projection(line)) if line.elapsed_s >= 2400.0 => line.target,
            _ => None,
        };
        outputs.iter().find_map(target).expect("a projection")
    };
    let second = whole_brew(Some(Box::new(profile)));
    let (alone, taught) = (projected(&first).volume_l, projected(&second).volume_l);
    let truth_l = stop.volume_l_per_kg * 980.0;
    assert!(
        (taught.p50 - truth_l).abs() < 0.5 * (alone.p50 - truth_l).abs(),
        "{} taught and {} alone for {truth_l} L",
        taught.p50,
        alone.p50
    );
    assert!(taught.p95 - taught.p5 < alone.p95 - alone.p5);
}

#[test]
fn the_state_of_the_run_off_says_what_the_kettle_would_need_if_it_were_stopped_now() {
    let states: Vec<RunoffState> = whole_brew(None)
        .into_iter()
        .filter_map(|dated| match dated.output {
            Output::Runoff(state) => Some(state),
            _ => None,
        })
        .collect();
    let early = states
        .iter()
        .find(|state| state.kettle_volume_l > 1000.0)
        .expect("a state");
    let stopped = early.if_stopped_now.expect("the kettle holds wort");
    // Mass grows by gravity over target; wort of 18 °P weighs 1.0463 kg/L at 75 °C, liquor 0.9748.
    let gravity_p = early.kettle_gravity_p.expect("a gravity");
    let by_hand_l = early.kettle_volume_l * 1.0463 / 0.9748 * (gravity_p / 12.4 - 1.0);
    assert!(
        (stopped.top_up_l / by_hand_l - 1.0).abs() < 0.01,
        "{stopped:?}, by hand {by_hand_l}"
    );
    assert!(stopped.boil_off_percent <= 0.0);
    let last = states.last().expect("a state").if_stopped_now;
    let last = last.expect("the kettle holds wort");
    assert!(
        last.boil_off_percent > 0.0 && last.top_up_l <= 0.0,
        "{last:?}"
    );
}

//! What the glance says of invented states: nothing is called right that is not, and nothing gone gives an order.

use std::collections::BTreeMap;
use std::path::Path;

use lauter_core::alarm::{AlarmId, AlarmState, definition};
use lauter_core::projection::{Band, Crossing, PhBasis, Plan, Stop, StopCause};
use lauter_core::reading::{Cause, Status};
use lauter_core::supervisor::{
    AlarmLine, ChannelDoubt, ConditionedReading, Line, Outlook, Phase, ProjectionLine, RunoffState,
};
use lauter_core::units::Unit;

use super::next_step::{NextStep, next_step};
use super::{View, alarms, glance, stop_tile};
use crate::config::model::{DecimalMark, GravityUnit, Language, VolumeUnit};
use crate::config::{self, Configuration, Surroundings};
use crate::display::{Display, Voice};
use crate::runtime::request::TunStatus;
use crate::web::live::Notebook;

mod troubles;

struct Scene {
    status: TunStatus,
    configuration: Configuration,
    display: Display,
}

fn around(p50: f64, half: f64) -> Band {
    Band {
        p5: p50 - half,
        p50,
        p95: p50 + half,
    }
}

fn crossing(volume_l: f64, half_l: f64) -> Crossing {
    Crossing {
        volume_l: around(volume_l, half_l),
        elapsed_s: around(6000.0, 120.0),
    }
}

impl Scene {
    /// Minute 40 of a run-off in which nothing is wrong: 2400 L left at 60 L/min, with 40 min to go.
    fn calm() -> Self {
        let text = include_str!("../../../config/minimal.toml").to_owned();
        let configuration =
            config::parse(Path::new("minimal.toml"), text, &Surroundings::none()).unwrap();
        let readings = configuration.instruments.iter().map(|configured| {
            let id = configured.instrument.id.clone();
            ConditionedReading {
                instrument: id,
                value: Some(1.0),
                unit: Unit::DegreePlato,
                standard_error: None,
                rate_per_min: None,
                status: Status::Good,
                cause: None,
                raw: Some(1.0),
                measured: Some(1.0),
                corrected: None,
                correction: None,
            }
        });
        let status = TunStatus {
            calibration: Vec::new(),
            site: "north-yard".to_owned(),
            tun: "tun-1".to_owned(),
            time: "2026-04-23T12:00:00.000Z".to_owned(),
            brew: Some("2026-0413".to_owned()),
            plan: Some(plan()),
            runoff: Some(runoff()),
            projection: Some(ProjectionLine {
                elapsed_s: 3600.0,
                kettle_volume_l: 2000.0,
                kettle_gravity_p: Some(17.0),
                kettle_gravity_se_p: Some(0.04),
                target: Some(crossing(4400.0, 100.0)),
                gravity_floor: None,
                ph_ceiling: None,
                stop: Some(Stop {
                    cause: StopCause::TargetGravity,
                    volume_l: 4400.0,
                    elapsed_s: 6000.0,
                    top_up_l: 0.0,
                    final_volume_l: 4400.0,
                }),
            }),
            outlook: Some(Outlook {
                planned_flow_l_min: 60.0,
                timely_flow_l_min: Some(60.0),
                bed_resistance_per_m: None,
                pressure_drop_limit_kpa: 2.5,
                flow_at_limit_l_min: None,
                seconds_to_pressure_limit: None,
                rakes_are_seen: false,
                since_start_s: Some(2400.0),
                channel_doubt: None,
                silent_s: None,
            }),
            alarms: Vec::new(),
            readings: readings.collect(),
            health: serde_json::json!({}),
        };
        Self {
            status,
            configuration,
            display: Display::default(),
        }
    }

    fn with_alarm(mut self, alarm: AlarmId, from: AlarmState, to: AlarmState) -> Self {
        let row = definition(alarm);
        self.status.alarms.push(Line::Alarm(AlarmLine {
            elapsed_s: 3000.0,
            alarm,
            instrument: None,
            from,
            to,
            priority: row.priority,
            message: row.cause.to_owned(),
            advice: row.response.to_owned(),
            evidence: BTreeMap::new(),
        }));
        self
    }

    fn flowing(mut self, flow_l_min: f64, pressure_drop_kpa: f64) -> Self {
        let runoff = self.status.runoff.as_mut().unwrap();
        runoff.flow_l_min = Some(flow_l_min);
        runoff.pressure_drop_kpa = Some(pressure_drop_kpa);
        self
    }

    fn look<T>(&self, at: impl Fn(&View<'_>) -> T) -> T {
        at(&View {
            status: &self.status,
            notebook: &Notebook::default(),
            configuration: &self.configuration,
            voice: Voice::new(self.display),
        })
    }

    fn next(&self) -> NextStep {
        self.look(next_step)
    }

    fn says(&self) -> String {
        let step = self.next();
        format!("{} {}", step.text, step.beside.join(" "))
    }
}

fn plan() -> Plan {
    Plan {
        brew: "2026-0413".to_owned(),
        recipe: String::new(),
        grist_kg: 980.0,
        target_gravity_p: 12.4,
        planned_volume_l: 4400.0,
        runoff_minutes: 80.0,
        first_wort_gravity_p: None,
        gravity_floor_p: 3.0,
        ph_ceiling: 6.0,
        ph_basis: PhBasis::Room,
    }
}

fn runoff() -> RunoffState {
    RunoffState {
        elapsed_s: 3600.0,
        brew: "2026-0413".to_owned(),
        phase: Phase::Sparge,
        runnings_gravity_p: Some(12.3),
        runnings_gravity_se_p: Some(0.05),
        runnings_ph: None,
        runnings_temperature_c: Some(75.2),
        flow_l_min: Some(60.0),
        pressure_drop_kpa: Some(1.0),
        kettle_volume_l: 2000.0,
        kettle_gravity_p: Some(17.0),
        kettle_gravity_se_p: Some(0.04),
        extract_kg: Some(360.0),
        if_stopped_now: None,
    }
}

use AlarmState::{Acknowledged, Normal, ReturnedUnacknowledged, Shelved, Unacknowledged};

#[test]
fn where_nothing_is_wrong_flow_and_minutes_belong_together() {
    let step = Scene::calm().next();
    assert_eq!(
        step.text,
        "Nothing to correct: at 60.0 L/min, stop at 4400 L in 40 min."
    );
    assert!(step.beside.is_empty() && step.alarm.is_none());
}

#[test]
fn an_acknowledged_alarm_whose_condition_stands_is_still_what_to_do_next() {
    for alarm in [
        AlarmId::TurbidRunnings,
        AlarmId::StopPointAhead,
        AlarmId::Channelling,
    ] {
        let scene = Scene::calm().with_alarm(alarm, Unacknowledged, Acknowledged);
        let step = scene.next();
        assert!(
            step.text.contains(definition(alarm).response),
            "{}",
            step.text
        );
        assert!(step.unacknowledged.is_none() && step.alarm.is_some());
        assert!(!scene.says().contains("Nothing to correct"));
    }
}

#[test]
fn an_order_to_stop_comes_before_another_of_its_priority() {
    let step = Scene::calm()
        .with_alarm(AlarmId::StopPointReached, Unacknowledged, Acknowledged)
        .with_alarm(AlarmId::Channelling, Normal, Unacknowledged)
        .next();
    assert!(step.text.contains("Stop the run-off now"), "{}", step.text);
}

#[test]
fn a_shelved_alarm_is_named_as_shelved_while_it_was_put_there_standing() {
    let standing = Scene::calm().with_alarm(AlarmId::Channelling, Acknowledged, Shelved);
    let says = standing.says();
    assert!(
        says.starts_with("Shelved, not gone: Channelling."),
        "{says}"
    );
    assert!(!says.contains("Nothing to correct"), "{says}");
    let panel = standing.look(alarms::panel).into_string();
    assert!(panel.contains("beside those below"), "{panel}");
    let before = Scene::calm().with_alarm(AlarmId::Channelling, Normal, Shelved);
    assert!(before.says().starts_with("Nothing to correct"));
}

#[test]
fn figures_that_nothing_measures_are_marked_and_said_to_be_dead_reckoning() {
    let mut scene = Scene::calm();
    for reading in &mut scene.status.readings {
        reading.value = None;
        reading.cause = Some(Cause::LinkLost);
    }
    let says = scene.says();
    assert!(says.contains("dead reckoning"), "{says}");
    assert!(!says.contains("Nothing to correct"), "{says}");
    for tile in [scene.look(stop_tile::stop), scene.look(glance::kettle)] {
        let tile = tile.into_string();
        assert!(tile.contains("not measured"), "{tile}");
    }
    let calm = Scene::calm().look(stop_tile::stop).into_string();
    assert!(!calm.contains("not measured"), "{calm}");
}

#[test]
fn a_wrong_pace_is_something_to_correct_as_far_as_the_bed_has_room() {
    let slow = Scene::calm().flowing(45.0, 1.0).says();
    assert!(
        slow.starts_with(
            "Open the run-off a little, to about 60.0 L/min: at 45.0 L/min it ends 10 min late."
        ),
        "{slow}"
    );
    assert!(
        slow.contains("At the present 45.0 L/min: stop at 4400 L in 40 min."),
        "{slow}"
    );
    let tight = Scene::calm().flowing(45.0, 2.2).says();
    assert!(tight.starts_with("Keep 45.0 L/min"), "{tight}");
    let fast = Scene::calm().flowing(75.0, 1.0).says();
    assert!(
        fast.starts_with("Throttle the run-off to about 60.0 L/min"),
        "{fast}"
    );
    let near = Scene::calm().flowing(57.0, 1.0).says();
    assert!(near.starts_with("Nothing to correct"), "{near}");
    // A run-off is opened slowly.
    let mut early = Scene::calm().flowing(45.0, 1.0);
    early.status.outlook.as_mut().unwrap().since_start_s = Some(300.0);
    assert!(early.says().starts_with("Nothing to correct"));
    // Who is told to slow down for the bed is not told to open.
    let channel =
        Scene::calm()
            .flowing(45.0, 1.0)
            .with_alarm(AlarmId::Channelling, Normal, Unacknowledged);
    assert!(!channel.says().contains("Open the run-off"));
}

#[test]
fn an_alarm_that_is_gone_gives_no_order() {
    let gone =
        Scene::calm().with_alarm(AlarmId::Channelling, Unacknowledged, ReturnedUnacknowledged);
    assert!(gone.says().starts_with("Nothing to correct"));
    let panel = gone.look(alarms::panel).into_string();
    assert!(panel.contains("It is over"), "{panel}");
    assert!(
        !panel.contains("rake gently") && !panel.contains("Do this"),
        "{panel}"
    );
    assert!(panel.contains("ack-channelling") && !panel.contains("shelve-channelling"));
}

#[test]
fn what_belongs_to_a_brew_gives_no_order_once_it_has_ended() {
    let mut ended = Scene::calm().with_alarm(AlarmId::StopPointReached, Normal, Unacknowledged);
    let running = ended.look(alarms::panel).into_string();
    assert!(running.contains("Stop the run-off now"));
    ended.status.brew = None;
    ended.status.plan = None;
    ended.status.runoff = None;
    ended.status.outlook = None;
    let panel = ended.look(alarms::panel).into_string();
    assert!(!panel.contains("Stop the run-off now"), "{panel}");
    assert!(panel.contains("Its brew has ended"), "{panel}");
    assert!(ended.says().contains("No run-off is under way"));
}

#[test]
fn a_channel_puts_the_stop_point_in_doubt_and_the_band_holds_what_was_expected_before() {
    let mut scene = Scene::calm();
    scene.status.outlook.as_mut().unwrap().channel_doubt = Some(ChannelDoubt {
        alarmed: false,
        target_before: Some(crossing(4700.0, 100.0)),
    });
    let says = scene.says();
    assert!(says.contains("so the stop-point is in doubt"), "{says}");
    assert!(says.contains("Before, 4700 L was expected."), "{says}");
    assert!(
        !says.contains("stop at"),
        "no order on a doubtful figure: {says}"
    );
    let tile = scene.look(stop_tile::stop).into_string();
    assert!(tile.contains("in doubt"), "{tile}");
    assert!(tile.contains("between 4300 and 4800 L"), "{tile}");
}

#[test]
fn a_kettle_in_other_units_still_says_how_far_it_is_from_its_target() {
    let mut scene = Scene::calm();
    scene.display = Display {
        gravity: GravityUnit::SpecificGravity,
        volume: VolumeUnit::Hl,
        decimal: DecimalMark::Comma,
        language: Language::German,
    };
    let tile = scene.look(glance::kettle).into_string();
    assert!(
        tile.contains("über dem Ziel von SG 1,050 (±0,000"),
        "{tile}"
    );
    let says = scene.says();
    assert!(
        says.contains("mit 36,0 hL/h bei 44,0 hL in 40 min"),
        "{says}"
    );
}

//! Which fault provokes which alarm.
//!
//! Owns the brews of the alarm test: for every alarm of the table one fault of the simulators, or the course of a brew
//! that leads to it, on a tun that can show it. The moments are own choice, tried on the demonstration's tun; times are
//! shares of the planned run-off where the brew must have got somewhere first.

use std::collections::BTreeMap;

use lauter_core::alarm::AlarmId;
use lauter_core::reading::Measures;
use lauter_core::units::Unit;
use simulators::scenario::Influx;
use simulators::{Fault, Scenario};

use super::simulated::in_unit;
use super::trial::{Expected, Trial};

/// Longest simulated run-off over its plan.
const LONGEST_SHARE: f64 = 2.2;

/// The brews, and the alarms that this tun cannot show, with the reason.
#[derive(Debug)]
pub struct Provocations {
    pub trials: Vec<Trial>,
    pub cannot: BTreeMap<AlarmId, String>,
}

/// All provocations on this calm brew. `disabled`: alarms that the site has switched off.
pub fn all(base: &Scenario, disabled: &dyn Fn(AlarmId) -> bool) -> Provocations {
    let mut trials = vec![
        past_the_stop_point(base),
        to_the_limits(base),
        packing(base),
        wrong_pace(base),
        channel(base),
        instruments(base),
        link(base),
    ];
    let mut cannot = BTreeMap::new();
    for trial in &mut trials {
        trial.expected.retain(|expected| {
            let reason = if disabled(expected.alarm) {
                Some("switched off in the configuration".to_owned())
            } else {
                missing(expected.alarm, base)
            };
            match reason {
                Some(reason) => {
                    cannot.insert(expected.alarm, reason);
                    false
                }
                None => true,
            }
        });
    }
    trials.retain(|trial| !trial.expected.is_empty());
    Provocations { trials, cannot }
}

fn find(base: &Scenario, measures: Measures) -> Option<&simulators::scenario::Instrument> {
    base.instruments.iter().find(|i| i.measures == measures)
}

/// Why a tun with these instruments never raises the alarm.
fn missing(alarm: AlarmId, base: &Scenario) -> Option<String> {
    let has = |measures: Measures| find(base, measures).is_some();
    let needs: &[&[Measures]] = match alarm {
        AlarmId::Channelling | AlarmId::GravityFloor => &[&[Measures::RunningsGravity]],
        AlarmId::BedCompaction => &[&[Measures::BedPressureDrop]],
        AlarmId::StuckBed => &[
            &[Measures::RunoffFlow],
            &[Measures::BedPressureDrop, Measures::PumpRunning],
        ],
        AlarmId::PhCeiling => &[&[Measures::RunningsPh]],
        AlarmId::TanninLimitAhead | AlarmId::StopPointAhead | AlarmId::StopPointReached => &[
            &[Measures::RunningsGravity, Measures::KettleGravity],
            &[
                Measures::RunoffFlow,
                Measures::KettleVolume,
                Measures::RunoffTotal,
            ],
        ],
        AlarmId::RunoffTooFast | AlarmId::RunoffTooSlow => &[&[Measures::RunoffFlow]],
        AlarmId::TurbidRunnings => &[&[Measures::RunningsTurbidity]],
        AlarmId::InstrumentsDisagree => &[&[Measures::KettleVolume], &[Measures::RunoffFlow]],
        AlarmId::KettleHighLevel
        | AlarmId::InstrumentFault
        | AlarmId::LinkLost
        | AlarmId::DeliveryDelayed => &[],
    };
    let lacking = needs.iter().find(|any| !any.iter().any(|one| has(*one)))?;
    let names: Vec<String> = lacking
        .iter()
        .map(|one| crate::config::spelt(*one))
        .collect();
    Some(format!("this tun has no {}", names.join(" or ")))
}

fn course(alarm: AlarmId, words: &str) -> Expected {
    Expected {
        alarm,
        at_s: 0.0,
        fault: None,
        provoked_by: words.to_owned(),
    }
}

/// `command`: as on the simulators' console.
fn fault(alarm: AlarmId, at_s: f64, command: String) -> Expected {
    Expected {
        alarm,
        at_s,
        fault: Fault::from_command(&command).ok(),
        provoked_by: command,
    }
}

fn brew(base: &Scenario, name: &'static str, expected: Vec<Expected>) -> Trial {
    let mut scenario = base.clone();
    scenario.run.longest_s = LONGEST_SHARE * planned_s(base);
    scenario.influx = None;
    Trial {
        name,
        scenario,
        expected,
        beside: Vec::new(),
        to_the_end: false,
    }
}

fn planned_s(base: &Scenario) -> f64 {
    60.0 * base.plan.runoff_minutes
}

fn planned_flow_l_min(base: &Scenario) -> f64 {
    base.plan.planned_volume_l / base.plan.runoff_minutes
}

/// A brew that is never stopped: to its target, past it, and until the kettle is full.
fn past_the_stop_point(base: &Scenario) -> Trial {
    let mut trial = brew(
        base,
        "stop-point",
        vec![
            course(AlarmId::StopPointAhead, "a run-off near its target"),
            course(AlarmId::StopPointReached, "a run-off at its target"),
            course(AlarmId::KettleHighLevel, "a run-off that nobody stops"),
        ],
    );
    trial.scenario.run.past_target_s = trial.scenario.run.longest_s.max(600.0);
    trial
}

/// A target that the grist cannot give in time, and liquor that raises the pH: the runnings reach both limits first.
fn to_the_limits(base: &Scenario) -> Trial {
    let mut trial = brew(
        base,
        "limits",
        vec![
            course(
                AlarmId::TanninLimitAhead,
                "runnings washed down towards the gravity floor",
            ),
            course(
                AlarmId::GravityFloor,
                "runnings washed down to the gravity floor",
            ),
            course(
                AlarmId::PhCeiling,
                "alkaline liquor: runnings pH rises by 1.2",
            ),
        ],
    );
    let plan = &mut trial.scenario.plan;
    plan.gravity_floor_p = (0.25 * plan.first_wort_gravity_p).max(plan.gravity_floor_p);
    plan.target_gravity_p = plan.target_gravity_p.min(0.55 * plan.first_wort_gravity_p);
    plan.planned_volume_l *= 1.15;
    plan.runoff_minutes *= 1.15;
    trial.scenario.wort.ph_rise = 1.2;
    trial
}

/// The bed packs until the flow is lost.
fn packing(base: &Scenario) -> Trial {
    let at_s = 0.2 * planned_s(base);
    let command = format!("compaction factor=30 over_s={:.0}", 0.5 * planned_s(base));
    let mut stuck = fault(AlarmId::StuckBed, at_s, command.clone());
    // Once is enough: it is the same packing.
    stuck.fault = None;
    brew(
        base,
        "bed",
        vec![fault(AlarmId::BedCompaction, at_s, command), stuck],
    )
}

/// Flow far from the plan, and cloudy runnings.
fn wrong_pace(base: &Scenario) -> Trial {
    let flow_l_min = planned_flow_l_min(base);
    let mut trial = brew(
        base,
        "pace",
        vec![
            fault(
                AlarmId::RunoffTooFast,
                200.0,
                format!("flow-step {:.0}", 1.6 * flow_l_min),
            ),
            fault(
                AlarmId::RunoffTooSlow,
                960.0,
                format!("flow-step {:.0}", 0.5 * flow_l_min),
            ),
            course(
                AlarmId::TurbidRunnings,
                "a bed that does not clear: 150 EBC",
            ),
        ],
    );
    trial.scenario.wort.turbidity_ebc = 150.0;
    trial
}

fn channel(base: &Scenario) -> Trial {
    let at_s = 0.6 * planned_s(base);
    let command = "channel share=0.5 over_s=120".to_owned();
    brew(
        base,
        "channel",
        vec![fault(AlarmId::Channelling, at_s, command)],
    )
}

/// A line to instruments that goes down.
fn link(base: &Scenario) -> Trial {
    let mut used = base.instruments.iter().filter_map(|i| i.modbus.as_ref());
    let expected = match used.next() {
        Some(point) => fault(AlarmId::LinkLost, 60.0, format!("drop-link {}", point.link)),
        None => course(AlarmId::LinkLost, "no link"),
    };
    brew(base, "link", vec![expected])
}

/// A database, instruments and their agreement that fail one after the other.
fn instruments(base: &Scenario) -> Trial {
    let mut expected = vec![fault(
        AlarmId::DeliveryDelayed,
        60.0,
        "drop-link influx".to_owned(),
    )];
    let silent = find(base, Measures::RunningsTemperature)
        .or_else(|| find(base, Measures::RunningsPh))
        .or_else(|| base.instruments.first());
    let mut beside = Vec::new();
    if let Some(silent) = silent {
        let command = format!("dropout {}", silent.id);
        expected.push(fault(AlarmId::InstrumentFault, 400.0, command));
        let instrument = silent.id.clone();
        beside.push((600.0, Fault::Restore { instrument }));
    }
    let level = find(base, Measures::KettleVolume);
    let by_l = -0.35 * base.plan.planned_volume_l;
    if let Some(level) = level {
        let unit = level.span.map_or(level.unit, |span| span.unit);
        let by = if unit == Unit::Percent {
            100.0 * by_l / base.kettle.capacity_l
        } else {
            in_unit(unit, by_l)
        };
        let command = format!("drift {} per_h={by:.4}", level.id);
        expected.push(fault(AlarmId::InstrumentsDisagree, 1500.0, command));
    } else {
        expected.push(course(AlarmId::InstrumentsDisagree, ""));
    }
    let mut trial = brew(base, "instruments", expected);
    trial.beside = beside;
    trial.scenario.influx = Some(Influx {
        url: "http://127.0.0.1:9".to_owned(),
        organisation: "commission".to_owned(),
        bucket: "commission".to_owned(),
    });
    trial
}

#[cfg(test)]
mod tests {
    use super::super::simulated::calm;
    use super::*;

    fn provoked(base: &Scenario) -> Provocations {
        all(base, &|_| false)
    }

    #[test]
    fn every_alarm_of_the_table_has_a_fault_and_the_demonstrations_tun_can_show_them_all() {
        let provocations = provoked(&calm(Scenario::demonstration()));
        assert!(provocations.cannot.is_empty(), "{:?}", provocations.cannot);
        let expected = || provocations.trials.iter().flat_map(|trial| &trial.expected);
        for alarm in AlarmId::ALL {
            let count = expected()
                .filter(|expected| expected.alarm == alarm)
                .count();
            assert_eq!(count, 1, "{}", alarm.name());
        }
        for trial in &provocations.trials {
            assert!(
                trial.scenario.faults().is_empty(),
                "{}: {:?}",
                trial.name,
                trial.scenario.faults()
            );
        }
    }

    #[test]
    fn a_fault_that_is_told_is_one_that_the_simulators_understand_and_take() {
        let provocations = provoked(&calm(Scenario::demonstration()));
        for trial in &provocations.trials {
            let mut house = simulators::Brewhouse::new(&trial.scenario, 1);
            let mut faults = 0;
            for expected in &trial.expected {
                if let Some(fault) = &expected.fault {
                    assert_eq!(
                        Fault::from_command(&expected.provoked_by).as_ref(),
                        Ok(fault)
                    );
                    house
                        .inject(fault)
                        .unwrap_or_else(|error| panic!("{}: {error}", trial.name));
                    faults += 1;
                }
            }
            // The others come of the brew's own course.
            let by_course = ["stop-point", "limits"].contains(&trial.name);
            assert_eq!(faults == 0, by_course, "{}", trial.name);
        }
    }

    #[test]
    fn what_the_tun_has_no_instrument_for_or_the_site_has_switched_off_cannot_occur() {
        let mut base = calm(Scenario::demonstration());
        base.instruments.retain(|i| {
            ![Measures::RunningsTurbidity, Measures::BedPressureDrop].contains(&i.measures)
        });
        let provocations = all(&base, &|alarm| alarm == AlarmId::LinkLost);
        let cannot: Vec<&str> = provocations
            .cannot
            .keys()
            .map(|alarm| alarm.name())
            .collect();
        assert_eq!(
            cannot,
            [
                "bed-compaction",
                "stuck-bed",
                "turbid-runnings",
                "link-lost"
            ]
        );
        let why = &provocations.cannot[&AlarmId::StuckBed];
        assert_eq!(why, "this tun has no bed-pressure-drop or pump-running");
    }
}

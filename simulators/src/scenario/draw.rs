//! Invented brewhouses and brews for seeded studies.
//!
//! Owns the ranges. They are wide on purpose: what a supervisor does well on all of them it does not do by
//! being tuned to one. Grain holds about as much wort as its own weight, beds are 25 to 50 cm deep and
//! run-offs take 70 to 110 minutes: common practice, no source, for these and all others without one.

use lauter_core::reading::Measures;

use super::{
    Bed, Event, Kettle, Plan, Run, Scenario, Setpoint, Sparge, SpargeMode, Tun, Wort,
    draw_instruments,
};
use crate::fault::Fault;
use crate::model::wort::Wort as Volumes;
use crate::noise::Noise;

/// Streams of the draw, apart from those of the run.
const BREW_STREAM: u64 = 1000;
const INSTRUMENT_STREAM: u64 = 1001;
const EVENT_STREAM: u64 = 1002;
const LANES_STREAM: u64 = 1004;

/// Beds have three to eight lanes.
const FEWEST_LANES: usize = 3;
const LANES: usize = 6;

/// An ordinary brew without faults.
pub fn ordinary(seed: u64) -> Scenario {
    let noise = &mut Noise::stream(seed, BREW_STREAM);
    let mut scenario = brewhouse(seed, noise);
    scenario.bed.lanes = FEWEST_LANES + Noise::stream(seed, LANES_STREAM).choice(LANES);
    scenario.plan.planned_volume_l = remembered_volume_l(&scenario, noise);
    let instrument_noise = &mut Noise::stream(seed, INSTRUMENT_STREAM);
    scenario.instruments = draw_instruments::instruments(&scenario, instrument_noise);
    scenario.events = ordinary_events(&scenario, &mut Noise::stream(seed, EVENT_STREAM));
    scenario
}

/// Brewhouse and brew, before anybody knows how much wort it will give; no instruments yet.
fn brewhouse(seed: u64, noise: &mut Noise) -> Scenario {
    let grist_kg = noise.log_within(150.0, 4000.0).round();
    let first_wort_gravity_p = (noise.within(14.0, 22.0) * 100.0).round() / 100.0;
    let wort = wort(noise);
    let extract_kg_per_kg = noise.within(0.68, 0.79);
    let bed_area_m2 = grist_kg / noise.within(130.0, 200.0);
    let pipe_volume_l = grist_kg * noise.within(0.01, 0.06);
    let bed = bed(
        noise,
        extract_kg_per_kg,
        wort_per_kg(extract_kg_per_kg, first_wort_gravity_p, &wort) - pipe_volume_l / grist_kg,
    );
    let plan = plan(
        noise,
        seed,
        grist_kg,
        first_wort_gravity_p,
        extract_kg_per_kg,
    );
    let heel_share = if noise.chance(0.25) {
        noise.within(0.005, 0.03)
    } else {
        0.0
    };
    let kettle = Kettle {
        capacity_l: (plan.planned_volume_l * noise.within(1.4, 1.8)).round(),
        heel_l: (plan.planned_volume_l * heel_share).round(),
        heel_gravity_p: 0.0,
    };
    Scenario {
        name: format!("drawn-{seed}"),
        site: "simulated".to_owned(),
        seed,
        tun: Tun {
            name: "tun-1".to_owned(),
            bed_area_m2,
            pipe_volume_l,
            pressure_drop_limit_kpa: bed.compaction_threshold_kpa * 1.2,
        },
        sparge: sparge(noise),
        run: run(noise),
        bed,
        kettle,
        wort,
        plan,
        events: Vec::new(),
        instruments: Vec::new(),
        modbus_links: Vec::new(),
        mqtt: None,
        influx: None,
        web_listen: "127.0.0.1:8320".to_owned(),
    }
}

pub(super) fn tells_recirculation(scenario: &Scenario) -> bool {
    let mut measured = scenario.instruments.iter().map(|i| i.measures);
    measured.any(|measures| measures == Measures::Recirculating)
}

pub(super) fn wort_per_kg(extract_kg_per_kg: f64, gravity_p: f64, wort: &Wort) -> f64 {
    extract_kg_per_kg / Volumes::at(wort.temperature_c).concentration_kg_l(gravity_p)
}

pub(super) fn wort(noise: &mut Noise) -> Wort {
    Wort {
        temperature_c: noise.within(70.0, 78.0),
        cooling_k_per_h: noise.within(0.2, 3.0),
        first_wort_ph: noise.within(5.2, 5.65),
        ph_rise: noise.within(0.25, 0.95),
        ph_exponent: noise.within(0.9, 2.2),
        turbidity_ebc: noise.log_within(5.0, 40.0),
        first_turbidity_ebc: noise.log_within(40.0, 300.0),
        clearing_share: noise.within(0.05, 0.2),
    }
}

/// The factor by which a bed must shrink to leave some of the wort above it.
pub(super) fn fitting(bed_l_per_kg: f64, wort_l_per_kg: f64) -> f64 {
    (0.85 * wort_l_per_kg / bed_l_per_kg).min(1.0)
}

/// A bed that, with the pipe, holds at most 85 % of the wort there is.
fn bed(noise: &mut Noise, extract_kg_per_kg: f64, wort_l_per_kg: f64) -> Bed {
    let mobile_l_per_kg: f64 = noise.within(0.95, 1.6);
    let immobile_l_per_kg: f64 = noise.within(0.45, 0.95);
    let fits = fitting(mobile_l_per_kg + immobile_l_per_kg, wort_l_per_kg);
    let pressure_drop_kpa = noise.log_within(0.4, 3.0);
    let compaction_threshold_kpa = pressure_drop_kpa * noise.within(1.6, 2.6);
    Bed {
        extract_kg_per_kg,
        mobile_l_per_kg: mobile_l_per_kg * fits,
        immobile_l_per_kg: immobile_l_per_kg * fits,
        exchange_per_min: noise.log_within(0.015, 0.25),
        lanes: 6,
        lanes_seed: None,
        cells: 24,
        peclet: noise.log_within(8.0, 40.0),
        permeability_spread: noise.within(0.03, 0.4),
        unevenness: noise.log_within(0.002, 0.02),
        channel_area_share: noise.within(0.02, 0.08),
        pressure_drop_kpa,
        available_pressure_kpa: compaction_threshold_kpa * noise.within(2.0, 3.5),
        compaction_threshold_kpa,
        compaction_per_h: noise.within(0.3, 2.5),
        settling: noise.within(0.05, 0.5),
    }
}

fn sparge(noise: &mut Noise) -> Sparge {
    Sparge {
        mode: if noise.chance(0.6) {
            SpargeMode::Continuous
        } else {
            SpargeMode::Intermittent
        },
        temperature_c: noise.within(74.0, 79.0),
        head_mm: noise.within(12.0, 60.0),
        batch_mm: noise.within(15.0, 70.0),
        batch_flow_factor: noise.within(1.3, 2.5),
        liquor_l: None,
    }
}

/// The plan of a brewer who knows the yield to some per cent.
pub(super) fn plan(
    noise: &mut Noise,
    seed: u64,
    grist_kg: f64,
    first_wort_gravity_p: f64,
    extract_kg_per_kg: f64,
) -> Plan {
    let lowest_p = (0.66 * first_wort_gravity_p).max(10.0);
    let target_gravity_p = noise.within(lowest_p, (0.87 * first_wort_gravity_p).min(15.0));
    let target_gravity_p = (target_gravity_p * 10.0).round() / 10.0;
    // A first guess, from which the brewer of `remembered_volume` learns better.
    let density_kg_l = 1.0 + 0.004 * target_gravity_p - 0.027;
    let expected_l = 0.9 * extract_kg_per_kg * grist_kg / (target_gravity_p / 100.0) / density_kg_l;
    let noted = match noise.unit() {
        u if u < 0.25 => 0.0,
        _ => first_wort_gravity_p + 0.3 * noise.gaussian(),
    };
    Plan {
        brew: format!("drawn-{seed}"),
        recipe: "Drawn".to_owned(),
        grist_kg,
        target_gravity_p,
        planned_volume_l: expected_l.round(),
        runoff_minutes: noise.within(70.0, 110.0).round(),
        first_wort_gravity_p,
        noted_first_wort_gravity_p: Some((noted * 10.0).round() / 10.0),
        gravity_floor_p: 3.0,
        ph_ceiling: 6.0,
        ph_basis: "room".to_owned(),
    }
}

/// How far off the planned volume may be either way, share of the true one. Every error within is equally likely,
/// so that nine tenths of the planned volume always come before the true crossing.
pub const PLAN_ERROR: f64 = 0.06;

/// What earlier brews taught the brewer: the volume at target of the undisturbed brew, to some per cent.
pub(super) fn remembered_volume_l(scenario: &Scenario, noise: &mut Noise) -> f64 {
    let error = 1.0 + noise.within(-PLAN_ERROR, PLAN_ERROR);
    let brewhouse = crate::record::run(scenario, scenario.seed, |_| {});
    let volume_l = brewhouse
        .crossings()
        .target
        .map_or(scenario.plan.planned_volume_l, |crossing| crossing.volume_l);
    (volume_l * error).round()
}

/// A slow start, then about the planned flow with up to three changes.
pub(super) fn run(noise: &mut Noise) -> Run {
    let mut flow = vec![Setpoint {
        at_s: noise.within(0.0, 120.0).round(),
        share: noise.within(0.6, 1.0),
    }];
    let mut at_s = 0.0;
    for _ in 0..=noise.choice(4) {
        at_s += noise.within(400.0, 1400.0).round();
        flow.push(Setpoint {
            at_s,
            share: noise.within(0.85, 1.25),
        });
    }
    Run {
        step_s: 1.0,
        flow,
        ramp_per_min: noise.log_within(0.1, 2.0),
        unrest: noise.log_within(0.003, 0.02),
        past_target_s: 900.0,
        longest_s: 14_400.0,
    }
}

/// Recirculation at the start of most brews, a routine rake or a short pause in some. Where no switch tells that
/// wort goes back, the recording begins with the flow to the kettle: nothing measured could tell them apart.
pub(super) fn ordinary_events(scenario: &Scenario, noise: &mut Noise) -> Vec<Event> {
    let planned_s = scenario.plan.runoff_minutes * 60.0;
    let mut events = Vec::new();
    if noise.chance(0.75) && tells_recirculation(scenario) {
        events.push(Event {
            at_s: 0.0,
            what: Fault::Recirculate {
                for_s: noise.within(180.0, 700.0).round(),
            },
        });
    }
    if noise.chance(0.3) {
        events.push(Event {
            at_s: noise.within(0.2 * planned_s, 0.8 * planned_s).round(),
            what: Fault::Rake {
                for_s: noise.within(60.0, 240.0).round(),
                strength: noise.within(0.3, 0.9),
            },
        });
    }
    if noise.chance(0.2) {
        events.push(Event {
            at_s: noise.within(0.2 * planned_s, 0.8 * planned_s).round(),
            what: Fault::Pause {
                for_s: noise.within(60.0, 600.0).round(),
            },
        });
    }
    events.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    events
}

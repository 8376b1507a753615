//! The range of every number of a scenario.
//!
//! Wide enough for any brewhouse, narrow enough that the model stays within its tables and its steps.

use super::{Bed, Kettle, Plan, Run, Scenario, Sparge, Tun, Wort};

/// Key, value, least and greatest allowed.
pub type Range = (&'static str, f64, f64, f64);

/// Every range of a scenario's process; instruments and events have their own checks.
pub fn of(scenario: &Scenario) -> Vec<Range> {
    [
        plan(&scenario.plan).as_slice(),
        tun(&scenario.tun).as_slice(),
        bed(&scenario.bed).as_slice(),
        sparge(&scenario.sparge).as_slice(),
        kettle(&scenario.kettle).as_slice(),
        wort(&scenario.wort).as_slice(),
        run(&scenario.run).as_slice(),
    ]
    .concat()
}

fn plan(plan: &Plan) -> [Range; 7] {
    [
        ("plan.grist_kg", plan.grist_kg, 1.0, 100_000.0),
        ("plan.target_gravity_p", plan.target_gravity_p, 1.0, 30.0),
        ("plan.planned_volume_l", plan.planned_volume_l, 1.0, 1e6),
        ("plan.runoff_minutes", plan.runoff_minutes, 5.0, 1440.0),
        (
            "plan.first_wort_gravity_p",
            plan.first_wort_gravity_p,
            2.0,
            30.0,
        ),
        ("plan.gravity_floor_p", plan.gravity_floor_p, 0.0, 15.0),
        ("plan.ph_ceiling", plan.ph_ceiling, 4.0, 8.0),
    ]
}

fn tun(tun: &Tun) -> [Range; 3] {
    [
        ("tun.bed_area_m2", tun.bed_area_m2, 0.01, 200.0),
        ("tun.pipe_volume_l", tun.pipe_volume_l, 0.0, 5000.0),
        (
            "tun.pressure_drop_limit_kpa",
            tun.pressure_drop_limit_kpa,
            0.05,
            100.0,
        ),
    ]
}

fn bed(bed: &Bed) -> [Range; 15] {
    [
        ("bed.extract_kg_per_kg", bed.extract_kg_per_kg, 0.3, 0.9),
        ("bed.mobile_l_per_kg", bed.mobile_l_per_kg, 0.3, 5.0),
        ("bed.immobile_l_per_kg", bed.immobile_l_per_kg, 0.0, 3.0),
        ("bed.exchange_per_min", bed.exchange_per_min, 0.0, 10.0),
        ("bed.lanes", bed.lanes as f64, 1.0, 8.0),
        ("bed.cells", bed.cells as f64, 2.0, 60.0),
        ("bed.peclet", bed.peclet, 0.5, 2.0 * bed.cells as f64),
        ("bed.permeability_spread", bed.permeability_spread, 0.0, 2.0),
        ("bed.unevenness", bed.unevenness, 0.0, 0.1),
        ("bed.channel_area_share", bed.channel_area_share, 0.005, 0.5),
        ("bed.pressure_drop_kpa", bed.pressure_drop_kpa, 0.01, 50.0),
        (
            "bed.available_pressure_kpa",
            bed.available_pressure_kpa,
            0.02,
            100.0,
        ),
        (
            "bed.compaction_threshold_kpa",
            bed.compaction_threshold_kpa,
            0.02,
            100.0,
        ),
        ("bed.compaction_per_h", bed.compaction_per_h, 0.0, 100.0),
        ("bed.settling", bed.settling, 0.0, 5.0),
    ]
}

fn sparge(sparge: &Sparge) -> [Range; 4] {
    [
        ("sparge.temperature_c", sparge.temperature_c, 20.0, 95.0),
        ("sparge.head_mm", sparge.head_mm, 2.0, 1000.0),
        ("sparge.batch_mm", sparge.batch_mm, 1.0, 1000.0),
        (
            "sparge.batch_flow_factor",
            sparge.batch_flow_factor,
            1.0,
            10.0,
        ),
    ]
}

fn kettle(kettle: &Kettle) -> [Range; 3] {
    [
        ("kettle.capacity_l", kettle.capacity_l, 1.0, 1e6),
        ("kettle.heel_l", kettle.heel_l, 0.0, 1e6),
        ("kettle.heel_gravity_p", kettle.heel_gravity_p, 0.0, 30.0),
    ]
}

fn wort(wort: &Wort) -> [Range; 8] {
    [
        ("wort.temperature_c", wort.temperature_c, 40.0, 90.0),
        ("wort.cooling_k_per_h", wort.cooling_k_per_h, 0.0, 10.0),
        ("wort.first_wort_ph", wort.first_wort_ph, 4.5, 6.5),
        ("wort.ph_rise", wort.ph_rise, 0.0, 3.0),
        ("wort.ph_exponent", wort.ph_exponent, 0.2, 5.0),
        ("wort.turbidity_ebc", wort.turbidity_ebc, 0.0, 1000.0),
        (
            "wort.first_turbidity_ebc",
            wort.first_turbidity_ebc,
            0.0,
            5000.0,
        ),
        ("wort.clearing_share", wort.clearing_share, 0.001, 10.0),
    ]
}

fn run(run: &Run) -> [Range; 5] {
    [
        ("run.step_s", run.step_s, 0.05, 5.0),
        ("run.ramp_per_min", run.ramp_per_min, 0.001, 100.0),
        ("run.unrest", run.unrest, 0.0, 0.2),
        ("run.past_target_s", run.past_target_s, 600.0, 14_400.0),
        ("run.longest_s", run.longest_s, 60.0, 86_400.0),
    ]
}

//! Further brews on the tun of a drawn brewhouse.
//!
//! Owns what stays and what changes from brew to brew. The tun, its bed's habits and lanes, its liquor and its
//! instruments with all their errors stay; recipe, mass of grist, mash, schedule, the brewer's guess and the
//! small events change. Ranges are common practice, no source.

use super::{Scenario, draw, draw_instruments};
use crate::noise::Noise;

/// Streams of the further brews; one for each number.
const FAMILY_STREAM: u64 = 3000;

/// Seeds of runs on the same tun lie this far apart, so that flow and instruments do not repeat their noise.
const RUN_SEEDS_APART: u64 = 1 << 44;

/// The mass of grist varies this much about that of the first brew, share either way.
const GRIST_VARIES: f64 = 0.15;

/// What is left of chance in the bed at equal recipe, shares.
const VOLUME_SCATTER: f64 = 0.02;
const EXCHANGE_SCATTER: f64 = 0.10;
const RESISTANCE_SCATTER: f64 = 0.15;

/// A kettle holds at least this many planned volumes.
const LEAST_CAPACITY: f64 = 1.3;

/// The brew with this number; the first, 0, is the ordinary one.
pub fn brew(tun_seed: u64, number: u32) -> Scenario {
    let first = draw::ordinary(tun_seed);
    if number == 0 {
        return first;
    }
    let noise = &mut Noise::stream(tun_seed, FAMILY_STREAM + u64::from(number));
    let mut scenario = Scenario {
        name: format!("drawn-{tun_seed}-{number}"),
        seed: tun_seed + RUN_SEEDS_APART * u64::from(number),
        events: Vec::new(),
        ..first.clone()
    };
    scenario.bed.lanes_seed = Some(tun_seed);
    recipe(&mut scenario, noise);
    same_bed(&mut scenario, &first, noise);
    scenario.run = draw::run(noise);
    scenario.plan.planned_volume_l = draw::remembered_volume_l(&scenario, noise);
    kettle_and_instruments(&mut scenario);
    scenario.events = draw::ordinary_events(&scenario, noise);
    scenario
}

fn recipe(scenario: &mut Scenario, noise: &mut Noise) {
    let habitual_c = scenario.wort.temperature_c;
    let clearness = scenario.wort.turbidity_ebc;
    let grist_kg =
        (scenario.plan.grist_kg * noise.within(1.0 - GRIST_VARIES, 1.0 + GRIST_VARIES)).round();
    let first_wort_gravity_p = (noise.within(14.0, 22.0) * 100.0).round() / 100.0;
    scenario.wort = draw::wort(noise);
    scenario.wort.temperature_c = habitual_c;
    scenario.wort.turbidity_ebc = clearness;
    scenario.bed.extract_kg_per_kg = noise.within(0.68, 0.79);
    let first = scenario.plan.clone();
    scenario.plan = draw::plan(
        noise,
        scenario.seed,
        grist_kg,
        first_wort_gravity_p,
        scenario.bed.extract_kg_per_kg,
    );
    scenario.plan.brew = scenario.name.clone();
    scenario.plan.runoff_minutes = first.runoff_minutes;
}

/// The bed's habits for each kg of grist, with what is left to chance; the resistance grows with depth and flow.
fn same_bed(scenario: &mut Scenario, first: &Scenario, noise: &mut Noise) {
    let (plan, bed) = (&scenario.plan, &mut scenario.bed);
    let wort_l_per_kg = draw::wort_per_kg(
        bed.extract_kg_per_kg,
        plan.first_wort_gravity_p,
        &scenario.wort,
    ) - scenario.tun.pipe_volume_l / plan.grist_kg;
    let scatter = |share: f64, noise: &mut Noise| noise.within(1.0 - share, 1.0 + share);
    let mobile_l_per_kg = first.bed.mobile_l_per_kg * scatter(VOLUME_SCATTER, noise);
    let immobile_l_per_kg = first.bed.immobile_l_per_kg * scatter(VOLUME_SCATTER, noise);
    let fits = draw::fitting(mobile_l_per_kg + immobile_l_per_kg, wort_l_per_kg);
    bed.mobile_l_per_kg = mobile_l_per_kg * fits;
    bed.immobile_l_per_kg = immobile_l_per_kg * fits;
    bed.exchange_per_min = first.bed.exchange_per_min * scatter(EXCHANGE_SCATTER, noise);
    let deeper = plan.grist_kg / first.plan.grist_kg;
    let faster = plan.planned_volume_l / first.plan.planned_volume_l;
    bed.pressure_drop_kpa =
        first.bed.pressure_drop_kpa * deeper * faster * scatter(RESISTANCE_SCATTER, noise);
}

/// Instruments stay as they are; only what can be seen by them grows with a larger brew.
fn kettle_and_instruments(scenario: &mut Scenario) {
    let least_l = (LEAST_CAPACITY * scenario.plan.planned_volume_l).round();
    scenario.kettle.capacity_l = scenario.kettle.capacity_l.max(least_l);
    draw_instruments::widen_limits(scenario);
}

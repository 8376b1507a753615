//! Extract and water are neither made nor lost, whatever happens to the brew.

use proptest::prelude::*;
use simulators::{Brewhouse, Fault, Scenario};

fn faults() -> impl Strategy<Value = Fault> {
    prop_oneof![
        (0.1..0.7, 10.0..300.0).prop_map(|(share, over_s)| Fault::Channel { share, over_s }),
        (10.0..300.0, 0.0..1.0).prop_map(|(for_s, strength)| Fault::Rake { for_s, strength }),
        (10.0..900.0).prop_map(|for_s| Fault::Pause { for_s }),
        (10.0..900.0).prop_map(|for_s| Fault::Recirculate { for_s }),
        (0.0..120.0).prop_map(|to_l_min| Fault::FlowStep { to_l_min }),
        (1.5..8.0, 60.0..1800.0).prop_map(|(factor, over_s)| Fault::Compaction { factor, over_s }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn extract_and_water_are_conserved_to_a_billionth(
        seed in 0_u64..10_000,
        happenings in prop::collection::vec((30.0..900.0, faults()), 0..8),
    ) {
        let scenario = Scenario::draw(seed);
        let mut brewhouse = Brewhouse::new(&scenario, seed);
        let before = brewhouse.inventory();
        for (wait_s, fault) in happenings {
            brewhouse.advance(wait_s);
            brewhouse.inject(&fault).expect("a fault within its range");
        }
        brewhouse.advance(3000.0);
        let after = brewhouse.inventory();
        prop_assert!((after.extract_kg / before.extract_kg - 1.0).abs() < 1e-9);
        prop_assert!((after.water_kg / before.water_kg - 1.0).abs() < 1e-9);
    }

    #[test]
    fn no_wort_leaves_thicker_than_the_mash_or_thinner_than_water(seed in 0_u64..10_000) {
        let scenario = Scenario::draw(seed);
        // The mash is uneven by at most three of its standard deviations.
        let thickest_p = scenario.plan.first_wort_gravity_p * (1.0 + 3.2 * scenario.bed.unevenness);
        simulators::record::run(&scenario, seed, |brewhouse| {
            let gravity_p = brewhouse.truth().runnings_gravity_p;
            assert!((0.0..=thickest_p).contains(&gravity_p), "seed {seed}: {gravity_p} °P");
        });
    }
}

#[test]
fn kettle_gravity_is_extract_mass_over_wort_mass_at_the_recorded_crossing() {
    for seed in 0..30 {
        let scenario = Scenario::draw(seed);
        let mut last = None;
        let brewhouse = simulators::record::run(&scenario, seed, |brewhouse| {
            let truth = *brewhouse.truth();
            if brewhouse.crossings().target.is_none() {
                last = Some(truth);
            }
        });
        let crossing = brewhouse
            .crossings()
            .target
            .expect("drawn brews reach their target");
        let before = last.expect("a state before the crossing");
        assert!(
            before.kettle_gravity_p > scenario.plan.target_gravity_p,
            "seed {seed}"
        );
        assert!(crossing.elapsed_s >= before.elapsed_s, "seed {seed}");
        assert!(
            crossing.elapsed_s <= before.elapsed_s + scenario.run.step_s,
            "seed {seed}"
        );
        assert!(crossing.volume_l >= before.kettle_volume_l, "seed {seed}");
    }
}

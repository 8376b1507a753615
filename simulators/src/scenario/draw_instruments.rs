//! Invented instruments of varied quality for drawn brewhouses.
//!
//! Owns which instruments a brewhouse has and how good they are. Ranges go from a new and well-kept instrument to
//! a poor one that is still in use: common practice, no source.

use lauter_core::reading::Measures;
use lauter_core::units::Unit;

use super::{Bubbles, Dropouts, Instrument, Scenario};
use crate::noise::Noise;

/// An instrument that is perfect but for its interval.
fn plain(id: &str, measures: Measures, unit: Unit, low: f64, high: f64) -> Instrument {
    Instrument {
        id: id.to_owned(),
        measures,
        unit,
        span: None,
        temperature: None,
        low: Some(low),
        high: Some(high),
        stale_after_s: 15.0,
        every_s: 1.0,
        noise: 0.0,
        lag_s: 0.0,
        bias: 0.0,
        gain: 1.0,
        drift_per_h: 0.0,
        resolution: 0.0,
        bubbles: None,
        dropouts: None,
        modbus: None,
        mqtt: None,
    }
}

/// Gravity first; flow and temperature always; the rest as a brewhouse may have it.
pub fn instruments(scenario: &Scenario, noise: &mut Noise) -> Vec<Instrument> {
    let plan = &scenario.plan;
    let flow_l_min = plan.planned_volume_l / plan.runoff_minutes;
    let gain = 1.0 + 0.004 * noise.gaussian();
    let mut all = vec![gravity_meter(noise)];
    all.push(Instrument {
        noise: noise.log_within(0.02, 0.15),
        lag_s: noise.within(2.0, 20.0),
        bias: 0.15 * noise.gaussian(),
        resolution: 0.1,
        ..plain(
            "runnings_temperature",
            Measures::RunningsTemperature,
            Unit::Celsius,
            0.0,
            110.0,
        )
    });
    all.push(Instrument {
        noise: flow_l_min * noise.log_within(0.003, 0.02),
        lag_s: noise.within(0.5, 4.0),
        gain,
        ..plain(
            "runoff_flow",
            Measures::RunoffFlow,
            Unit::LitrePerMinute,
            0.0,
            5.0 * flow_l_min,
        )
    });
    if noise.chance(0.5) {
        let high = 20.0 * plan.planned_volume_l;
        all.push(Instrument {
            gain,
            resolution: 1.0,
            ..plain(
                "runoff_total",
                Measures::RunoffTotal,
                Unit::Litre,
                0.0,
                high,
            )
        });
    }
    if noise.chance(0.85) {
        let capacity_l = scenario.kettle.capacity_l;
        all.push(Instrument {
            noise: plan.planned_volume_l * noise.log_within(0.001, 0.006),
            lag_s: noise.within(1.0, 10.0),
            bias: plan.planned_volume_l * 0.004 * noise.gaussian(),
            gain: 1.0 + 0.006 * noise.gaussian(),
            ..plain(
                "kettle_level",
                Measures::KettleVolume,
                Unit::Litre,
                -0.05 * capacity_l,
                1.1 * capacity_l,
            )
        });
    }
    all.extend(bed_and_quality(scenario, noise));
    if noise.chance(0.6) {
        all.push(switch("rake_running", Measures::RakeRunning));
        all.push(switch("pump_running", Measures::PumpRunning));
    }
    if noise.chance(0.7) {
        all.push(recirculation_switch());
    }
    all
}

/// The switch that tells that wort goes back to the tun.
pub fn recirculation_switch() -> Instrument {
    switch("recirculating", Measures::Recirculating)
}

/// Raises the upper limits that an instrument has by the size of the brew to those of this scenario's.
pub fn widen_limits(scenario: &mut Scenario) {
    let plan = &scenario.plan;
    let flow_l_min = plan.planned_volume_l / plan.runoff_minutes;
    let capacity_l = scenario.kettle.capacity_l;
    let fresh_kpa = scenario.bed.pressure_drop_kpa;
    for instrument in &mut scenario.instruments {
        let least = match instrument.measures {
            Measures::RunoffFlow => 5.0 * flow_l_min,
            Measures::RunoffTotal => 20.0 * plan.planned_volume_l,
            Measures::KettleVolume => 1.1 * capacity_l,
            Measures::BedPressureDrop => 50.0 * fresh_kpa,
            _ => continue,
        };
        instrument.high = instrument.high.map(|high| high.max(least));
    }
}

fn switch(id: &str, measures: Measures) -> Instrument {
    Instrument {
        low: None,
        high: None,
        ..plain(id, measures, Unit::Bool, 0.0, 1.0)
    }
}

fn gravity_meter(noise: &mut Noise) -> Instrument {
    let lag_s = noise.within(1.0, 15.0);
    let every_s = [1.0, 1.0, 2.0, 5.0][noise.choice(4)];
    let bubbles = noise.chance(0.5).then(|| Bubbles {
        per_h: noise.within(2.0, 20.0),
        burst_s: noise.within(2.0, 15.0),
        depth: noise.log_within(2.0, 30.0),
    });
    let dropouts = noise.chance(0.3).then(|| Dropouts {
        per_h: noise.within(0.5, 4.0),
        for_s: noise.within(1.0, 5.0),
    });
    let (noise_p, bias_p, drift_p_per_h) = (
        noise.log_within(0.01, 0.1),
        0.08 * noise.gaussian(),
        0.04 * noise.gaussian(),
    );
    let kind = noise.unit();
    let (unit, low, high, scale) = match kind {
        k if k < 0.6 => (Unit::KilogramPerCubicMetre, 900.0, 1150.0, 4.1),
        k if k < 0.9 => (Unit::DegreePlato, -1.0, 32.0, 1.0),
        _ => (Unit::SpecificGravity, 0.95, 1.15, 0.0041),
    };
    let density = unit == Unit::KilogramPerCubicMetre;
    Instrument {
        temperature: density.then(|| "runnings_temperature".to_owned()),
        every_s,
        lag_s,
        noise: noise_p * scale,
        bias: bias_p * scale,
        drift_per_h: drift_p_per_h * scale,
        bubbles: bubbles.map(|b| Bubbles {
            depth: b.depth / 4.1 * scale,
            ..b
        }),
        dropouts,
        ..plain(
            "runnings_gravity",
            Measures::RunningsGravity,
            unit,
            low,
            high,
        )
    }
}

fn bed_and_quality(scenario: &Scenario, noise: &mut Noise) -> Vec<Instrument> {
    let mut all = Vec::new();
    if noise.chance(0.85) {
        let fresh_kpa = scenario.bed.pressure_drop_kpa;
        all.push(Instrument {
            noise: fresh_kpa * noise.log_within(0.003, 0.03),
            lag_s: noise.within(0.5, 5.0),
            bias: fresh_kpa * 0.02 * noise.gaussian(),
            ..plain(
                "bed_pressure_drop",
                Measures::BedPressureDrop,
                Unit::Kilopascal,
                -0.5,
                50.0 * fresh_kpa,
            )
        });
    }
    if noise.chance(0.8) {
        all.push(Instrument {
            noise: noise.log_within(0.003, 0.02),
            lag_s: noise.within(5.0, 40.0),
            temperature: Some("runnings_temperature".to_owned()),
            bias: 0.04 * noise.gaussian(),
            drift_per_h: 0.015 * noise.gaussian(),
            resolution: 0.01,
            ..plain("runnings_ph", Measures::RunningsPh, Unit::Ph, 2.0, 10.0)
        });
    }
    if noise.chance(0.6) {
        all.push(Instrument {
            noise: noise.within(0.5, 4.0),
            lag_s: noise.within(1.0, 10.0),
            ..plain(
                "runnings_turbidity",
                Measures::RunningsTurbidity,
                Unit::Ebc,
                0.0,
                2000.0,
            )
        });
    }
    if noise.chance(0.15) {
        all.push(Instrument {
            noise: noise.log_within(0.02, 0.1),
            lag_s: noise.within(20.0, 120.0),
            bias: 0.08 * noise.gaussian(),
            every_s: 5.0,
            ..plain(
                "kettle_gravity",
                Measures::KettleGravity,
                Unit::DegreePlato,
                -1.0,
                32.0,
            )
        });
    }
    all
}

//! The supervisor as a configuration describes it.
//!
//! Owns the one place where configuration becomes the core's parameters, so that the service, a replay and a
//! recovered run work with the same engine.

use lauter_core::alarm::{AlarmId, Settings};
use lauter_core::projection::Draws;
use lauter_core::supervisor::{Parameters, Plant, Supervisor};

use crate::config::Configuration;
use crate::config::model::AlarmSettings;

/// A supervisor for the configured tun, before anything has happened.
pub fn supervisor(configuration: &Configuration) -> Supervisor {
    let instruments = configuration
        .instruments
        .iter()
        .map(|each| each.instrument.clone())
        .collect();
    Supervisor::new(plant(configuration), instruments, parameters(configuration))
}

fn plant(configuration: &Configuration) -> Plant {
    Plant {
        bed_area_m2: configuration.tun.bed_area_m2,
        pipe_volume_l: configuration.tun.pipe_volume_l,
        pressure_drop_limit_kpa: configuration.tun.pressure_drop_limit_kpa,
        capacity_l: configuration.kettle.capacity_l,
        heel_l: configuration.kettle.heel_l,
        strapping: configuration.kettle.strapping.clone(),
    }
}

fn parameters(configuration: &Configuration) -> Parameters {
    let watch = &configuration.watch;
    let projection = &configuration.projection;
    Parameters {
        projection_every_s: projection.every_s,
        table_every_s: watch.table_every_s,
        runoff_every_s: watch.runoff_every_s,
        reading_every_s: watch.reading_every_s,
        no_flow_l_min: watch.no_flow_l_min,
        assumed_temperature_c: watch.assumed_temperature_c,
        wort_factor: watch.wort_factor,
        stop_ahead_s: projection.stop_ahead_s,
        limit_ahead_s: projection.limit_ahead_s,
        top_up_temperature_c: projection.top_up_temperature_c,
        alarms: configuration
            .alarms
            .iter()
            .map(|(alarm, changes)| (*alarm, settings(changes)))
            .collect(),
        ..Parameters::default()
    }
}

/// What this tun changes about an alarm.
pub fn alarm_settings(configuration: &Configuration, alarm: AlarmId) -> Settings {
    let changes = configuration.alarms.get(&alarm);
    changes.map_or_else(Settings::default, settings)
}

fn settings(changes: &AlarmSettings) -> Settings {
    Settings {
        enabled: changes.enabled,
        priority: changes.priority,
        on_delay_s: changes.on_delay_s,
        off_delay_s: changes.off_delay_s,
        limit: changes.limit,
        deadband: changes.deadband,
        longest_shelving_min: changes.longest_shelving_min,
    }
}

/// A digest of all settings that bear on the answers: equal digests, equal engines. Secrets do not enter.
pub fn digest(configuration: &Configuration) -> String {
    format!("{:016x}", Draws::seed_of(&format!("{configuration:?}")))
}

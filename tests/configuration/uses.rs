//! What a right configuration lacks for live service, for a plan, or beside another tun's.

use std::path::Path;

use lauter_core::projection::{PhBasis, Plan};
use lauterd::config;

use crate::support::{COMPLETE, edited, parse, with_instrument};

fn plan(ph_basis: PhBasis) -> Plan {
    let example = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/config/plan.toml"));
    Plan {
        ph_basis,
        ..config::load_plan(example).unwrap()
    }
}

#[test]
fn a_recorded_instrument_is_right_but_not_for_live_service() {
    let text = with_instrument(
        "id = \"ph\"\nmeasures = \"runnings-ph\"\nunit = \"pH\"\nlow = 2\nhigh = 10",
    );
    let errors = parse(&text).unwrap().check_live();
    assert_eq!(errors.len(), 1);
    assert_eq!(
        errors[0].to_string(),
        "tun.toml: instrument[2] \"ph\": is not read from anywhere; add [instrument.modbus] or [instrument.mqtt] (without \
         them it serves replay only)"
    );
    assert!(parse(COMPLETE).unwrap().check_live().is_empty());
}

#[test]
fn ph_needs_compensation_only_for_a_plan_on_the_basis_of_room() {
    let compensated = "unit = \"pH\"\ntemperature = \"runnings_temperature\"";
    let configuration = parse(&edited(COMPLETE, &[(compensated, "unit = \"pH\"")])).unwrap();
    assert!(configuration.check_plan(&plan(PhBasis::Process)).is_empty());
    let errors = configuration.check_plan(&plan(PhBasis::Room));
    assert_eq!(errors.len(), 1);
    assert_eq!(
        errors[0].to_string(),
        "tun.toml: instrument[2] \"runnings_ph\": temperature: is missing; the plan's ph_basis is \"room\", so the pH in \
         the line has to be converted with the id of the instrument that measures its temperature (or set ph_basis = \
         \"process\" in the plan)"
    );
    let complete = parse(COMPLETE).unwrap();
    assert!(complete.check_plan(&plan(PhBasis::Room)).is_empty());
}

#[test]
fn each_tun_and_each_serial_line_has_one_file() {
    let one = parse(COMPLETE).unwrap();
    let errors = config::clashes(&[one.clone(), one]);
    let errors: Vec<String> = errors.iter().map(ToString::to_string).collect();
    assert_eq!(
        errors,
        [
            "tun.toml: tun.name: is \"tun-1\" at site \"north-yard\", as in tun.toml; each tun has one file",
            "tun.toml: modbus_link[2] \"turbidity\": rtu: is \"/dev/ttyUSB0\", as in tun.toml; a serial line serves one file",
        ]
    );
}

#[test]
fn each_tun_has_its_own_client_identifier_at_the_broker() {
    let one = parse(COMPLETE).unwrap();
    let mut other = one.clone();
    other.tun.name = "tun-2".to_owned();
    other.modbus_links.clear();
    let errors = config::clashes(&[one, other]);
    assert_eq!(errors.len(), 1);
    assert_eq!(
        errors[0].to_string(),
        "tun.toml: mqtt.client_id: is \"lauterd-north-yard-tun-1\", as in tun.toml; a broker serves one connection of each \
         client identifier"
    );
}

//! The service and its tuns as they stand; the address it listens on.

use lauterd::exit::Kind;
use lauterd::web;

use crate::brewhouse::{Brewhouse, SITE, TUN};

#[test]
fn health_tells_the_version_and_how_the_record_fares() {
    let house = Brewhouse::new();
    let health = house.get_at("/api/v1/health").json();
    assert_eq!(health["service"], "lauterd");
    assert_eq!(health["version"], env!("CARGO_PKG_VERSION"));
    assert_eq!(health["tuns"], 1);
    assert_eq!(health["record"]["failed"], 0);
}

#[test]
fn every_tun_is_listed_and_answers_for_itself() {
    let house = Brewhouse::with_tuns(&[TUN, "tun-2"]);
    let listed = house.get_at("/api/v1/tuns").json();
    assert_eq!(
        listed["tuns"][1],
        serde_json::json!({"site": SITE, "tun": "tun-2"})
    );
    for name in [TUN, "tun-2"] {
        let status = house.get_at(&format!("/api/v1/tuns/{SITE}/{name}")).json();
        assert_eq!(status["tun"], name);
        assert_eq!(status["brew"], serde_json::Value::Null);
        assert_eq!(status["readings"][1]["cause"], "link-lost");
    }
}

#[test]
fn an_unknown_tun_is_answered_with_those_there_are() {
    let house = Brewhouse::new();
    let words = house.get_at("/api/v1/tuns/north-yard/tun-9").refused(404);
    assert!(
        words.contains("north-yard/tun-9") && words.contains("north-yard/tun-1"),
        "{words}"
    );
}

#[test]
fn an_unknown_path_and_a_wrong_method_are_answered_in_json() {
    let house = Brewhouse::new();
    for path in [
        "/other",
        "/api/v1",
        "/api/v1/",
        "/api/v1/nothing",
        "/api/v1/tuns/a",
    ] {
        let words = house.get_at(path).refused(404);
        assert!(words.contains("/api/v1"), "{words}");
    }
    let wrong = house.get("/brew");
    assert!(wrong.refused(405).contains("GET"));
    assert_eq!(wrong.header("allow"), Some("POST"));
    let undecodable = house.get("/brews/%FF").refused(400);
    assert!(undecodable.contains("UTF-8"), "{undecodable}");
    assert!(!house.get("/brews?limit=many").refused(400).is_empty());
}

#[test]
fn an_occupied_address_is_named_with_what_to_do() {
    let house = Brewhouse::new();
    let failure = house.wait(async { web::bind(house.address).unwrap_err() });
    assert_eq!(failure.kind, Kind::Unavailable);
    let address = house.address.to_string();
    assert!(
        failure.message.contains(&address) && failure.message.contains("[web]"),
        "{failure}"
    );
}

#[test]
fn an_address_of_another_machine_is_a_configuration_at_fault() {
    let house = Brewhouse::new();
    // 192.0.2.0/24 is set aside for documentation (RFC 5737): no machine has it.
    let failure = house.wait(async { web::bind("192.0.2.1:8780".parse().unwrap()).unwrap_err() });
    assert_eq!(failure.kind, Kind::Configuration);
    assert!(failure.message.contains("192.0.2.1:8780"), "{failure}");
}

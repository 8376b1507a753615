//! Figures and health for those who watch the watch.

use crate::brewhouse::Brewhouse;
use crate::people::{a_plan, tun};

#[test]
fn the_figures_are_those_of_the_status_and_a_missing_one_is_left_out() {
    let house = Brewhouse::new();
    let idle = house.get_at("/metrics");
    assert_eq!(
        idle.header("content-type"),
        Some("application/openmetrics-text; version=1.0.0; charset=utf-8")
    );
    let here = r#"{site="north-yard",tun="tun-1"}"#;
    assert!(
        idle.body
            .contains(&format!("lauterd_brew_running{here} 0\n"))
    );
    assert!(!idle.body.contains("lauterd_kettle_volume_litres{"));
    house.post("/brew", &a_plan());
    let brewing = house.get_at("/metrics").body;
    for line in [
        format!("lauterd_brew_running{here} 1"),
        format!("lauterd_kettle_volume_litres{here} 2411.8"),
        format!("lauterd_stop_volume_litres{here} 5000"),
        "lauterd_alarm_standing{site=\"north-yard\",tun=\"tun-1\",alarm=\"channelling\",instrument=\"\",\
         state=\"unacknowledged\",priority=\"high\"} 1"
            .to_owned(),
        "lauterd_reading{site=\"north-yard\",tun=\"tun-1\",instrument=\"runnings_gravity\",unit=\"degP\"} 12.345"
            .to_owned(),
        "lauterd_reading_believed{site=\"north-yard\",tun=\"tun-1\",instrument=\"kettle_gravity\"} 0".to_owned(),
    ] {
        assert!(brewing.contains(&format!("{line}\n")), "{line}\n{brewing}");
    }
    assert!(!brewing.contains("lauterd_runnings_ph{"));
    assert!(brewing.ends_with("# EOF\n"));
}

#[test]
fn the_service_is_alive_and_ready_while_its_tuns_answer() {
    let house = Brewhouse::new();
    for path in ["/healthz", "/readyz"] {
        let reply = house.get_at(path);
        assert_eq!(reply.status, 200, "{reply:?}");
        assert!(
            reply
                .header("content-type")
                .unwrap()
                .starts_with("text/plain")
        );
    }
}

#[test]
fn the_description_is_served_as_it_is_documented() {
    let house = Brewhouse::new();
    let served = house.get_at("/api/v1/openapi.json").json();
    assert!(
        served == lauterd::web::openapi(),
        "what is built in is old; after UPDATE_DOCUMENTS=1 on the test documents it is built anew"
    );
    assert_eq!(served["openapi"], "3.1.0");
    let path = tun("/notes")
        .replace("north-yard", "{site}")
        .replace("tun-1", "{tun}");
    assert_eq!(served["paths"][path]["post"]["operationId"], "note");
}

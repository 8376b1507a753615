//! The page that lists all tuns.

use jiff::Timestamp;
use lauterd::fleet::Fleet;
use lauterd::web::Entrance;
use tokio::sync::watch;

use crate::brewhouse::{Brewhouse, TUN};

fn overview(gravity_p: f64, page: &str) -> String {
    format!(
        r#"{{"time":"{}","seq":1,"brew":"2026-0412","phase":"first-wort","elapsed_s":600.0,"kettle_gravity_p":{gravity_p},
        "stop":{{"cause":"target-gravity","volume_l":4400.0,"elapsed_s":3600.0,"top_up_l":0.0,"final_volume_l":4400.0}},
        "page":{page}}}"#,
        Timestamp::now()
    )
}

/// A service with the list, and the list's other end.
fn listing() -> (Brewhouse, watch::Sender<Fleet>) {
    let (fleet, listening) = watch::channel(Fleet::default());
    let mut entrance = Entrance::open();
    entrance.fleet = Some(listening);
    (Brewhouse::behind(entrance, &[TUN]), fleet)
}

fn tell(fleet: &watch::Sender<Fleet>, below: &str, payload: &str) {
    fleet.send_modify(|fleet| {
        fleet.connected = true;
        fleet.hear(
            &format!("lauterd/{below}"),
            payload.as_bytes(),
            false,
            Timestamp::now(),
        );
    });
}

#[test]
fn without_a_list_there_is_no_page_and_the_answer_says_how_to_get_one() {
    let house = Brewhouse::new();
    let reply = house.get_at("/fleet");
    assert_eq!(reply.status, 404);
    assert!(reply.body.contains("fleet = true"), "{}", reply.body);
    assert_eq!(house.get_at("/fleet/parts").status, 404);
}

#[test]
fn every_tun_has_a_row_with_its_figures_alarms_and_a_way_to_its_own_page() {
    let (house, fleet) = listing();
    assert!(house.get_at("/fleet").body.contains("No tun has told"));
    tell(
        &fleet,
        "north/t-1/overview",
        &overview(14.2, "\"https://north.example/tuns/north/t-1\""),
    );
    tell(&fleet, "south/t-1/overview", &overview(9.5, "null"));
    tell(
        &fleet,
        "south/t-1/online",
        r#"{"time":"2026-04-12T08:00:00Z","seq":3,"online":false}"#,
    );
    tell(
        &fleet,
        "north/t-1/alarm/channelling",
        r#"{"time":"2026-04-12T08:00:00Z","seq":2,"alarm":"channelling","instrument":null,"to":"unacknowledged","priority":"high"}"#,
    );
    let html = house.get_at("/fleet").body;
    assert!(
        html.contains("2 tuns, 1 not there or silent, 1 with alarms"),
        "{html}"
    );
    let row = |site: &str| {
        let cell = format!(">{site}<");
        html.split("<tr")
            .find(|row| row.contains(&cell))
            .expect("a row")
            .to_owned()
    };
    let north = row("north");
    for shown in [
        "14.2 °P",
        "4400 L in 50 min",
        "First wort",
        "2026-0412",
        "there, 0 s ago",
        "aria-label=\"high\"",
    ] {
        assert!(north.contains(shown), "{shown}: {north}");
    }
    assert!(
        north.contains("href=\"https://north.example/tuns/north/t-1\""),
        "{north}"
    );
    let south = row("south");
    assert!(
        south.contains("not there") && !south.contains("9.5"),
        "{south}"
    );
    assert!(!south.contains("href"), "{south}");
}

#[test]
fn what_anybody_publishes_stays_text() {
    let (house, fleet) = listing();
    tell(
        &fleet,
        "<b>x<b>/t\"1/overview",
        &overview(1.0, "\"javascript:alert(1)\""),
    );
    let reply = house.get_at("/fleet");
    assert!(!reply.body.contains("<b>x"), "{}", reply.body);
    assert!(reply.body.contains("&lt;b&gt;x"), "{}", reply.body);
    assert!(!reply.body.contains("javascript:"), "{}", reply.body);
    let policy = reply.header("content-security-policy").expect("a policy");
    assert!(policy.starts_with("default-src 'self';"), "{policy}");
}

#[test]
fn a_list_whose_broker_is_away_says_so() {
    let (house, fleet) = listing();
    tell(&fleet, "north/t-1/overview", &overview(14.2, "null"));
    assert!(
        !house
            .get_at("/fleet")
            .body
            .contains("The broker is not reached")
    );
    fleet.send_modify(|fleet| fleet.connected = false);
    assert!(
        house
            .get_at("/fleet")
            .body
            .contains("The broker is not reached")
    );
}

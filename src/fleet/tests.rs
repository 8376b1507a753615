use proptest::prelude::*;

use super::*;

fn time(seconds: i64) -> Timestamp {
    Timestamp::from_second(1_776_945_600 + seconds).expect("a time")
}

fn hear(fleet: &mut Fleet, below: &str, payload: &str, retained: bool, now: i64) {
    let topic = format!("lauterd/north-yard/tun-1/{below}");
    fleet.hear(&topic, payload.as_bytes(), retained, time(now));
}

fn only(fleet: &Fleet) -> &FleetTun {
    fleet.tuns().next().expect("a tun").2
}

fn overview(at: i64) -> String {
    format!(
        r#"{{"time":"{}","seq":1,"brew":"b","phase":"sparge","elapsed_s":3000.0,"kettle_gravity_p":14.2,"stop":
        {{"cause":"target-gravity","volume_l":4400.0,"elapsed_s":3600.0,"top_up_l":0.0,"final_volume_l":4400.0}},
        "page":"https://north.example:8780/tuns/north-yard/tun-1","later":1}}"#,
        time(at)
    )
}

fn alarm(name: &str, state: &str, priority: &str) -> String {
    format!(
        r#"{{"time":"{}","seq":2,"elapsed_s":1.0,"alarm":"{name}","instrument":null,"from":"normal","to":"{state}",
        "priority":"{priority}","message":"","advice":"","evidence":{{}}}}"#,
        time(0)
    )
}

#[test]
fn a_tun_is_listed_from_what_the_broker_has_kept() {
    let mut fleet = Fleet::default();
    hear(&mut fleet, "overview", &overview(0), true, 20);
    hear(
        &mut fleet,
        "online",
        r#"{"time":"2026-04-23T12:00:00.000Z","seq":1,"online":true}"#,
        true,
        20,
    );
    let tun = only(&fleet);
    assert_eq!(tun.heard, Some(time(0)), "heard when it was sent");
    assert_eq!(tun.presence(time(20)), Presence::There);
    assert_eq!(tun.to_stop_s(time(20)), Some(580.0));
    assert_eq!(
        tun.page(),
        Some("https://north.example:8780/tuns/north-yard/tun-1")
    );
}

#[test]
fn a_tun_that_was_lost_or_falls_silent_is_not_shown_as_present() {
    let mut fleet = Fleet::default();
    hear(&mut fleet, "overview", &overview(0), false, 0);
    assert_eq!(only(&fleet).presence(time(45)), Presence::There);
    assert_eq!(only(&fleet).presence(time(46)), Presence::Silent);
    hear(
        &mut fleet,
        "online",
        r#"{"time":"2026-04-23T12:00:00.000Z","seq":1,"online":false}"#,
        false,
        10,
    );
    assert_eq!(only(&fleet).presence(time(11)), Presence::Gone);
    assert_eq!(
        only(&fleet).heard,
        Some(time(0)),
        "the broker spoke in its place"
    );
}

#[test]
fn alarms_stand_by_priority_until_they_are_normal_again() {
    let mut fleet = Fleet::default();
    hear(
        &mut fleet,
        "alarm/turbid-runnings",
        &alarm("turbid-runnings", "acknowledged", "low"),
        true,
        0,
    );
    hear(
        &mut fleet,
        "alarm/channelling",
        &alarm("channelling", "unacknowledged", "high"),
        true,
        0,
    );
    hear(
        &mut fleet,
        "alarm/stuck-bed",
        &alarm("stuck-bed", "suppressed", "high"),
        true,
        0,
    );
    let standing: Vec<AlarmId> = only(&fleet)
        .standing()
        .iter()
        .map(|alarm| alarm.alarm)
        .collect();
    assert_eq!(standing, [AlarmId::Channelling, AlarmId::TurbidRunnings]);
    hear(
        &mut fleet,
        "alarm/channelling",
        &alarm("channelling", "normal", "high"),
        false,
        1,
    );
    assert_eq!(only(&fleet).standing().len(), 1);
}

#[test]
fn a_page_that_is_no_web_address_is_no_link() {
    let mut fleet = Fleet::default();
    let evil = overview(0).replace("https://north.example:8780", "javascript:alert(1)//");
    hear(&mut fleet, "overview", &evil, true, 0);
    assert_eq!(only(&fleet).page(), None);
}

#[test]
fn a_cleared_topic_takes_the_tun_off_the_list() {
    let mut fleet = Fleet::default();
    hear(&mut fleet, "overview", &overview(0), true, 0);
    hear(&mut fleet, "overview", "", false, 1);
    assert_eq!(fleet.tuns().count(), 0);
}

#[test]
fn a_flood_of_names_finds_an_end() {
    let mut fleet = Fleet::default();
    for index in 0..TUNS_BOUND + 10 {
        let topic = format!("lauterd/site/{index}/overview");
        fleet.hear(&topic, overview(0).as_bytes(), false, time(0));
    }
    assert_eq!((fleet.tuns().count(), fleet.refused), (TUNS_BOUND, 10));
}

proptest! {
    #[test]
    fn no_message_at_all_upsets_the_list(
        below in "(online|overview|alarm/[a-z-]{1,12}|alarm|runoff)?/?",
        payload in proptest::collection::vec(any::<u8>(), 0..60),
    ) {
        let mut fleet = Fleet::default();
        fleet.hear(&format!("lauterd/a/b/{below}"), &payload, false, time(0));
        fleet.hear(&String::from_utf8_lossy(&payload), &payload, true, time(0));
        prop_assert!(fleet.tuns().count() <= 1);
    }
}

//! What the page says once nothing is measured any more, of many faults at once, and of names that look like markup.

use super::super::runoff::{Drawings, page};
use super::super::stopped::if_stopped;
use super::*;

#[test]
fn once_the_balance_rests_nobody_is_told_minutes_that_stand_still() {
    let mut scene = Scene::calm();
    for reading in &mut scene.status.readings {
        reading.value = None;
        reading.cause = Some(Cause::LinkLost);
    }
    scene.status.outlook.as_mut().unwrap().silent_s = Some(1500.0);
    let says = scene.says();
    assert!(
        says.starts_with("Nothing has been measured for 25 min"),
        "{says}"
    );
    assert!(!says.contains("40 min"), "{says}");
    let tile = scene.look(stop_tile::stop).into_string();
    assert!(
        tile.contains("not known") && tile.contains("nothing measured for 25 min"),
        "{tile}"
    );
    assert!(!tile.contains(">40<"), "{tile}");
    assert!(tile.contains("between 4300 and 4500 L."), "{tile}");
    let stopped = scene.look(if_stopped).into_string();
    assert!(stopped.contains("nothing measured for 25 min"), "{stopped}");
    scene.status.runoff.as_mut().unwrap().elapsed_s = 6100.0;
    let past = scene.look(stop_tile::stop).into_string();
    assert!(past.contains("reached") && !past.contains("ago"), "{past}");
}

#[test]
fn faults_of_several_instruments_on_one_link_are_one_entry_that_names_them() {
    let mut scene = Scene::calm();
    let instruments = &mut scene.configuration.instruments;
    let mut third = instruments[0].clone();
    third.instrument.id = "runnings_ph".to_owned();
    instruments.push(third);
    let ids: Vec<String> = instruments
        .iter()
        .map(|it| it.instrument.id.clone())
        .collect();
    for id in &ids {
        scene = scene.with_alarm(AlarmId::InstrumentFault, Normal, Unacknowledged);
        if let Some(Line::Alarm(line)) = scene.status.alarms.last_mut() {
            line.instrument = Some(id.clone());
        }
    }
    let panel = scene.look(alarms::panel).into_string();
    assert_eq!(panel.matches("class=\"group").count(), 1, "{panel}");
    assert!(panel.contains("3 on the link skid"), "{panel}");
    for id in &ids {
        assert!(panel.contains(&id.replace('_', " ")), "{id}: {panel}");
        assert!(panel.contains(&format!("ack-instrument-fault-{}", id.replace('_', "-"))));
    }
    assert!(panel.contains("Acknowledge all 3"), "{panel}");
    let says = scene.says();
    assert!(
        says.starts_with("Instrument fault: 3 on the link skid."),
        "{says}"
    );
    let next = scene.look(glance::next).into_string();
    assert!(next.contains("Acknowledge all 3"), "{next}");
    scene.status.alarms.pop();
    let two = scene.look(alarms::panel).into_string();
    assert!(!two.contains("class=\"group"), "{two}");
}

#[test]
fn faults_of_one_link_that_have_returned_are_one_entry_beside_those_that_stand() {
    let mut scene = Scene::calm();
    let first = scene.configuration.instruments[0].clone();
    for (id, to) in [
        ("one", Unacknowledged),
        ("two", Unacknowledged),
        ("three", Unacknowledged),
        ("four", ReturnedUnacknowledged),
        ("five", ReturnedUnacknowledged),
        ("six", ReturnedUnacknowledged),
    ] {
        let mut instrument = first.clone();
        instrument.instrument.id = id.to_owned();
        scene.configuration.instruments.push(instrument);
        scene = scene.with_alarm(AlarmId::InstrumentFault, Unacknowledged, to);
        if let Some(Line::Alarm(line)) = scene.status.alarms.last_mut() {
            line.instrument = Some(id.to_owned());
        }
    }
    let panel = scene.look(alarms::panel).into_string();
    assert_eq!(panel.matches("class=\"group").count(), 2, "{panel}");
    assert_eq!(panel.matches("Acknowledge all 3").count(), 2, "{panel}");
    for entry in ["data-link=\"skid\"", "data-link=\"skid (over)\""] {
        let buttons = panel.matches(entry).count();
        assert_eq!(buttons, 2, "the entry and its button, {entry}: {panel}");
    }
    assert!(panel.contains("four, five, six"), "{panel}");
}

#[test]
fn an_order_to_rake_stands_beside_its_caution() {
    let scene = Scene::calm().with_alarm(AlarmId::Channelling, Normal, Unacknowledged);
    let next = scene.look(glance::next).into_string();
    assert!(next.contains("rake gently"), "{next}");
    assert!(next.contains("Rakes are rotating machinery"), "{next}");
    let calm = Scene::calm().look(glance::next).into_string();
    assert!(!calm.contains("beware"), "{calm}");
}

#[test]
fn once_the_stop_point_is_past_no_minutes_to_it_are_told() {
    let mut scene = Scene::calm();
    scene.status.runoff.as_mut().unwrap().elapsed_s = 6130.0;
    let tile = scene.look(stop_tile::stop).into_string();
    assert!(tile.contains("between 4300 and 4500 L."), "{tile}");
    assert!(!tile.contains("0 to 0"), "{tile}");
}

#[test]
fn names_and_messages_that_look_like_markup_stay_text_on_the_whole_page() {
    let odd = |text: &str| format!("<i>{text}</i>");
    let mut scene = Scene::calm().with_alarm(AlarmId::InstrumentsDisagree, Normal, Unacknowledged);
    if let Some(Line::Alarm(line)) = scene.status.alarms.last_mut() {
        line.instrument = Some(odd("instrument"));
        line.message = odd("message");
    }
    scene.status.readings[0].instrument = odd("reading");
    scene.status.readings[0].value = None;
    scene.status.readings[0].cause = Some(Cause::Stale);
    (scene.status.site, scene.status.tun) = (odd("site"), odd("tun"));
    let plan = scene.status.plan.as_mut().unwrap();
    (plan.brew, plan.recipe) = (odd("brew"), odd("recipe"));
    let page = scene
        .look(|view| page(view, &Drawings::default()))
        .into_string();
    assert!(!page.contains("<i>"), "{page}");
    for name in [
        "site",
        "tun",
        "brew",
        "recipe",
        "instrument",
        "message",
        "reading",
    ] {
        assert!(
            page.contains(&format!("&lt;i&gt;{name}&lt;/i&gt;")),
            "{name}"
        );
    }
}

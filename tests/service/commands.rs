//! Commands through a real broker: carried out for whoever's token they bear, once, in time, and answered.

use jiff::{SignedDuration, Timestamp};
use lauterd::access::{Role, Token, UsersFile, new_token, token_digest};
use lauterd::config::{self, Secrets, Surroundings};
use lauterd::runtime::{Options, Service};
use lauterd::store::Database;
use lauterd::web::wire::{Asked, actions};
use serde_json::{Value, json};

use super::brewhouse::{Brewhouse, Site, flowing_at_once, set};
use super::mosquitto::{HeardMessage, Listener, Mosquitto, PASSWORD, USER, eventually};

struct Desk {
    service: Service,
    panel: Listener,
    topics: String,
    operator: String,
    watcher: String,
    plan: Value,
    _brewhouse: Brewhouse,
    site: Site,
}

fn add_token(site: &Site, name: &str, role: Role) -> String {
    let token = new_token().expect("a token");
    let known = Token {
        name: name.to_owned(),
        role,
        digest: token_digest(&token),
        until: None,
    };
    let path = site.path("users.toml");
    UsersFile::change(&path, |file| {
        file.tokens.push(known);
        Ok(())
    })
    .expect("the users' file");
    token
}

fn payload(id: &str, token: &str, time: Timestamp, own: Value) -> String {
    let mut payload = own;
    payload["id"] = json!(id);
    payload["token"] = json!(token);
    payload["time"] = json!(time);
    payload.to_string()
}

impl Desk {
    async fn open(broker: &Mosquitto) -> Self {
        let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
        let site = brewhouse.site();
        let operator = add_token(&site, "tun-panel", Role::Operate);
        let watcher = add_token(&site, "dashboard", Role::Watch);
        let password = site.path("password");
        std::fs::write(&password, PASSWORD).expect("the password");
        let configure = |table: &mut toml::Table| {
            let users = site.path("users.toml").display().to_string();
            set(table, "web.users_file", users);
            set(table, "mqtt.host", "127.0.0.1");
            set(table, "mqtt.port", i64::from(broker.port));
            set(table, "mqtt.username", USER);
            set(table, "mqtt.password_file", password.display().to_string());
            set(table, "mqtt.commands", true);
            // Only Modbus: this broker is for the commands.
            let kept = |instrument: &toml::Value| instrument.get("mqtt").is_none();
            let instruments = table["instrument"].as_array_mut().expect("instruments");
            instruments.retain(kept);
        };
        let path = site.configure(configure);
        let surroundings = Surroundings {
            secrets: Secrets::Read,
            ..Surroundings::none()
        };
        let configuration = config::load_with(&path, &surroundings).expect("it is right");
        let panel = broker.listener("panel", "lauterd/#");
        eventually("the panel listens", || panel.ready() > 0).await;
        let topics = format!("lauterd/{}/{}", site.scenario.site, site.scenario.tun.name);
        // The broker keeps it and would give it anew with every connection.
        let kept = payload(
            "kept",
            &operator,
            Timestamp::now(),
            json!({ "text": "kept" }),
        );
        panel
            .publish(&format!("{topics}/command/note"), &kept, true)
            .await;
        let service = Service::start(vec![configuration], Options::default())
            .await
            .expect("it starts");
        let plan: toml::Value = toml::from_str(&site.plan()).expect("TOML");
        let desk = Self {
            service,
            panel,
            topics,
            operator,
            watcher,
            plan: json!(plan),
            _brewhouse: brewhouse,
            site,
        };
        desk.until_listening().await;
        desk
    }

    /// A command before the subscription stands would be lost; this one is refused and proves that it stands.
    async fn until_listening(&self) {
        for number in 0..600 {
            let id = format!("are-you-there-{number}");
            let payload = payload(&id, "nobody", Timestamp::now(), json!({}));
            self.give("end-brew", &payload).await;
            tokio::time::sleep(std::time::Duration::from_millis(100)).await;
            if self
                .replies()
                .iter()
                .any(|reply| reply["command"] == "end-brew")
            {
                return;
            }
        }
        panic!("no command was answered");
    }

    async fn give(&self, name: &str, payload: &str) {
        let topic = format!("{}/command/{name}", self.topics);
        self.panel.publish(&topic, payload, false).await;
    }

    fn replies(&self) -> Vec<Value> {
        let below = format!("{}/reply/", self.topics);
        let messages = self.panel.messages().into_iter();
        let replies = messages.filter(|message: &HeardMessage| message.topic.starts_with(&below));
        replies.map(|message| message.json()).collect()
    }

    /// The replies to an id, once there are `count`.
    async fn replies_to(&self, id: &str, count: usize) -> Vec<Value> {
        let of_id = || -> Vec<Value> {
            let replies = self.replies().into_iter();
            replies.filter(|reply| reply["id"] == id).collect()
        };
        eventually(&format!("{count} replies to {id}"), || {
            of_id().len() >= count
        })
        .await;
        of_id()
    }

    async fn answer(&self, name: &str, id: &str, token: &str, own: Value) -> Value {
        let payload = payload(id, token, Timestamp::now(), own);
        self.give(name, &payload).await;
        self.replies_to(id, 1).await.remove(0)
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_brew_is_run_by_commands_and_the_trail_has_the_tokens_name() {
    let Some(broker) = Mosquitto::start().await else {
        return;
    };
    let desk = Box::pin(Desk::open(&broker)).await;
    let operator = desk.operator.as_str();
    let plan = json!({ "plan": desk.plan });
    let started = desk.answer("start-brew", "1", operator, plan).await;
    assert_eq!(started["status"], 200, "{started}");
    assert_eq!(started["result"]["brew"], desk.plan["brew"]);
    assert!(started["seq"].is_u64() && started["time"].is_string());
    let sample = json!({ "place": "kettle", "gravity_p": 17.0 });
    let taken = desk.answer("sample", "2", operator, sample).await;
    assert_eq!(taken["status"], 200, "{taken}");
    let note = json!({ "text": "coarse crush", "who": "anna" });
    let noted = desk.answer("note", "3", operator, note).await;
    assert_eq!(noted["result"]["who"], "tun-panel for anna", "{noted}");
    let shelve = json!({ "alarm": "runoff-too-slow", "minutes": 5.0, "reason": "trial" });
    let shelved = desk.answer("shelve", "4", operator, shelve).await;
    assert_eq!(shelved["status"], 200, "{shelved}");
    let ended = desk.answer("end-brew", "5", operator, json!({})).await;
    assert_eq!(ended["status"], 200, "{ended}");
    let events = || -> Vec<Value> {
        let topic = format!("{}/event", desk.topics);
        let messages = desk.panel.messages().into_iter();
        let events = messages.filter(|message| message.topic == topic);
        events.map(|message| message.json()).collect()
    };
    eventually("the note as an event", || {
        events()
            .iter()
            .any(|event| event["text"] == "tun-panel for anna: coarse crush")
    })
    .await;
    desk.service.end().await;
    let expected = ["brew-started", "sample", "note", "shelve", "brew-ended"];
    assert_eq!(trail(&desk.site), expected);
}

/// What the panel did, as the record has it.
fn trail(site: &Site) -> Vec<String> {
    let database = Database::open_read_only(&site.path("store")).expect("the record");
    let tun = database
        .find_tun(&site.scenario.site, &site.scenario.tun.name)
        .expect("the record")
        .expect("the tun");
    let asked = Asked {
        brew: None,
        days: 30.0,
        now: lauterd::clock::wall_now(),
    };
    let entries = actions(&database, tun, &asked)
        .expect("the record")
        .expect("entries");
    let by_panel = entries
        .into_iter()
        .filter(|entry| entry.who.starts_with("tun-panel"));
    by_panel.map(|entry| entry.action).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_command_without_right_in_time_or_form_is_answered_with_the_reason_and_does_nothing() {
    let Some(broker) = Mosquitto::start().await else {
        return;
    };
    let desk = Box::pin(Desk::open(&broker)).await;
    let (operator, watcher) = (desk.operator.as_str(), desk.watcher.as_str());
    let plan = json!({ "plan": desk.plan });
    for (id, name, token, own, status) in [
        ("1", "start-brew", "lauterd_unknown", plan.clone(), 401),
        ("2", "start-brew", watcher, plan.clone(), 403),
        ("3", "start-brew", operator, json!({ "plan": {} }), 422),
        (
            "4",
            "start-brew",
            operator,
            json!({ "plan": desk.plan, "x": 1 }),
            422,
        ),
        ("5", "open-valve", operator, json!({}), 404),
        ("6", "end-brew", operator, json!({}), 409),
        (
            "7",
            "acknowledge",
            operator,
            json!({ "alarm": "boil-over" }),
            404,
        ),
        (
            "8",
            "out-of-service",
            operator,
            json!({ "alarm": "stuck-bed", "reason": "x" }),
            403,
        ),
    ] {
        let answer = desk.answer(name, id, token, own).await;
        assert_eq!(answer["status"], status, "{answer}");
        assert!(
            answer["error"]
                .as_str()
                .is_some_and(|words| !words.is_empty())
        );
    }
    for (id, hours) in [("late", -1), ("early", 1)] {
        let time = Timestamp::now() + SignedDuration::from_hours(hours);
        let payload = payload(id, operator, time, plan.clone());
        desk.give("start-brew", &payload).await;
        let answer = desk.replies_to(id, 1).await.remove(0);
        assert_eq!(answer["status"], 409, "{answer}");
    }
    let status = desk.service.tuns[0].status().await.expect("a status");
    assert_eq!(status.brew, None);
    desk.service.end().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_command_that_is_delivered_twice_replayed_or_kept_is_carried_out_once() {
    let Some(broker) = Mosquitto::start().await else {
        return;
    };
    let desk = Box::pin(Desk::open(&broker)).await;
    let operator = desk.operator.as_str();
    let plan = json!({ "plan": desk.plan });
    let once = payload("once", operator, Timestamp::now(), plan);
    desk.give("start-brew", &once).await;
    desk.give("start-brew", &once).await;
    let replies = desk.replies_to("once", 2).await;
    assert_eq!(
        (&replies[0]["status"], &replies[1]["status"]),
        (&json!(200), &json!(200))
    );
    // Another command under the same id is none that was asked for twice.
    let other = payload("once", operator, Timestamp::now(), json!({}));
    desk.give("end-brew", &other).await;
    let replies = desk.replies_to("once", 3).await;
    assert_eq!(replies[2]["status"], 409, "{replies:?}");
    let status = desk.service.tuns[0].status().await.expect("a status");
    assert!(status.brew.is_some());
    let kept: Vec<Value> = desk
        .replies()
        .into_iter()
        .filter(|reply| reply["id"] == "kept")
        .collect();
    assert_eq!(kept, Vec::<Value>::new());
    desk.service.end().await;
}

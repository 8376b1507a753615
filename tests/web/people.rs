//! A service with users and tokens: who may do what, and what is written down.

use std::path::{Path, PathBuf};
use std::time::Duration;

use lauterd::access::{Access, Role, Token, User, UsersFile, hashed, new_token, token_digest};
use lauterd::config::model::Web;
use lauterd::web::{self, Entrance};
use serde_json::Value;
use tempfile::TempDir;

use crate::brewhouse::{Brewhouse, SITE, TUN};
use crate::http::{self, Reply};
use crate::invented::plan;

pub const PASSWORD: &str = "correct horse battery";

/// A brewhouse with the users anna (operate) and chief (engineer), and a token for each role.
pub struct Guarded {
    pub house: Brewhouse,
    pub users: PathBuf,
    tokens: Vec<(Role, String)>,
    _directory: TempDir,
}

pub fn add_user(path: &Path, name: &str, role: Role) {
    let user = User {
        name: name.to_owned(),
        role,
        password: hashed(PASSWORD).unwrap(),
    };
    UsersFile::change(path, |file| {
        file.users.push(user);
        Ok(())
    })
    .unwrap();
}

pub fn add_token(path: &Path, name: &str, role: Role, until: Option<&str>) -> String {
    let token = new_token().unwrap();
    let known = Token {
        name: name.to_owned(),
        role,
        digest: token_digest(&token),
        until: until.map(|until| until.parse().unwrap()),
    };
    UsersFile::change(path, |file| {
        file.tokens.push(known);
        Ok(())
    })
    .unwrap();
    token
}

pub fn web_settings(users: &Path) -> Web {
    Web {
        enabled: true,
        listen: "127.0.0.1:0".parse().unwrap(),
        host_name: Some("lauter.brewery.example".to_owned()),
        users_file: Some(users.to_owned()),
        certificate: None,
        session: Duration::from_secs(3600),
        watch_session: Duration::from_secs(7200),
        display: lauterd::config::model::Display::default(),
    }
}

/// What a browser holds after signing in.
pub struct Browser {
    pub cookie: String,
    pub csrf: String,
}

impl Guarded {
    pub fn new() -> Self {
        Self::with_session(Duration::from_secs(3600))
    }

    pub fn with_session(session: Duration) -> Self {
        let directory = tempfile::tempdir().unwrap();
        let users = directory.path().join("users.toml");
        add_user(&users, "anna", Role::Operate);
        add_user(&users, "chief", Role::Engineer);
        let roles = [Role::Watch, Role::Operate, Role::Engineer];
        let tokens = roles.map(|role| {
            (
                role,
                add_token(&users, &format!("{role:?}-panel"), role, None),
            )
        });
        let settings = Web {
            session,
            ..web_settings(&users)
        };
        Self {
            house: Brewhouse::behind(Entrance::of(&settings).unwrap(), &[TUN]),
            users,
            tokens: tokens.to_vec(),
            _directory: directory,
        }
    }

    pub fn token(&self, role: Role) -> &str {
        let found = self.tokens.iter().find(|(known, _)| *known == role);
        &found.unwrap().1
    }

    pub fn ask(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Reply {
        http::request(self.house.address, method, path, headers, body)
    }

    /// Signs in as the page does.
    pub fn sign_in(&self, name: &str) -> Browser {
        let form = format!("user={name}&password={}", PASSWORD.replace(' ', "+"));
        let reply = self.ask("POST", "/sign-in", &[FORM], &form);
        assert_eq!(reply.status, 303, "{reply:?}");
        let set = reply.header("set-cookie").unwrap();
        let cookie = set.split(';').next().unwrap().to_owned();
        let session = self.ask("GET", "/api/v1/session", &[("Cookie", &cookie)], "");
        Browser {
            csrf: session.json()["csrf"].as_str().unwrap().to_owned(),
            cookie,
        }
    }

    pub fn act(&self, browser: &Browser, path: &str, body: &str) -> Reply {
        let headers = [
            JSON,
            ("Cookie", browser.cookie.as_str()),
            ("X-Lauterd-Csrf", browser.csrf.as_str()),
        ];
        self.ask("POST", &tun(path), &headers, body)
    }

    fn with_token(&self, role: Role, method: &str, path: &str, body: &str) -> Reply {
        let bearer = format!("Bearer {}", self.token(role));
        let headers = [JSON, ("Authorization", bearer.as_str())];
        self.ask(method, path, &headers, body)
    }
}

pub const JSON: (&str, &str) = ("Content-Type", "application/json");
pub const FORM: (&str, &str) = ("Content-Type", "application/x-www-form-urlencoded");

pub fn tun(path: &str) -> String {
    format!("/api/v1/tuns/{SITE}/{TUN}{path}")
}

pub fn a_plan() -> String {
    serde_json::to_string(&plan("7")).unwrap()
}

#[test]
fn who_has_not_signed_in_sees_nothing_and_a_person_is_led_to_the_page() {
    let guarded = Guarded::new();
    for path in [
        "/api/v1/tuns",
        "/metrics",
        "/api/v1/openapi.json",
        "/nothing",
    ] {
        let refused = guarded.ask("GET", path, &[], "");
        assert!(refused.refused(401).contains("/sign-in"), "{path}");
        assert_eq!(refused.header("www-authenticate"), Some("Bearer"));
    }
    guarded
        .ask("POST", &tun("/brew"), &[JSON], &a_plan())
        .refused(401);
    let led = guarded.ask("GET", "/", &[("Accept", "text/html,*/*")], "");
    assert_eq!(
        (led.status, led.header("location")),
        (303, Some("/sign-in"))
    );
    for path in ["/healthz", "/readyz", "/sign-in.css"] {
        assert_eq!(guarded.ask("GET", path, &[], "").status, 200, "{path}");
    }
    assert!(guarded.house.done().is_empty());
}

/// A body that each operation takes.
fn body_of(operation: &str) -> &'static str {
    match operation {
        "sample" => r#"{"place":"kettle","gravity_p":12.0}"#,
        "note" => r#"{"text":"coarse crush"}"#,
        "raking" => r#"{"minutes":2}"#,
        "log_crush" => r#"{"gap_mm":0.45}"#,
        "operate_alarm" => r#"{"action":"acknowledge"}"#,
        _ => "{}",
    }
}

#[test]
fn each_operation_is_refused_to_roles_below_its_own_and_let_through_to_the_others() {
    let guarded = Guarded::new();
    let document = web::openapi();
    let mut tried = 0;
    for (path, operations) in document["paths"].as_object().unwrap() {
        for (method, operation) in operations.as_object().unwrap() {
            let needs: Option<Role> = serde_json::from_value(operation["x-needs"].clone()).unwrap();
            let Some(needs) = needs else { continue };
            let name = operation["operationId"].as_str().unwrap();
            // It goes on for as long as somebody listens, and the least role may.
            if name == "events" {
                continue;
            }
            let path = path
                .replace("{site}", SITE)
                .replace("{tun}", TUN)
                .replace("{alarm}", "stuck-bed")
                .replace("{number}", "1")
                .replace("{brew}", "none")
                .replace("{file}", "none")
                .replace("{chart}", "gravity");
            for role in [Role::Watch, Role::Operate, Role::Engineer] {
                let body = body_of(name);
                let reply = guarded.with_token(role, &method.to_uppercase(), &path, body);
                assert_eq!(
                    reply.status == 403,
                    role < needs,
                    "{name} as {role:?}: {reply:?}"
                );
                tried += 1;
            }
        }
    }
    assert!(tried >= 54, "only {tried}");
    let out = r#"{"action":"out-of-service","reason":"meter away"}"#;
    let path = tun("/alarms/stuck-bed");
    let refused = guarded.with_token(Role::Operate, "POST", &path, out);
    assert!(refused.refused(403).contains("needs engineer"));
    assert_eq!(
        guarded
            .with_token(Role::Engineer, "POST", &path, out)
            .status,
        200
    );
}

#[test]
fn what_is_done_bears_the_signed_in_name_whatever_the_body_says() {
    let guarded = Guarded::new();
    let anna = guarded.sign_in("anna");
    assert_eq!(guarded.act(&anna, "/brew", &a_plan()).status, 201);
    let sample = r#"{"place":"kettle","gravity_p":12.0}"#;
    assert_eq!(guarded.act(&anna, "/samples", sample).status, 200);
    let note = r#"{"text":"coarse crush","who":"somebody else"}"#;
    assert_eq!(guarded.act(&anna, "/notes", note).json()["who"], "anna");
    assert_eq!(
        guarded.act(&anna, "/raking", r#"{"minutes":2}"#).status,
        200
    );
    let alarm = r#"{"who":"somebody else","action":"acknowledge"}"#;
    let done = guarded.act(&anna, "/alarms/stuck-bed", alarm);
    assert_eq!(done.json()["who"], "anna");
    let panel = guarded.with_token(Role::Operate, "POST", &tun("/alarms/stuck-bed"), alarm);
    assert_eq!(panel.json()["who"], "Operate-panel for somebody else");
    assert_eq!(guarded.act(&anna, "/brew/end", "{}").status, 200);
    let reset = guarded.with_token(Role::Engineer, "DELETE", &tun("/profile"), "");
    assert_eq!(reset.status, 200, "{reset:?}");
    let done = guarded.house.done();
    let by: Vec<&str> = done
        .iter()
        .map(|text| {
            if text.contains("anna") {
                "anna"
            } else {
                "another"
            }
        })
        .collect();
    let expected = [
        "anna", "anna", "anna", "anna", "anna", "another", "anna", "another",
    ];
    assert_eq!(by, expected, "{done:?}");
    assert_eq!(done[7], "profile-reset by Engineer-panel");
}

#[test]
fn a_token_that_is_unknown_removed_or_over_its_time_is_refused() {
    let guarded = Guarded::new();
    let over = add_token(
        &guarded.users,
        "old",
        Role::Engineer,
        Some("2020-01-01T00:00:00Z"),
    );
    let ask = |given: &str| guarded.ask("GET", "/api/v1/tuns", &[("Authorization", given)], "");
    for given in [
        format!("Bearer {over}"),
        "Bearer lauterd_0".to_owned(),
        "Bearer".to_owned(),
        "Basic YW5uYTp4".to_owned(),
        format!("Token {}", guarded.token(Role::Watch)),
    ] {
        let refused = ask(&given);
        refused.refused(401);
        assert!(
            refused
                .header("www-authenticate")
                .unwrap()
                .starts_with("Bearer")
        );
    }
    let given = format!("bearer {}", guarded.token(Role::Watch));
    assert_eq!(ask(&given).status, 200);
    // A bad token is not made good by a good session.
    let anna = guarded.sign_in("anna");
    let both = [
        ("Authorization", "Bearer x"),
        ("Cookie", anna.cookie.as_str()),
    ];
    guarded.ask("GET", "/api/v1/tuns", &both, "").refused(401);
    UsersFile::change(&guarded.users, |file| {
        file.tokens.clear();
        Ok(())
    })
    .unwrap();
    ask(&given).refused(401);
}

#[test]
fn without_users_a_request_that_was_passed_on_may_only_watch() {
    let house = Brewhouse::new();
    let path = tun("/brew");
    for name in ["X-Forwarded-For", "Forwarded", "Via", "X-Real-IP"] {
        let headers = [JSON, (name, "192.0.2.7")];
        let ask = |method, path| http::request(house.address, method, path, &headers, &a_plan());
        assert!(
            ask("POST", &path).refused(403).contains("users_file"),
            "{name}"
        );
        assert_eq!(ask("GET", "/api/v1/tuns").status, 200);
    }
    assert!(house.done().is_empty());
    let here = http::request(house.address, "GET", "/api/v1/session", &[], "").json();
    assert_eq!(
        (&here["role"], &here["csrf"]),
        (&"engineer".into(), &Value::Null)
    );
}

#[test]
fn a_door_with_a_missing_or_wrong_users_file_is_not_opened() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("users.toml");
    let failure = Entrance::of(&web_settings(&path)).unwrap_err();
    assert!(failure.message.contains("lauterd user add"), "{failure}");
    std::fs::write(&path, "nonsense").unwrap();
    let failure = Entrance::of(&web_settings(&path)).unwrap_err();
    assert!(failure.message.contains("users.toml"), "{failure}");
    assert!(
        Access::open()
            .by_token("x", lauterd::clock::wall_now())
            .is_none()
    );
}

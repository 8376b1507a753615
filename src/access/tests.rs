use std::path::Path;

use super::*;

fn user(name: &str, role: Role, password: &str) -> User {
    User {
        name: name.to_owned(),
        role,
        password: hashed(password).unwrap(),
    }
}

fn add(path: &Path, user: User) {
    UsersFile::change(path, |file| {
        file.users.retain(|known| known.name != user.name);
        file.users.push(user);
        Ok(())
    })
    .unwrap();
}

const HERE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::LOCALHOST);
const HOUR: Duration = Duration::from_secs(3600);

fn moment(hours: f64) -> Moment {
    Moment::from_seconds(3600.0 * hours)
}

#[tokio::test]
async fn a_session_ends_with_its_time_its_user_and_a_new_password() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("users.toml");
    add(&path, user("anna", Role::Operate, "correct horse"));
    let access = Access::of_users(path.clone(), HOUR).unwrap();
    let wrong = access
        .sign_in(HERE, "anna", "wrong horse", moment(0.0))
        .await;
    assert_eq!(wrong, Err(SignInRefused::Wrong));
    let nobody = access
        .sign_in(HERE, "bert", "correct horse", moment(0.0))
        .await;
    assert_eq!(nobody, Err(SignInRefused::Wrong));
    let session = access
        .sign_in(HERE, "anna", "correct horse", moment(0.0))
        .await
        .unwrap();
    let caller = access.by_session(&session.id, moment(0.9)).unwrap();
    assert_eq!((caller.name.as_str(), caller.role), ("anna", Role::Operate));
    assert!(access.by_session(&session.id, moment(1.0)).is_none());

    add(&path, user("anna", Role::Watch, "another horse"));
    assert!(access.by_session(&session.id, moment(0.1)).is_none());
    let session = access
        .sign_in(HERE, "anna", "another horse", moment(0.0))
        .await
        .unwrap();
    let role = access.by_session(&session.id, moment(0.1)).unwrap().role;
    assert_eq!(role, Role::Watch);
    UsersFile::change(&path, |file| {
        file.users.clear();
        Ok(())
    })
    .unwrap();
    assert!(access.by_session(&session.id, moment(0.1)).is_none());
}

#[test]
fn a_token_is_taken_until_its_time_is_over_or_it_is_removed() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("users.toml");
    let token = new_token().unwrap();
    let until = "2026-07-01T00:00:00Z".parse().unwrap();
    UsersFile::change(&path, |file| {
        file.tokens.push(Token {
            name: "dashboard".to_owned(),
            role: Role::Watch,
            digest: secret::digest(&token),
            until: Some(until),
        });
        Ok(())
    })
    .unwrap();
    assert!(!std::fs::read_to_string(&path).unwrap().contains(&token));
    let access = Access::of_users(path.clone(), HOUR).unwrap();
    let before = "2026-06-30T23:59:59Z".parse().unwrap();
    assert_eq!(access.by_token(&token, before).unwrap().name, "dashboard");
    assert!(access.by_token(&token, until).is_none());
    assert!(access.by_token("lauterd_", before).is_none());
    std::fs::write(&path, "[[token]]\nname = 1\n").unwrap();
    assert!(access.by_token(&token, before).is_none());
}

#[test]
fn a_wrong_file_is_refused_with_its_line_and_without_its_hashes() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("users.toml");
    let hash = hashed("correct horse").unwrap();
    let anna = format!("[[user]]\nname = \"anna\"\nrole = \"operate\"\npassword = \"{hash}\"\n");
    for (text, part) in [
        (anna.replace("operate", "owner"), "line 3"),
        (anna.replace("name", "nom"), "line 2"),
        (anna.replace(&hash, "correct horse"), "no Argon2id hash"),
        (format!("{anna}{anna}"), "twice"),
        (anna.replace("anna", " "), "1 to 64 characters"),
    ] {
        std::fs::write(&path, &text).unwrap();
        let fault = Access::of_users(path.clone(), HOUR)
            .unwrap_err()
            .to_string();
        assert!(
            fault.contains(part) && fault.contains("users.toml"),
            "{fault}"
        );
        assert!(!fault.contains("argon2id$"), "{fault}");
    }
}

#[test]
fn the_file_is_for_its_owner_and_group_and_two_cannot_change_it_at_once() {
    use std::os::unix::fs::PermissionsExt as _;
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("users.toml");
    add(&path, user("anna", Role::Operate, "correct horse"));
    let mode = std::fs::metadata(&path).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o640);
    let inner = UsersFile::change(&path, |_| {
        let second = UsersFile::change(&path, |_| Ok(()));
        assert!(
            matches!(second, Err(UsersFileError::Locked { .. })),
            "{second:?}"
        );
        Ok(())
    });
    inner.unwrap();
    UsersFile::change(&path, |_| Err::<(), _>("refused".to_owned())).unwrap_err();
    UsersFile::change(&path, |_| Ok(())).unwrap();
}

#[test]
fn each_role_may_what_those_before_it_may_and_the_trail_has_the_signed_in_name() {
    let caller = |role, known| Caller {
        name: "anna".to_owned(),
        role,
        known,
    };
    let session = Known::Session {
        csrf: String::new(),
    };
    let operator = caller(Role::Operate, session.clone());
    assert!(operator.may(Role::Watch).is_ok() && operator.may(Role::Operate).is_ok());
    let refused = operator.may(Role::Engineer).unwrap_err().to_string();
    assert!(refused.contains("role operate"), "{refused}");
    assert_eq!(operator.who("somebody else"), "anna");
    assert_eq!(
        caller(Role::Operate, Known::Token).who("bert"),
        "anna for bert"
    );
    assert_eq!(caller(Role::Operate, Known::Token).who(""), "anna");
    let here = Caller::nameless(true);
    assert_eq!(here.who("bert"), "bert");
    assert_eq!(here.who_or_somebody(None), AT_THIS_MACHINE);
    assert!(here.may(Role::Engineer).is_ok());
    let named = here.called(Some("cara".to_owned()));
    assert_eq!(named.who_or_somebody(None), "cara");
    assert_eq!(named.who("bert"), "bert");
    let elsewhere = Caller::nameless(false);
    assert!(elsewhere.may(Role::Watch).is_ok());
    let refused = elsewhere.may(Role::Operate).unwrap_err().to_string();
    assert!(refused.contains("users_file"), "{refused}");
}

#[test]
fn texts_are_the_same_or_not() {
    assert!(same("abc", "abc") && same("", ""));
    assert!(!same("abc", "abd") && !same("abc", "ab"));
}

#[tokio::test]
async fn a_session_outlives_the_service_and_watching_lasts_longer() {
    use std::os::unix::fs::PermissionsExt as _;

    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("users.toml");
    add(&path, user("anna", Role::Operate, "correct horse"));
    add(&path, user("wall", Role::Watch, "correct horse"));
    let open = || {
        Access::of_users(path.clone(), HOUR)
            .unwrap()
            .with_watch_session(30 * 24 * HOUR)
            .keeping_sessions_in(directory.path().join("sessions.json"))
    };
    let access = open();
    let now = access.now();
    let anna = access.sign_in(HERE, "anna", "correct horse", now).await;
    let wall = access.sign_in(HERE, "wall", "correct horse", now).await;
    let (anna, wall) = (anna.unwrap(), wall.unwrap());
    assert_eq!((anna.lasts_s(), wall.lasts_s()), (3600, 30 * 24 * 3600));
    let file = directory.path().join("sessions.json");
    let mode = std::fs::metadata(&file).unwrap().permissions().mode();
    assert_eq!(mode & 0o077, 0, "nobody else reads it");

    let again = open();
    let later = again.now();
    let caller = again.by_session(&anna.id, later).unwrap();
    assert_eq!(caller.name, "anna");
    assert_eq!(
        caller.known,
        Known::Session {
            csrf: anna.csrf.clone()
        }
    );
    let day = Moment(later.0 + 24 * 3600 * 1_000_000);
    assert!(again.by_session(&anna.id, day).is_none());
    assert!(again.by_session(&wall.id, day).is_some());
    again.sign_out(&wall.id);
    assert!(open().by_session(&wall.id, later).is_none());
    std::fs::write(&file, "[").unwrap();
    assert!(open().by_session(&anna.id, later).is_none());
}

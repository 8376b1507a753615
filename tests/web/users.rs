//! The commands that keep users and tokens.

use std::io::Write as _;
use std::process::{Command, Stdio};

use crate::command_line::{Outcome, lauterd};
use lauterd::access::{Access, UsersFile};

fn with_input(arguments: &[&str], input: &str) -> Outcome {
    let mut child = Command::new(env!("CARGO_BIN_EXE_lauterd"))
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child
        .stdin
        .take()
        .unwrap()
        .write_all(input.as_bytes())
        .unwrap();
    child.wait_with_output().unwrap().into()
}

#[test]
fn users_are_added_changed_listed_and_removed() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("users.toml");
    let file = ["--users-file", path.to_str().unwrap()];
    let add = |name: &str, role: &str, password: &str| {
        with_input(
            &[&["user", "add", name, "--role", role], &file[..]].concat(),
            password,
        )
    };
    let missing = lauterd(&[&["user", "list"], &file[..]].concat());
    assert!(
        missing.failed(66).contains("lauterd user add"),
        "{missing:?}"
    );
    let short = add("anna", "operate", "too short\n");
    assert!(short.failed(65).contains("10 characters"), "{short:?}");
    assert_eq!(
        add("anna", "operate", "correct horse\n").done(),
        "user anna added, role operate\n"
    );
    let text = std::fs::read_to_string(&path).unwrap();
    assert!(text.contains("$argon2id$") && !text.contains("correct horse"));
    assert_eq!(
        add("anna", "engineer", "another horse").done(),
        "user anna changed, role engineer\n"
    );
    add("bert", "watch", "third horse!\n").done();
    let list = lauterd(&[&["user", "list"], &file[..]].concat());
    assert_eq!(list.done(), "engineer  anna\nwatch     bert\n");
    lauterd(&[&["user", "remove", "bert"], &file[..]].concat()).done();
    let again = lauterd(&[&["user", "remove", "bert"], &file[..]].concat());
    assert!(again.failed(65).contains("no user bert"), "{again:?}");
    assert_eq!(add("a", "owner", "correct horse\n").code, Some(64));
    assert_eq!(UsersFile::read(&path).unwrap().users.len(), 1);
}

#[test]
fn a_token_is_shown_once_and_known_until_it_is_removed() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("users.toml");
    let file = ["--users-file", path.to_str().unwrap()];
    let run = |arguments: &[&str]| lauterd(&[arguments, &file[..]].concat());
    let made = run(&[
        "token",
        "add",
        "dashboard",
        "--role",
        "watch",
        "--days",
        "1",
    ]);
    let token = made.done().trim().to_owned();
    let access = Access::of_users(path.clone(), std::time::Duration::from_secs(1)).unwrap();
    let now = lauterd::clock::wall_now();
    assert_eq!(access.by_token(&token, now).unwrap().name, "dashboard");
    assert!(!std::fs::read_to_string(&path).unwrap().contains(&token));
    let twice = run(&["token", "add", "dashboard", "--role", "operate"]);
    assert!(twice.failed(65).contains("there already"), "{twice:?}");
    assert!(
        run(&["token", "list"])
            .done()
            .starts_with("watch     dashboard, until 20")
    );
    assert_eq!(
        run(&["token", "add", "x", "--role", "watch", "--days", "0"]).code,
        Some(64)
    );
    run(&["token", "remove", "dashboard"]).done();
    assert!(access.by_token(&token, now).is_none());
}

#[test]
fn the_configuration_names_the_file_or_is_told_to() {
    let directory = tempfile::tempdir().unwrap();
    let minimal = include_str!("../../config/minimal.toml");
    let path = directory.path().join("users.toml");
    let config = directory.path().join("tun.toml");
    let here = ["--config", config.to_str().unwrap()];
    let list = || lauterd(&[&["user", "list"], &here[..]].concat());
    std::fs::write(&config, minimal).unwrap();
    assert!(list().failed(78).contains("--users-file"));
    std::fs::write(
        &config,
        format!("{minimal}\n[web]\nusers_file = {path:?}\n"),
    )
    .unwrap();
    let add = [&["user", "add", "anna", "--role", "watch"], &here[..]].concat();
    with_input(&add, "correct horse\n").done();
    assert_eq!(list().done(), "watch     anna\n");
}

//! How the commands find the service and the tun, what they say when they do not, and their help.

use std::net::TcpListener;

use crate::brewhouse::{Brewhouse, TUN};
use crate::command_line::lauterd;

#[test]
fn of_several_tuns_one_must_be_named_and_the_status_shows_all() {
    let house = Brewhouse::with_tuns(&[TUN, "tun-2"]);
    let ambiguous = house.command(&["brew", "end"]);
    let words = ambiguous.failed(64);
    assert!(
        words.contains("--tun: north-yard/tun-1, north-yard/tun-2"),
        "{words}"
    );
    let all = house.command(&["status"]);
    assert!(all.done().contains("north-yard/tun-2"), "{all:?}");
    let one = house.command(&["status", "--tun", "north-yard/tun-2"]);
    assert!(!one.done().contains("north-yard/tun-1"), "{one:?}");
    let unknown = house.command(&["brew", "end", "--tun", "north-yard/tun-9"]);
    assert!(
        unknown.failed(64).contains("it serves north-yard/tun-1"),
        "{unknown:?}"
    );
    assert_eq!(
        house.command(&["brew", "end", "--tun", "tun-2"]).code,
        Some(64)
    );
}

#[test]
fn the_configuration_tells_address_and_tun() {
    let house = Brewhouse::with_tuns(&["other", TUN]);
    let minimal = include_str!("../../config/minimal.toml");
    let configured = |web: &str| {
        let file = house.write("tun.toml", &format!("{minimal}\n[web]\n{web}\n"));
        lauterd(&[
            "brew",
            "start",
            "--plan",
            &house.plan_file("7"),
            "--config",
            file.to_str().unwrap(),
        ])
    };
    let started = configured(&format!("listen = \"{}\"", house.address));
    assert_eq!(started.done(), "north-yard/tun-1: brew 7 started\n");
    // Listening everywhere includes the loopback.
    let everywhere = configured(&format!("listen = \"0.0.0.0:{}\"", house.address.port()));
    assert!(
        everywhere.failed(64).contains("brew 7 is under way"),
        "{everywhere:?}"
    );
    let off = configured("enabled = false");
    assert!(off.failed(78).contains("web.enabled"), "{off:?}");
    let wrong = configured("port = 1");
    assert!(wrong.failed(78).contains("tun.toml"), "{wrong:?}");
    assert!(
        lauterd(&["status", "--config", "no-such.toml"])
            .failed(66)
            .contains("no-such.toml")
    );
    assert_eq!(
        lauterd(&["status", "--config", "x", "--url", "http://127.0.0.1:1"]).code,
        Some(64)
    );
}

#[test]
fn a_service_that_does_not_answer_is_named_and_asked_after() {
    // Bound and let go: nobody listens there.
    let free = TcpListener::bind("127.0.0.1:0")
        .unwrap()
        .local_addr()
        .unwrap();
    let url = format!("http://{free}");
    for command in [
        vec!["status"],
        vec!["brew", "end"],
        vec!["brew", "list"],
        vec!["brew", "table"],
        vec!["brew", "export", "7", "--into", "nowhere"],
        vec!["sample", "--place", "kettle", "--gravity", "12"],
        vec!["alarms", "acknowledge", "stuck-bed", "--who", "x"],
    ] {
        let outcome = lauterd(&[&command[..], &["--url", &url]].concat());
        let words = outcome.failed(69);
        assert!(
            words.contains(&url) && words.contains("is lauterd running?"),
            "{words}"
        );
    }
}

#[test]
fn something_else_at_the_address_is_told_apart() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("http://{}", listener.local_addr().unwrap());
    let server = std::thread::spawn(move || {
        use std::io::{Read, Write};
        for body in ["<html>", "{}"] {
            let (mut stream, _) = listener.accept().unwrap();
            let _ = stream.read(&mut [0; 4096]).unwrap();
            let length = body.len();
            write!(
                stream,
                "HTTP/1.1 200 OK\r\nContent-Length: {length}\r\n\r\n{body}"
            )
            .unwrap();
        }
    });
    for _ in 0..2 {
        let outcome = lauterd(&["status", "--url", &url]);
        let words = outcome.failed(69);
        assert!(
            words.contains(&url) && words.contains("no lauterd of this version"),
            "{words}"
        );
    }
    server.join().unwrap();
}

#[test]
fn an_address_that_is_none_is_a_usage_error() {
    for url in [
        "127.0.0.1:8780",
        "ftp://127.0.0.1:8780",
        "http://127.0.0.1:8780/api",
    ] {
        let outcome = lauterd(&["status", "--url", url]);
        assert!(
            outcome.failed(64).contains("http://127.0.0.1:8780"),
            "{outcome:?}"
        );
    }
}

#[test]
fn every_command_helps_with_an_example_that_is_understood() {
    for command in [
        "status",
        "sample",
        "brew",
        "brew start",
        "brew end",
        "brew list",
        "brew table",
        "brew export",
        "alarms",
        "alarms acknowledge",
        "alarms shelve",
        "alarms unshelve",
        "alarms out-of-service",
        "alarms return",
        "alarms list",
        "alarms report",
        "alarms trail",
    ] {
        let words: Vec<&str> = command.split(' ').collect();
        let help = lauterd(&[&words[..], &["--help"]].concat());
        let page = help.done().replace("\\\n", " ");
        let examples: Vec<&str> = page
            .lines()
            .filter_map(|line| line.trim().strip_prefix("lauterd "))
            .filter(|line| !line.contains("[OPTIONS]") && !line.contains("<COMMAND>"))
            .collect();
        assert!(
            !examples.is_empty(),
            "lauterd {command} shows no example:\n{}",
            help.out
        );
        for example in examples {
            // Understood is: whatever comes of it, it is not for want of arguments.
            let mut arguments = split(example);
            if !arguments.iter().any(|a| a == "--config" || a == "--url") {
                arguments.extend(["--url".to_owned(), "http://127.0.0.1:1".to_owned()]);
            }
            let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
            let outcome = lauterd(&arguments);
            assert_ne!(outcome.code, Some(64), "{example}: {outcome:?}");
        }
    }
}

/// Words as a shell splits them, with double quotes.
fn split(line: &str) -> Vec<String> {
    line.split('"')
        .enumerate()
        .flat_map(|(index, part)| {
            if index % 2 == 1 {
                vec![part.to_owned()]
            } else {
                part.split_whitespace().map(str::to_owned).collect()
            }
        })
        .collect()
}

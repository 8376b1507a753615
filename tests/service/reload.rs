//! The process as its manager sees it: ready, alive, reloaded, ended.

use std::fs;
use std::os::unix::net::UnixDatagram;
use std::process::Command;
use std::time::{Duration, Instant};

use super::brewhouse::{Brewhouse, Site, flowing_at_once, free_port, set};
use super::http::get;
use super::mosquitto::{self, Mosquitto, eventually};
use super::program::Program;

/// Makes the configuration unfit.
type Spoil<'a> = Box<dyn Fn() + 'a>;

fn signal(program: &Program, name: &str) {
    let sent = Command::new("kill")
        .args(["-s", name, &program.id().to_string()])
        .status();
    assert!(sent.expect("kill runs").success());
}

fn change(site: &Site, change: impl FnOnce(&mut toml::Table)) {
    let path = site.path("tun.toml");
    let text = fs::read_to_string(&path).expect("the configuration");
    let mut table: toml::Table = text.parse().expect("TOML");
    change(&mut table);
    fs::write(path, table.to_string()).expect("written");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_new_configuration_is_taken_whole_or_not_at_all_while_a_brew_goes_on() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    site.configure(|_| ());
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    program
        .until_status("flow", |status| {
            status.pointer("/runoff/flow_l_min")?.as_f64()
        })
        .await;
    let good = fs::read_to_string(site.path("tun.toml")).expect("the configuration");

    // A file that cannot be read, one with a wrong key, one that is right but not for this brew.
    let broken: [(&str, Spoil); 3] = [
        (
            "expected",
            Box::new(|| fs::write(site.path("tun.toml"), "[site").expect("written")),
        ),
        (
            "kettle.capacity_l",
            Box::new(|| change(&site, |table| set(table, "kettle.capacity_l", -1.0))),
        ),
        (
            "end the brew first",
            Box::new(|| {
                change(&site, |table| {
                    table["instrument"]
                        .as_array_mut()
                        .expect("instruments")
                        .pop();
                });
            }),
        ),
    ];
    for (refused, (words, spoil)) in broken.into_iter().enumerate() {
        fs::write(site.path("tun.toml"), &good).expect("written");
        spoil();
        signal(&program, "HUP");
        eventually("it is refused", || {
            let log = program.log();
            log.matches("everything goes on as it was").count() == refused + 1
                && log.contains(words)
        })
        .await;
        assert_eq!(
            program.status().await["brew"],
            site.scenario.plan.brew.as_str()
        );
    }
    assert!(
        !program.log().contains("not running, or could not write"),
        "it was never interrupted"
    );

    // Another port and another table: all of it, and the brew goes on.
    let port = free_port();
    fs::write(site.path("tun.toml"), &good).expect("written");
    change(&site, |table| {
        set(table, "web.listen", format!("127.0.0.1:{port}"));
        set(table, "watch.table_every_s", 20.0);
    });
    signal(&program, "HUP");
    eventually("it is in force", || {
        program.log().contains("the new configuration is in force")
    })
    .await;
    let below = format!(
        "/api/v1/tuns/{}/{}",
        site.scenario.site, site.scenario.tun.name
    );
    let status = get(port, &below).await.expect("an answer").json();
    assert_eq!(status["brew"], site.scenario.plan.brew.as_str());
    assert!(
        get(site.web_port, &below).await.is_err(),
        "the old address is free"
    );
    // A port that another program holds shows only when it is taken: then the old one goes on.
    let held = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let taken = held.local_addr().expect("its address");
    change(&site, |table| set(table, "web.listen", taken.to_string()));
    signal(&program, "HUP");
    eventually("the old one goes on", || {
        program
            .log()
            .contains("cannot be started with, the old one goes on")
    })
    .await;
    let wait = async {
        loop {
            if let Ok(answer) = get(port, &below).await {
                return answer.json();
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    };
    let status = tokio::time::timeout(mosquitto::PATIENCE, wait)
        .await
        .expect("it answers");
    assert_eq!(status["brew"], site.scenario.plan.brew.as_str());
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_service_manager_hears_that_it_is_ready_alive_reloading_and_stopping() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    site.configure(|_| ());
    let path = site.path("notify");
    let socket = UnixDatagram::bind(&path).expect("a socket");
    socket.set_nonblocking(true).expect("it does not wait");
    let path = path.display().to_string();
    let environment = [
        ("NOTIFY_SOCKET", path.as_str()),
        ("WATCHDOG_USEC", "6000000"),
    ];
    let program = Program::start_with(&site, &[], &environment).await;
    let mut heard = Vec::new();
    let mut count = |words: &str| {
        let mut bytes = [0; 4096];
        while let Ok(length) = socket.recv(&mut bytes) {
            heard.push(String::from_utf8_lossy(&bytes[..length]).into_owned());
        }
        heard.iter().filter(|said| said.contains(words)).count()
    };
    eventually("READY", || count("READY=1") == 1).await;
    eventually("WATCHDOG", || count("WATCHDOG=1") > 0).await;
    signal(&program, "HUP");
    eventually("RELOADING", || count("RELOADING=1\nMONOTONIC_USEC=") == 1).await;
    eventually("READY after the reload", || count("READY=1") == 2).await;
    program.end_by("TERM");
    eventually("STOPPING", || count("STOPPING=1") == 1).await;
    assert_eq!(count("READY=1"), 2, "{heard:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn it_ends_quickly_with_a_frozen_broker_silent_instruments_and_an_idle_client() {
    let Some(broker) = Mosquitto::start().await else {
        return;
    };
    // Listens and never answers.
    let silent = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let mut scenario = flowing_at_once("harbour-stout");
    let address = silent.local_addr().expect("its address").to_string();
    scenario.modbus_links[0].tcp = Some(address);
    let site = Site::of(&scenario);
    fs::write(site.path("password"), mosquitto::PASSWORD).expect("a password");
    site.configure(|table| {
        set(table, "mqtt.host", "127.0.0.1");
        set(table, "mqtt.port", i64::from(broker.port));
        set(table, "mqtt.username", mosquitto::USER);
        let file = site.path("password").display().to_string();
        set(table, "mqtt.password_file", file);
    });
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    program
        .until_status("the broker", |status| {
            status
                .pointer("/health/publishers/mqtt/connected")?
                .as_bool()
                .filter(|is| *is)
        })
        .await;
    broker.freeze();
    let _idle = tokio::net::TcpStream::connect(("127.0.0.1", site.web_port))
        .await
        .expect("a client");
    let asked = Instant::now();
    let (status, log) = program.end_by("TERM");
    println!("ended after {:?}", asked.elapsed());
    assert_eq!(status.code(), Some(0), "{log}");
}

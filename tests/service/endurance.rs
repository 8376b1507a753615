//! A day of brews at high speed with faults at random: memory, threads and open files stay as they are.
//!
//! `LAUTERD_HOURS` sets how many hours of the process (24 for the whole proof); the ordinary run has a few minutes.

use std::fs;
use std::time::{Duration, Instant};

use lauterd::store::Database;
use serde_json::Value;

use super::brewhouse::{Brewhouse, flowing_at_once, free_port, set};
use super::mosquitto::{self, Mosquitto};
use super::program::Program;

const SPEED: f64 = 120.0;
const BREW_S: f64 = 90.0 * 60.0;

#[derive(Clone, Copy, Debug)]
struct Use {
    rss_kb: u64,
    threads: u64,
    files: usize,
}

impl Use {
    fn of(process: u32) -> Self {
        let status = fs::read_to_string(format!("/proc/{process}/status")).expect("it runs");
        let field = |name: &str| {
            let line = status.lines().find(|line| line.starts_with(name));
            let word = line.and_then(|line| line.split_whitespace().nth(1));
            word.and_then(|word| word.parse().ok()).expect("a number")
        };
        Self {
            rss_kb: field("VmRSS:"),
            threads: field("Threads:"),
            files: fs::read_dir(format!("/proc/{process}/fd"))
                .expect("it runs")
                .count(),
        }
    }
}

const FAULTS: [&str; 12] = [
    "drop-link for_s=60",
    "freeze runnings_density for_s=200",
    "dropout runoff_flow for_s=90",
    "dropout kettle_level for_s=300",
    "noise runnings_ph factor=5 for_s=200",
    "status runoff_flow status=failure for_s=60",
    "pause 120",
    "rake for_s=120",
    "recirculate 200",
    "bubbles runnings_density depth=20 for_s=100",
    "channel share=0.3 over_s=100",
    "compaction factor=2 over_s=600",
];

#[tokio::test(flavor = "multi_thread")]
async fn a_long_time_with_faults_at_random_leaves_memory_threads_and_files_as_they_were() {
    let hours: f64 = std::env::var("LAUTERD_HOURS")
        .ok()
        .map_or(0.3, |hours| hours.parse().expect("hours"));
    let mut chance = fastrand::Rng::with_seed(7);
    let broker = Mosquitto::start().await;
    let mut scenario = flowing_at_once("harbour-stout");
    let port = free_port();
    scenario.modbus_links[0].tcp = Some(format!("127.0.0.1:{port}"));
    let mut brewhouse = Brewhouse::start_at(&scenario, SPEED, None, port).await;
    let site = brewhouse.site();
    fs::write(site.path("password"), mosquitto::PASSWORD).expect("a password");
    site.configure(|table| {
        set(table, "watch.table_every_s", 600.0);
        set(table, "watch.runoff_every_s", 5.0);
        set(table, "projection.every_s", 30.0);
        if let Some(broker) = &broker {
            set(table, "mqtt.host", "127.0.0.1");
            set(table, "mqtt.port", i64::from(broker.port));
            set(table, "mqtt.username", mosquitto::USER);
            let file = site.path("password").display().to_string();
            set(table, "mqtt.password_file", file);
        }
    });
    let speed = SPEED.to_string();
    let program = Program::start_with(&site, &["--speed", &speed], &[]).await;
    let begun = Instant::now();
    let process_s = || begun.elapsed().as_secs_f64() * SPEED;
    let mut uses: Vec<Use> = Vec::new();
    let (mut brews, mut faults) = (0, 0);
    let mark_s = 3600.0_f64.min(1800.0 * hours);
    while process_s() < 3600.0 * hours {
        brews += 1;
        let plan = site.plan().replace(
            &format!("\"{}\"", scenario.plan.brew),
            &format!("\"{}-{brews}\"", scenario.plan.brew),
        );
        let answer = program.post("/brew", ("application/toml", &plan)).await;
        assert_eq!(answer.status, 201, "{}", answer.body);
        let until_s = (process_s() + BREW_S).min(3600.0 * hours);
        while process_s() < until_s {
            tokio::time::sleep(Duration::from_millis(chance.u64(500..2500))).await;
            brewhouse.inject(FAULTS[chance.usize(..FAULTS.len())]).await;
            faults += 1;
            if let Some(broker) = &broker
                && chance.u32(..10) == 0
            {
                broker.freeze();
                tokio::time::sleep(Duration::from_millis(700)).await;
                broker.thaw();
            }
            if process_s() > mark_s * (uses.len() + 1) as f64 {
                uses.push(Use::of(program.id()));
                println!(
                    "after {:.1} h: {:?}",
                    process_s() / 3600.0,
                    uses.last().expect("one")
                );
            }
        }
        let ended = program.post("/brew/end", ("application/json", "")).await;
        assert_eq!(ended.status, 200, "{}", ended.body);
        brewhouse.handle.stop().await;
        scenario.seed += 1;
        brewhouse = Brewhouse::start_at(&scenario, SPEED, None, port).await;
    }
    uses.push(Use::of(program.id()));
    let health = program.status().await["health"].clone();
    let (first, last) = (uses[0], uses[uses.len() - 1]);
    let grown = last.rss_kb as f64 / first.rss_kb as f64 - 1.0;
    println!(
        "{:.1} h of the process, {brews} brews, {faults} faults: {first:?} after the first part, {last:?} at the end, memory \
         {:+.1} %; {health}",
        process_s() / 3600.0,
        100.0 * grown
    );
    // A short run has hardly warmed up.
    let allowed = if hours >= 12.0 { 0.05 } else { 0.35 };
    assert!(grown < allowed, "memory grew by {:.1} %", 100.0 * grown);
    assert!(last.threads <= first.threads + 2, "{first:?} then {last:?}");
    assert!(last.files <= first.files + 6, "{first:?} then {last:?}");
    assert_eq!(health["arrivals_refused"], 0);
    assert_eq!(health["unwritten_dropped"], 0);
    assert_eq!(
        health.pointer("/store/failed").and_then(Value::as_u64),
        Some(0)
    );
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    let errors: Vec<_> = log.lines().filter(|line| line.contains("ERROR")).collect();
    assert!(errors.is_empty(), "{errors:?}");
    let database = Database::open_read_only(&site.path("store")).expect("the record");
    let tun = database.find_tun("harbour", "tun-1").expect("readable");
    let recorded = database.brews(tun.expect("the tun")).expect("brews");
    assert_eq!(recorded.len(), brews);
    assert!(recorded.iter().all(|brew| brew.finished.is_some()));
}

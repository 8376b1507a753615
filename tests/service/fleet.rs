//! Many tuns behind one broker and one database, each a program of its own: they are listed on one page, and what they
//! cost is measured.
//!
//! An ordinary run takes a few for a few seconds and judges no figure. `LAUTERD_FLEET=50 LAUTERD_FLEET_S=120` is the load
//! test of docs/fleet.md; `FLEET_LAUTERD` names another program, for a release build.

use std::collections::BTreeSet;
use std::fs;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use jiff::Timestamp;
use rumqttc::{AsyncClient, Event, MqttOptions, Packet, QoS};

use super::brewhouse::{Brewhouse, Site, flowing_at_once, set};
use super::http::{encode, get};
use super::mosquitto::{Mosquitto, PASSWORD, USER};
use super::peer::Peer;
use super::program::Program;

fn number(name: &str, otherwise: u64) -> u64 {
    let text = std::env::var(name).ok();
    text.map_or(otherwise, |text| text.parse().expect("a number"))
}

/// What came at the broker, and how old it was.
#[derive(Default)]
struct Traffic {
    messages: u64,
    sparkplug: u64,
    bytes: u64,
    lags_s: Vec<f64>,
    kinds: BTreeSet<String>,
}

fn listen(port: u16) -> Arc<Mutex<Traffic>> {
    let traffic = Arc::<Mutex<Traffic>>::default();
    let shared = Arc::clone(&traffic);
    let mut options = MqttOptions::new("traffic", ("127.0.0.1", port));
    options
        .set_credentials(USER, PASSWORD)
        .set_max_packet_size(1024 * 1024, 1024 * 1024);
    let (client, mut event_loop) = AsyncClient::builder(options).capacity(16).build();
    tokio::spawn(async move {
        loop {
            match event_loop.poll().await {
                Ok(Event::Incoming(Packet::ConnAck(_))) => {
                    for filter in ["lauterd/#", "spBv1.0/#"] {
                        client
                            .try_subscribe(filter, QoS::AtMostOnce)
                            .expect("room for a subscription");
                    }
                }
                Ok(Event::Incoming(Packet::Publish(publish))) => {
                    let topic = String::from_utf8_lossy(&publish.topic).into_owned();
                    let mut traffic = shared.lock().expect("no panic");
                    traffic.messages += 1;
                    traffic.bytes += publish.payload.len() as u64;
                    if topic.starts_with("spBv1.0/") {
                        traffic.sparkplug += 1;
                        continue;
                    }
                    let kind = topic.split('/').nth(3).unwrap_or_default().to_owned();
                    if kind == "runoff" {
                        let told: serde_json::Value =
                            serde_json::from_slice(&publish.payload).expect("JSON");
                        let time: Timestamp = told["time"]
                            .as_str()
                            .expect("a time")
                            .parse()
                            .expect("RFC 3339");
                        let lag = Timestamp::now().duration_since(time).as_secs_f64();
                        traffic.lags_s.push(lag);
                    }
                    traffic.kinds.insert(kind);
                }
                Ok(_) => {}
                Err(_) => tokio::time::sleep(Duration::from_millis(50)).await,
            }
        }
    });
    traffic
}

/// Processor seconds and resident MiB of a process so far.
fn cost(process: u32) -> (f64, f64) {
    let stat = fs::read_to_string(format!("/proc/{process}/stat")).expect("its state");
    let after = stat.rsplit(") ").next().expect("fields");
    let field = |index: usize| -> f64 {
        let text = after.split(' ').nth(index).expect("a field");
        text.parse().expect("a number")
    };
    // utime and stime in ticks of 10 ms, rss in pages of 4 KiB (proc(5), Linux on x86-64 and aarch64).
    (
        (field(11) + field(12)) / 100.0,
        field(21) * 4096.0 / 1024.0 / 1024.0,
    )
}

fn costs(processes: &[u32]) -> (f64, f64) {
    processes
        .iter()
        .map(|process| cost(*process))
        .fold((0.0, 0.0), |(cpu_s, resident_mib), (its_s, its_mib)| {
            (cpu_s + its_s, resident_mib + its_mib)
        })
}

fn quantile(values: &mut [f64], share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    let index = (share * (values.len().max(1) - 1) as f64).round() as usize;
    values.get(index).copied().unwrap_or(f64::NAN)
}

/// The configuration of one of many, with its usual pace.
fn configure(site: &Site, broker: u16, database: u16, fleet: bool) {
    site.configure(|table| {
        table.remove("watch");
        table.remove("projection");
        set(table, "web.fleet", fleet);
        set(table, "mqtt.host", "127.0.0.1");
        set(table, "mqtt.port", i64::from(broker));
        set(table, "mqtt.overview", true);
        set(table, "sparkplug.group", "brewery");
        set(table, "influx.url", format!("http://127.0.0.1:{database}"));
        set(table, "influx.organisation", "brewery");
        set(table, "influx.bucket", "lauter");
    });
}

#[tokio::test(flavor = "multi_thread")]
async fn many_tuns_behind_one_broker_are_on_one_page_and_in_one_database() {
    let Some(broker) = Mosquitto::start_with("allow_anonymous true").await else {
        return;
    };
    let Some(metrics) = Peer::victoria_metrics().await else {
        return;
    };
    let (count, seconds) = (number("LAUTERD_FLEET", 3), number("LAUTERD_FLEET_S", 8));
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let traffic = listen(broker.port);
    let mut sites = Vec::new();
    let mut programs = Vec::new();
    for index in 0..count {
        let mut scenario = brewhouse.handle.scenario().clone();
        scenario.site = format!("site-{index:02}");
        let site = Site::of(&scenario);
        configure(&site, broker.port, metrics.port, index == 0);
        let program = Program::start(&site).await;
        program.start_brew(&site).await;
        sites.push(site);
        programs.push(program);
    }
    let page = programs[0].page_port();
    for index in 0..count {
        let name = format!("site-{index:02}");
        let brew = brewhouse.handle.scenario().plan.brew.as_str();
        let row = |html: &str| {
            let rows: Vec<&str> = html.split("<tr").collect();
            let row = rows.iter().find(|row| row.contains(&name))?;
            (row.contains(">there, ") && row.contains(brew)).then(|| (*row).to_owned())
        };
        let found = async || row(&get(page, "/fleet").await.ok()?.body);
        programs[0].until("the tun on the page", found).await;
    }

    let ids: Vec<u32> = programs.iter().map(Program::id).collect();
    let (before, broker_before, metrics_before) =
        (costs(&ids), cost(broker.id()), cost(metrics.id()));
    *traffic.lock().expect("no panic") = Traffic::default();
    let rows_before = rows_written(&metrics).await;
    let began = Instant::now();
    tokio::time::sleep(Duration::from_secs(seconds)).await;
    let lasted_s = began.elapsed().as_secs_f64();
    let (after, broker_after, metrics_after) = (costs(&ids), cost(broker.id()), cost(metrics.id()));
    let heard = std::mem::take(&mut *traffic.lock().expect("no panic"));
    let rows = rows_written(&metrics).await - rows_before;
    report(
        &Measured {
            count,
            lasted_s,
            rows,
            page_bytes: get(page, "/fleet").await.expect("the page").body.len(),
        },
        heard,
        [
            ("lauterd, all", before, after),
            ("mosquitto", broker_before, broker_after),
            ("victoria-metrics", metrics_before, metrics_after),
        ],
    );

    let asked = "count(count by (site) (last_over_time(runoff_kettle_volume_l[10m])))";
    let target = format!(
        "/api/v1/query?nocache=1&latency_offset=1ms&query={}",
        encode(asked)
    );
    programs[0]
        .until("every tun in the database", async || {
            let answer = get(metrics.port, &target).await.ok()?.json();
            let value = answer["data"]["result"][0]["value"][1]
                .as_str()?
                .parse()
                .ok();
            (value == Some(count)).then_some(())
        })
        .await;
    // One that is killed is not shown as present any more.
    let mut last = programs.pop().expect("a program");
    last.kill();
    let name = format!("site-{:02}", count - 1);
    let gone = async || {
        let html = get(page, "/fleet").await.ok()?.body;
        let row = html
            .split("<tr")
            .find(|row| row.contains(&name))?
            .to_owned();
        row.contains("not there").then_some(row)
    };
    let row = programs[0].until("the killed one", gone).await;
    assert!(!row.contains("°P"), "{row}");
}

struct Measured {
    count: u64,
    lasted_s: f64,
    rows: f64,
    page_bytes: usize,
}

/// A program, and what it had cost before and after: processor seconds and memory.
type Cost<'a> = (&'a str, (f64, f64), (f64, f64));

fn report(measured: &Measured, mut heard: Traffic, costs: [Cost<'_>; 3]) {
    let Measured {
        count,
        lasted_s,
        rows,
        page_bytes,
    } = measured;
    println!("{count} tuns, {lasted_s:.0} s");
    println!(
        "messages/s {:.1} (of them Sparkplug {:.1}), {:.1} KiB/s of payload; values/s in the database {:.0}",
        heard.messages as f64 / lasted_s,
        heard.sparkplug as f64 / lasted_s,
        heard.bytes as f64 / 1024.0 / lasted_s,
        rows / lasted_s
    );
    println!(
        "a state's age when it is heard: median {:.1} ms, 99 % {:.1} ms, worst {:.1} ms",
        quantile(&mut heard.lags_s, 0.5) * 1000.0,
        quantile(&mut heard.lags_s, 0.99) * 1000.0,
        quantile(&mut heard.lags_s, 1.0) * 1000.0
    );
    for (name, before, after) in costs {
        println!(
            "{name}: {:.1} % of one processor, {:.1} MiB resident",
            100.0 * (after.0 - before.0) / lasted_s,
            after.1
        );
    }
    println!(
        "the page of all tuns: {:.1} KiB",
        *page_bytes as f64 / 1024.0
    );
    println!("topics: {:?}", heard.kinds);
}

/// Values that the database has taken by InfluxDB's call.
async fn rows_written(metrics: &Peer) -> f64 {
    let text = get(metrics.port, "/metrics")
        .await
        .expect("its figures")
        .body;
    let line = text
        .lines()
        .find(|line| line.starts_with("vm_rows_inserted_total{type=\"influx\"}"));
    line.and_then(|line| line.rsplit(' ').next())
        .and_then(|number| number.parse().ok())
        .unwrap_or_default()
}

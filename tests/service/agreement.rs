//! A brew watched live, exported, and replayed: the same readings give the same lines.
//!
//! The recording cannot carry why a reading is missing, an instrument's status, its own clock, links going down or
//! rows that wait for a broker. Nothing of that happens in this brew, so every line must be the same.

use std::fs;
use std::path::Path;
use std::process::Output;

use lauter_core::reading::Moment;
use lauter_core::supervisor::{Dated, Line, Place, Sample};
use lauterd::runtime::Options;
use lauterd::runtime::request::Request;
use lauterd::store::Database;
use tokio::sync::mpsc;

use super::brewhouse::{Brewhouse, Site, begin_brew, scenario};
use super::mosquitto::PATIENCE;
use super::program::command;

const SPEED: f64 = 120.0;
/// More than a whole brew puts out.
const OUTPUTS_BOUND: usize = 1_000_000;

/// The next line that is meant.
async fn next_line(
    outputs: &mut mpsc::Receiver<Dated>,
    what: &str,
    meant: impl Fn(&Line) -> bool,
) -> (Moment, Line) {
    let wait = async {
        loop {
            let dated = outputs.recv().await.expect("the service runs");
            if let lauter_core::supervisor::Output::Line(line) = dated.output
                && meant(&line)
            {
                return (dated.at, line);
            }
        }
    };
    let limit = tokio::time::timeout(2 * PATIENCE, wait).await;
    limit.unwrap_or_else(|_| panic!("never happened: {what}"))
}

fn elapsed_s(line: &Line) -> f64 {
    match line {
        Line::Projection(line) => line.elapsed_s,
        Line::Alarm(line) => line.elapsed_s,
        Line::Table(line) => line.elapsed_s,
        Line::Summary(_) => f64::INFINITY,
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_live_run_off_and_its_replay_give_the_same_lines() {
    let brewhouse = Brewhouse::start(&scenario("orchard-ale-channel"), SPEED, None).await;
    let site = brewhouse.site();
    let usual = |table: &mut toml::Table| {
        table.remove("watch");
        table.remove("projection");
    };
    let configuration = site.configuration(usual);
    let (observer, mut outputs) = mpsc::channel(OUTPUTS_BOUND);
    let options = Options {
        speed: Some(SPEED),
        observer: Some(observer),
        ..Options::default()
    };
    let (service, tun) = begin_brew(&site, configuration, options).await;
    for (place, at_s) in [(Place::Runnings, 1500.0), (Place::Kettle, 3900.0)] {
        next_line(&mut outputs, "time for a sample", |line| {
            elapsed_s(line) > at_s
        })
        .await;
        let truth = brewhouse.handle.truth();
        let sample = match place {
            Place::Runnings => Sample {
                place,
                gravity_p: Some(truth.runnings_gravity_p),
                ph: Some(5.41),
                volume_l: None,
            },
            Place::Kettle => Sample {
                place,
                gravity_p: Some(truth.kettle_gravity_p),
                ph: None,
                volume_l: Some(truth.kettle_volume_l),
            },
        };
        tun.ask(|reply| Request::Sample {
            ask: false,
            sample,
            who: "shift brewer".to_owned(),
            reply,
        })
        .await
        .expect("the sample is taken");
    }
    let slip = Sample {
        place: Place::Kettle,
        gravity_p: Some(1.076),
        ph: None,
        volume_l: None,
    };
    let give = |reply| Request::Sample {
        ask: false,
        sample: slip,
        who: "shift brewer".to_owned(),
        reply,
    };
    let taken = tun.ask(give).await.expect("a slip is taken");
    let again = tun.ask(give).await.expect("the second tap is answered");
    assert_eq!((again.number, again.repeated), (taken.number, true));
    next_line(&mut outputs, "some time", |line| elapsed_s(line) > 4300.0).await;
    let withdrawn = tun.ask(|reply| Request::WithdrawSample {
        number: taken.number,
        who: "shift brewer".to_owned(),
        reply,
    });
    assert_eq!(withdrawn.await.expect("it is withdrawn"), slip);
    next_line(
        &mut outputs,
        "the stop-point",
        |line| matches!(line, Line::Alarm(line) if line.alarm.name() == "stop-point-reached"),
    )
    .await;
    // On past the stop-point.
    let table = |line: &Line| matches!(line, Line::Table(_));
    next_line(&mut outputs, "a line of the table", table).await;
    tun.ask(|reply| Request::EndBrew {
        who: "shift brewer".to_owned(),
        reply,
    })
    .await
    .expect("the brew ends");
    service.end().await;

    let count = assert_replay_agrees(&site);
    assert!(count > 150, "a whole brew");
}

/// Exports the site's only brew, replays the export, and fails where a line differs. Gives the number of lines.
pub fn assert_replay_agrees(site: &Site) -> usize {
    let lines = exported(site);
    let output = replayed(site);
    let errors = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{errors}");
    let replayed = String::from_utf8(output.stdout).expect("UTF-8");
    for (number, (live, again)) in lines.lines().zip(replayed.lines()).enumerate() {
        assert_eq!(live, again, "line {}", number + 1);
    }
    let count = lines.lines().count();
    assert_eq!(count, replayed.lines().count());
    count
}

/// The brew's lines as they were put out live; its files lie in `export`.
fn exported(site: &Site) -> String {
    let mut database = Database::open(&site.path("store")).expect("the record");
    let tun = database.tun(&site.scenario.site, &site.scenario.tun.name);
    let tun = tun.expect("the tun");
    let brew = database.brews(tun).expect("brews")[0].id;
    database
        .export(brew, &site.path("export"))
        .expect("the files");
    read(&site.path("export/lines.jsonl"))
}

fn replayed(site: &Site) -> Output {
    let path = |name: &str| site.path(name).display().to_string();
    command(&["replay", "--config", &path("tun.toml")])
        .args(["--plan", &path("export/plan.toml")])
        .args(["--data", &path("export/RUN.csv")])
        .args(["--samples", &path("export/samples.csv")])
        .args(["--corrections", &path("export/corrections.jsonl")])
        .args(["--gaps", &path("export/gaps.csv")])
        .output()
        .expect("the binary runs")
}

fn read(path: &Path) -> String {
    fs::read_to_string(path).expect("the file is there")
}

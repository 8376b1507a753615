//! Every query of docs/queries.md, run against a database to which the program has written a brew.

use std::path::Path;
use std::time::Duration;

use super::brewhouse::{Brewhouse, flowing_at_once, set};
use super::databases::Tap;
use super::http::{encode, get, request};
use super::mosquitto::PATIENCE;
use super::peer::Peer;
use super::program::Program;

/// The page's queries in one language.
fn queries(language: &str) -> Vec<String> {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/queries.md");
    let page = std::fs::read_to_string(page).expect("the page");
    let fence = format!("```{language}\n");
    let after = page.split(&fence).skip(1);
    let query = |rest: &str| {
        rest.split("```")
            .next()
            .unwrap_or_default()
            .trim()
            .to_owned()
    };
    after.map(query).collect()
}

/// Asks until the answer has something in it: points take a few seconds to come.
async fn finds_something(query: &str, mut ask: impl AsyncFnMut() -> Result<bool, String>) {
    let wait = async {
        loop {
            if ask()
                .await
                .unwrap_or_else(|error| panic!("{query}: {error}"))
            {
                return;
            }
            tokio::time::sleep(Duration::from_millis(500)).await;
        }
    };
    let found = tokio::time::timeout(PATIENCE, wait).await;
    assert!(found.is_ok(), "finds nothing: {query}");
}

#[tokio::test(flavor = "multi_thread")]
async fn every_query_of_the_manual_finds_something_in_a_brew() {
    let (Some(metrics), Some(influx)) = (Peer::victoria_metrics().await, Peer::influxd().await)
    else {
        return;
    };
    let tap = Tap::before(metrics.port).await;
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    site.configure(|table| {
        set(
            table,
            "influx.url",
            format!("http://127.0.0.1:{}", tap.port),
        );
        set(table, "influx.organisation", "brewery");
        set(table, "influx.bucket", "lauter");
        set(table, "influx.every_s", 0.5);
        set(table, "alarms.link-lost.on_delay_s", 1.0);
    });
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    program
        .until_status("a projected stop-point", |status| {
            status["projection"]["stop"].is_object().then_some(())
        })
        .await;
    brewhouse.inject("drop-link").await;
    program.until_alarm("link-lost").await;
    brewhouse.inject("restore-link").await;

    let promql = queries("promql");
    assert!(promql.len() > 10, "{promql:?}");
    for query in promql {
        let target = format!(
            "/api/v1/query?nocache=1&latency_offset=1ms&query={}",
            encode(&query)
        );
        finds_something(&query, async || {
            let answer = get(metrics.port, &target).await.expect("an answer").json();
            let results = answer["data"]["result"].as_array();
            let results = results.ok_or_else(|| answer.to_string())?;
            Ok(!results.is_empty())
        })
        .await;
    }
    let influxql = queries("influxql");
    assert!(influxql.len() > 8, "{influxql:?}");
    for query in influxql {
        finds_something(&query, async || {
            // The same lines: InfluxDB 1.6 does not know the v2 write call.
            for body in tap.bodies() {
                let written = request(
                    influx.port,
                    "POST",
                    "/write?db=lauter",
                    ("text/plain", &body),
                )
                .await;
                assert_eq!(written.expect("an answer").status, 204);
            }
            let answer = influx.query("GET", &query).await.json();
            let result = &answer["results"][0];
            if let Some(error) = result["error"].as_str().or(answer["error"].as_str()) {
                return Err(error.to_owned());
            }
            Ok(result["series"]
                .as_array()
                .is_some_and(|series| !series.is_empty()))
        })
        .await;
    }
}

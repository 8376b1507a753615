//! The page, the charts and the report as they leave the service, and what people send from the page.

use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;

use crate::brewhouse::{BREW, Brewhouse, SITE, TUN};
use crate::http::{self, Reply};
use crate::invented::plan;

/// The recorded brew's name in an address.
const ENCODED: &str = "2026%20%230412%20S%C3%BCd";
/// The first load of the page may weigh this much in all, bytes.
const FIRST_LOAD: usize = 150 * 1024;
/// A report may weigh this much, bytes.
const REPORT: usize = 400 * 1024;

fn pages() -> Vec<String> {
    let below = ["", "/brews", "/tun", "/instruments"];
    below
        .iter()
        .map(|below| format!("/tuns/{SITE}/{TUN}{below}"))
        .collect()
}

/// The values of an attribute, wherever it stands.
fn attributes<'a>(html: &'a str, name: &str) -> Vec<&'a str> {
    let lead = format!(" {name}=\"");
    html.split(&lead)
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect()
}

fn page(house: &Brewhouse, path: &str) -> Reply {
    let reply = house.get_at(path);
    assert_eq!(reply.status, 200, "{path}: {}", reply.body);
    assert!(
        reply
            .header("content-type")
            .unwrap()
            .starts_with("text/html")
    );
    reply
}

fn with_brew() -> Brewhouse {
    let house = Brewhouse::new();
    let started = serde_json::to_string(&plan("2026-0413")).unwrap();
    assert_eq!(house.post("/brew", &started).status, 201);
    house
}

#[test]
fn the_only_tun_is_the_first_page() {
    let house = Brewhouse::new();
    let reply = house.get_at("/");
    assert_eq!(reply.status, 303);
    assert_eq!(reply.header("location"), Some(pages()[0].as_str()));
    let two = Brewhouse::with_tuns(&[TUN, "tun-2"]);
    let choice = page(&two, "/").body;
    assert!(choice.contains("/tuns/north-yard/tun-2"), "{choice}");
}

#[test]
fn a_page_loads_nothing_from_elsewhere_and_has_nothing_inline() {
    let house = with_brew();
    for path in pages() {
        let reply = page(&house, &path);
        let policy = reply.header("content-security-policy").unwrap();
        assert!(policy.starts_with("default-src 'self';"), "{policy}");
        let html = &reply.body;
        for inline in ["<style", " style=", " onclick=", "javascript:", "<script>"] {
            assert!(!html.contains(inline), "{path} has {inline}");
        }
        for name in ["href", "src", "action"] {
            for target in attributes(html, name) {
                let ours = target.starts_with('/') || target.starts_with('#');
                assert!(ours && !target.starts_with("//"), "{path} names {target}");
            }
        }
    }
}

#[test]
fn the_first_load_is_small() {
    let house = with_brew();
    for path in pages() {
        let html = page(&house, &path).body;
        let mut bytes = html.len();
        let mut files: Vec<&str> = attributes(&html, "href");
        files.extend(attributes(&html, "src"));
        for file in files
            .into_iter()
            .filter(|file| file.starts_with("/assets/"))
        {
            let reply = house.get_at(file);
            assert_eq!(reply.status, 200, "{file}");
            bytes += reply.body.len();
        }
        assert!(bytes <= FIRST_LOAD, "{path} loads {bytes} bytes");
    }
}

#[test]
fn what_is_not_there_is_said_on_a_page() {
    let house = Brewhouse::new();
    let reply = house.get_at("/tuns/north-yard/tun-9");
    assert_eq!(reply.status, 404);
    assert!(
        reply
            .header("content-type")
            .unwrap()
            .starts_with("text/html")
    );
    assert!(reply.body.contains("north-yard/tun-1"), "{}", reply.body);
    assert_eq!(house.get_at("/assets/other.js").status, 404);
    let browser = [("Accept", "text/html,application/xhtml+xml")];
    for (path, headers, kind) in [
        ("/nowhere", &browser[..], "text/html; charset=utf-8"),
        ("/nowhere", &[], "application/json"),
        ("/api/v1/nowhere", &browser, "application/json"),
    ] {
        let reply = http::request(house.address, "GET", path, headers, "");
        assert_eq!(reply.status, 404);
        assert_eq!(reply.header("content-type"), Some(kind), "{path}");
        assert!(reply.body.contains(path), "{}", reply.body);
    }
}

#[test]
fn the_glance_says_what_the_tun_says_and_the_cautions_stand_below() {
    let house = with_brew();
    let html = page(&house, &pages()[0]).body;
    for words in [
        "Kettle gravity",
        "If you stop now",
        "mix the kettle",
        "lock-out procedure",
        "hard-wired high-level trip",
        "it is not a safety function",
    ] {
        assert!(html.contains(words), "{words}");
    }
}

#[test]
fn a_report_stands_by_itself() {
    let house = Brewhouse::new();
    let reply = house.get(&format!("/brews/{ENCODED}/report"));
    assert_eq!(reply.status, 200, "{}", reply.body);
    let html = &reply.body;
    assert!(html.len() < REPORT, "{} bytes", html.len());
    assert_eq!(html.matches("<style").count(), 1);
    assert_eq!(html.matches("<svg").count(), 4);
    for name in ["src", "href", "style"] {
        assert!(attributes(html, name).is_empty(), "{name}");
    }
    assert!(!html.contains("<script"));
    for words in [BREW, "Signatures", "Channelling", "Harbour Stout", "17.50"] {
        assert!(html.contains(words), "{words}");
    }
    let policy = reply.header("content-security-policy").unwrap();
    assert!(policy.starts_with("default-src 'none'"), "{policy}");
}

#[test]
fn the_reports_data_is_the_records() {
    let house = Brewhouse::new();
    let csv = house
        .get(&format!("/brews/{ENCODED}/report?format=csv"))
        .body;
    let rows: Vec<&str> = csv.lines().collect();
    assert_eq!(rows.len(), 4, "{csv}");
    // The sample was taken 700 s after the start, which was 30 s after the brew's zero.
    assert_eq!(rows[2], "730,hand-sample,,,704,17.5,,");
    let json = house
        .get(&format!("/brews/{ENCODED}/report?format=json"))
        .json();
    assert_eq!(json["brew"], BREW);
    assert_eq!(json["table"].as_array().unwrap().len(), 2);
    assert_eq!(json["samples"][0]["elapsed_s"], 730.0);
    let listed = house.get(&format!("/brews/{ENCODED}/samples")).json();
    assert_eq!(listed[0]["gravity_p"], 17.5);
}

#[test]
fn charts_are_drawn_with_their_own_colours_or_with_the_pages() {
    let house = Brewhouse::new();
    for name in ["gravity", "bed", "ph", "stop-point"] {
        let path = format!("/brews/{ENCODED}/charts/{name}");
        let alone = house.get(&path);
        assert_eq!(alone.header("content-type"), Some("image/svg+xml"));
        assert!(alone.body.contains("<style>") && alone.body.contains("<title>"));
        let bare = house
            .get(&format!("{path}?bare=true&width=400&height=200"))
            .body;
        assert!(
            bare.contains("width=\"400\"") && !bare.contains("<style>"),
            "{bare}"
        );
        assert!(
            !bare.contains("fill=\"#"),
            "a colour without a class: {bare}"
        );
    }
    let refused = house.get(&format!("/brews/{ENCODED}/charts/colour"));
    assert!(refused.refused(404).contains("gravity"));
}

#[test]
fn a_refractometer_reading_is_divided_by_the_configured_factor() {
    let house = with_brew();
    let taken = house.post("/samples", r#"{"place":"kettle","gravity_bx":13.0}"#);
    // 13.0 °Bx over the factor of 1.04.
    assert_eq!(taken.json()["gravity_p"], 12.5);
    let both = house.post(
        "/samples",
        r#"{"place":"kettle","gravity_bx":13.0,"gravity_p":12.5}"#,
    );
    assert!(both.refused(422).contains("give one of"));
    let by_density = house.post("/samples", r#"{"place":"runnings","gravity_sg":1.0484}"#);
    let gravity_p = by_density.json()["gravity_p"].as_f64().unwrap();
    assert!((gravity_p - 12.0).abs() < 0.02, "{gravity_p}");
}

#[test]
fn notes_and_rakings_reach_the_tun_with_the_name_of_who_reported_them() {
    let idle = Brewhouse::new();
    let note = r#"{"who":"shift brewer","text":"sparge arm cleaned"}"#;
    assert_eq!(idle.post("/notes", note).status, 409);
    let house = with_brew();
    assert_eq!(house.post("/notes", note).status, 200);
    let raking = house.post("/raking", r#"{"who":"shift brewer","minutes":2}"#);
    assert_eq!(raking.status, 200);
    let done = house.done();
    assert!(done[1].contains("sparge arm cleaned"), "{done:?}");
    assert!(
        done[2].contains("Raking") && done[2].contains("shift brewer"),
        "{done:?}"
    );
    for (path, body) in [
        ("/notes", r#"{"who":"","text":"x"}"#),
        ("/notes", r#"{"who":"a","text":"two\nlines"}"#),
        ("/raking", r#"{"who":"a","minutes":0}"#),
        ("/raking", r#"{"who":"a","minutes":500}"#),
    ] {
        assert_eq!(house.post(path, body).status, 422, "{body}");
    }
}

#[test]
fn the_crush_log_keeps_what_was_entered_and_shows_it() {
    let house = Brewhouse::new();
    let entry = r#"{"who":"mill","gap_mm":0.45,"fractions":[{"opening_mm":1.27,"percent":22.0},
        {"opening_mm":0.0,"percent":78.0}],"note":"new rollers"}"#;
    assert_eq!(house.post("/crush", entry).status, 201);
    let log = house.get("/crush").json();
    assert_eq!(log[0]["gap_mm"], 0.45);
    assert_eq!(log[0]["fractions"][0]["percent"], 22.0);
    let html = page(&house, &pages()[2]).body;
    assert!(html.contains("new rollers") && html.contains("0.45"));
    let short = r#"{"who":"mill","gap_mm":0.45,"fractions":[{"opening_mm":1.27,"percent":22.0}]}"#;
    assert!(house.post("/crush", short).refused(422).contains("22.0 %"));
}

/// The lines of an event stream, until `enough` of them have a prefix.
fn events(house: &Brewhouse, path: &str, prefix: &str, enough: usize) -> Vec<String> {
    let mut stream = TcpStream::connect(house.address).unwrap();
    let request = format!("GET {path} HTTP/1.1\r\nHost: {}\r\n\r\n", house.address);
    stream.write_all(request.as_bytes()).unwrap();
    let lines = BufReader::new(stream).lines().map(Result::unwrap);
    lines
        .filter(|line| line.starts_with(prefix))
        .take(enough)
        .collect()
}

#[test]
fn an_event_stream_begins_with_the_state_and_tells_each_change() {
    let house = with_brew();
    let path = format!("/api/v1/tuns/{SITE}/{TUN}/events");
    let first = events(&house, &path, "data:", 1);
    assert!(first[0].contains("\"brew\":\"2026-0413\""), "{first:?}");
    let parts = events(&house, &format!("/tuns/{SITE}/{TUN}/parts"), "data:", 1);
    assert!(parts[0].contains("part-next"), "{parts:?}");
}

#[test]
fn event_streams_end_when_the_service_stops() {
    let mut house = with_brew();
    let path = format!("/api/v1/tuns/{SITE}/{TUN}/events");
    let mut stream = TcpStream::connect(house.address).unwrap();
    let request = format!("GET {path} HTTP/1.1\r\nHost: {}\r\n\r\n", house.address);
    stream.write_all(request.as_bytes()).unwrap();
    let mut reader = BufReader::new(stream);
    let mut line = String::new();
    reader.read_line(&mut line).unwrap();
    assert!(line.starts_with("HTTP/1.1 200"), "{line}");
    house.begin_stop();
    house.stopped();
    let mut rest = Vec::new();
    std::io::Read::read_to_end(&mut reader, &mut rest).unwrap();
}

#[test]
fn the_instruments_page_is_kept_fresh_and_lists_links_and_units_as_people_write_them() {
    let house = with_brew();
    let html = page(&house, &format!("/tuns/{SITE}/{TUN}/instruments")).body;
    let parts = format!("/tuns/{SITE}/{TUN}/instruments/parts");
    assert_eq!(attributes(&html, "data-parts"), [parts.as_str()]);
    for words in ["part-readings", "part-links", "°P"] {
        assert!(html.contains(words), "{words}");
    }
    assert!(!html.contains("degP"), "{html}");
    let first = events(&house, &parts, "data:", 1);
    let sent: serde_json::Value =
        serde_json::from_str(first[0].trim_start_matches("data:")).unwrap();
    assert!(sent["parts"]["part-readings"].is_string(), "{sent}");
    assert!(sent["parts"]["part-stop"].is_null(), "{sent}");
}

#[test]
fn a_slip_in_the_crush_log_is_corrected_in_its_place() {
    let house = Brewhouse::new();
    assert_eq!(
        house
            .post("/crush", r#"{"who":"mill","gap_mm":4.5}"#)
            .status,
        201
    );
    let logged = house.get("/crush").json();
    let time = logged[0]["time"].as_str().unwrap().to_owned();
    let unknown = r#"{"who":"mill","gap_mm":0.45,"replaces":"2020-01-01T00:00:00Z"}"#;
    assert_eq!(house.post("/crush", unknown).status, 422);
    let correction = format!(r#"{{"who":"mill","gap_mm":0.45,"replaces":"{time}"}}"#);
    assert_eq!(house.post("/crush", &correction).status, 201);
    let log = house.get("/crush").json();
    assert_eq!(log.as_array().unwrap().len(), 1, "{log}");
    assert_eq!(log[0]["gap_mm"], 0.45);
    assert_eq!(log[0]["time"], time.as_str(), "it stands at its own time");
}

#[test]
fn a_page_is_refused_in_its_own_words_and_a_program_in_the_interfaces() {
    let house = Brewhouse::new();
    let path = format!("/api/v1/tuns/{SITE}/{TUN}/brew/end");
    let ended = |language: &[(&str, &str)]| {
        let mut headers = vec![("Content-Type", "application/json")];
        headers.extend_from_slice(language);
        let reply = http::request(house.address, "POST", &path, &headers, "{}");
        assert_eq!(reply.status, 409);
        reply.json()["error"].as_str().unwrap().to_owned()
    };
    assert!(ended(&[]).contains("lauterd brew start"));
    assert_eq!(
        ended(&[("Accept-Language", "en")]),
        "no brew is under way; start one first"
    );
    assert_eq!(
        ended(&[("Accept-Language", "de")]),
        "es läuft kein Sud; erst einen starten"
    );
}

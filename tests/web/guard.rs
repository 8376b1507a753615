//! Rebound names, foreign pages, wrong content types, large bodies, and what every answer bears.

use crate::brewhouse::{Brewhouse, SITE, TUN};
use crate::http::{self, Reply};
use crate::invented::plan;

fn with_host(house: &Brewhouse, host: &str) -> Reply {
    http::request(
        house.address,
        "GET",
        "/api/v1/health",
        &[("Host", host)],
        "",
    )
}

fn end_brew(house: &Brewhouse, headers: &[(&str, &str)]) -> Reply {
    let path = format!("/api/v1/tuns/{SITE}/{TUN}/brew/end");
    http::request(house.address, "POST", &path, headers, "{}")
}

#[test]
fn a_name_that_was_rebound_to_this_machine_is_turned_away() {
    let house = Brewhouse::new();
    for host in [
        "brewhouse.example",
        "brewhouse.example:8780",
        "192.0.2.1",
        "127.0.0.1.example",
    ] {
        let words = with_host(&house, host).refused(421);
        assert!(words.contains(&house.address.to_string()), "{words}");
    }
    for host in ["localhost", "localhost:9000", "127.0.0.1", "[::1]:8780"] {
        assert_eq!(with_host(&house, host).status, 200, "{host}");
    }
}

#[test]
fn a_host_that_is_missing_doubled_or_no_host_is_a_bad_request() {
    let house = Brewhouse::new();
    let with_lines = |lines: &str| {
        let text = format!("GET /api/v1/health HTTP/1.1\r\n{lines}Connection: close\r\n\r\n");
        http::raw(house.address, text.as_bytes())
    };
    for lines in [
        "",
        "Host: localhost\r\nHost: brewhouse.example\r\n",
        "Host: a b\r\n",
        "Host:\r\n",
    ] {
        assert_eq!(with_lines(lines).status, 400, "{lines:?}");
    }
    assert_eq!(with_lines("Host: localhost\r\n").status, 200);
}

#[test]
fn the_request_line_counts_before_the_host_header() {
    let house = Brewhouse::new();
    let to = |host: &str| {
        let text = format!(
            "GET http://{host}/api/v1/health HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
        );
        http::raw(house.address, text.as_bytes()).status
    };
    assert_eq!(to("brewhouse.example"), 421);
    assert_eq!(to("localhost"), 200);
}

#[test]
fn a_page_from_elsewhere_may_not_operate() {
    let house = Brewhouse::new();
    assert_eq!(
        house
            .post("/brew", &serde_json::to_string(&plan("7")).unwrap())
            .status,
        201
    );
    let json = ("Content-Type", "application/json");
    let other_port = format!("http://127.0.0.1:{}", house.address.port() ^ 1);
    for origin in [
        "http://brewhouse.example",
        "null",
        "http://localhost",
        other_port.as_str(),
    ] {
        let words = end_brew(&house, &[json, ("Origin", origin)]).refused(403);
        assert!(words.contains("elsewhere"), "{words}");
    }
    assert_eq!(house.done(), ["start 7"]);
    let own = format!("http://{}", house.address);
    assert_eq!(end_brew(&house, &[json, ("Origin", &own)]).status, 200);
}

#[test]
fn a_browser_asking_for_leave_gets_none() {
    let house = Brewhouse::new();
    let headers = [
        ("Origin", "http://brewhouse.example"),
        ("Access-Control-Request-Method", "POST"),
        ("Access-Control-Request-Headers", "content-type"),
    ];
    let path = format!("/api/v1/tuns/{SITE}/{TUN}/brew/end");
    let reply = http::request(house.address, "OPTIONS", &path, &headers, "");
    assert_eq!(reply.status, 405, "{reply:?}");
    assert_eq!(reply.header("access-control-allow-origin"), None);
}

#[test]
fn what_a_form_can_send_is_not_taken() {
    let house = Brewhouse::new();
    for kind in [
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
    ] {
        let words = end_brew(&house, &[("Content-Type", kind)]).refused(415);
        assert!(words.contains("application/json"), "{words}");
    }
    assert!(
        end_brew(&house, &[])
            .refused(415)
            .contains("application/json")
    );
    // TOML is for plans alone.
    assert_eq!(
        house
            .post_as("application/toml", "/samples", "place = 1")
            .status,
        415
    );
    assert_eq!(
        end_brew(
            &house,
            &[("Content-Type", "application/json; charset=utf-8")]
        )
        .status,
        409
    );
}

#[test]
fn a_body_that_is_too_large_is_refused() {
    let house = Brewhouse::new();
    let large = format!(r#"{{"brew":"{}"}}"#, "x".repeat(64 * 1024));
    let words = house.post("/brew", &large).refused(413);
    assert!(words.contains("65536 bytes"), "{words}");
}

#[test]
fn every_answer_forbids_storing_sniffing_framing_and_scripts() {
    let house = Brewhouse::new();
    let answers = [
        house.get(""),
        house.get("/brews"),
        house.get_at("/nothing"),
        house.post("/brew", "{"),
        with_host(&house, "brewhouse.example"),
    ];
    for reply in answers {
        assert_eq!(reply.header("cache-control"), Some("no-store"), "{reply:?}");
        assert_eq!(reply.header("x-content-type-options"), Some("nosniff"));
        let policy = reply.header("content-security-policy").unwrap();
        assert!(policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'none'"));
        assert_eq!(reply.header("access-control-allow-origin"), None);
    }
}

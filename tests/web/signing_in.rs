//! Sessions: signing in and out, and every request that must not count as the person's own.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use lauterd::access::UsersFile;

use crate::people::{Browser, FORM, Guarded, JSON, PASSWORD, a_plan, tun};

fn session(guarded: &Guarded, cookie: &str) -> u16 {
    guarded
        .ask("GET", "/api/v1/tuns", &[("Cookie", cookie)], "")
        .status
}

#[test]
fn the_page_needs_no_script_and_its_cookie_is_kept_from_scripts_and_other_sites() {
    let guarded = Guarded::new();
    let page = guarded.ask("GET", "/sign-in", &[], "");
    assert_eq!(page.status, 200);
    assert!(page.body.contains("type=\"password\"") && !page.body.contains("<script"));
    let policy = page.header("content-security-policy").unwrap();
    assert!(policy.contains("default-src 'none'") && policy.contains("form-action 'self'"));
    assert!(!policy.contains("unsafe"));
    for (name, value) in [
        ("x-frame-options", "DENY"),
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
        ("cache-control", "no-store"),
    ] {
        assert_eq!(page.header(name), Some(value));
    }
    let form = format!("user=anna&password={}", PASSWORD.replace(' ', "%20"));
    let reply = guarded.ask("POST", "/sign-in", &[FORM], &form);
    assert_eq!((reply.status, reply.header("location")), (303, Some("/")));
    let cookie = reply.header("set-cookie").unwrap();
    for part in ["HttpOnly", "SameSite=Strict", "Path=/", "Max-Age=3600"] {
        assert!(cookie.contains(part), "{cookie}");
    }
    assert!(!cookie.contains("Domain"));
}

#[test]
fn a_wrong_password_or_name_is_refused_alike() {
    let guarded = Guarded::new();
    let anna = guarded.ask("POST", "/sign-in", &[FORM], "user=anna&password=wrong");
    let nobody = guarded.ask("POST", "/sign-in", &[FORM], "user=anne&password=wrong");
    assert_eq!((anna.status, nobody.status), (401, 401));
    assert_eq!(anna.body, nobody.body.replace("anne", "anna"));
    assert_eq!(anna.header("set-cookie"), None);
    let body = r#"{"user":"anna","password":"wrong"}"#;
    guarded
        .ask("POST", "/api/v1/session", &[JSON], body)
        .refused(401);
    let strange = guarded.ask("POST", "/sign-in", &[FORM], "user=%3Cb%3E&password=");
    assert!(strange.body.contains("&lt;b&gt;") && !strange.body.contains("<b>"));
}

#[test]
fn whoever_guesses_must_wait_and_then_even_the_right_password_waits() {
    let guarded = Guarded::new();
    let guess = |password: &str| {
        let body = format!(r#"{{"user":"anna","password":"{password}"}}"#);
        guarded.ask("POST", "/api/v1/session", &[JSON], &body)
    };
    for _ in 0..5 {
        guess("wrong").refused(401);
    }
    let refused = guess(PASSWORD);
    assert!(refused.refused(429).contains("wait"));
    let seconds: u64 = refused.header("retry-after").unwrap().parse().unwrap();
    assert!((1..=2).contains(&seconds));
    let page = guarded.ask("POST", "/sign-in", &[FORM], "user=anna&password=x");
    assert_eq!(page.status, 429);
}

#[test]
fn a_cross_site_request_with_the_persons_cookie_changes_nothing() {
    let guarded = Guarded::new();
    let anna = guarded.sign_in("anna");
    let cookie = ("Cookie", anna.cookie.as_str());
    let csrf = ("X-Lauterd-Csrf", anna.csrf.as_str());
    let own = format!("http://{}", guarded.house.address);
    let path = tun("/brew");
    let cases: [(&[(&str, &str)], u16); 8] = [
        (&[JSON, cookie], 403),
        (&[JSON, cookie, ("X-Lauterd-Csrf", "")], 403),
        (&[JSON, cookie, ("X-Lauterd-Csrf", "0")], 403),
        (
            &[JSON, cookie, csrf, ("Origin", "http://elsewhere.example")],
            403,
        ),
        (&[JSON, cookie, csrf, ("Origin", "null")], 403),
        (&[JSON, cookie, csrf, ("Sec-Fetch-Site", "cross-site")], 403),
        (&[JSON, cookie, csrf, ("Sec-Fetch-Site", "same-site")], 403),
        (&[FORM, cookie, csrf], 415),
    ];
    for (headers, status) in cases {
        guarded
            .ask("POST", &path, headers, &a_plan())
            .refused(status);
    }
    let delete = guarded.ask("DELETE", "/api/v1/session", &[cookie], "");
    delete.refused(403);
    // Nobody is signed in by a page from elsewhere either.
    let form = format!("user=anna&password={}", PASSWORD.replace(' ', "+"));
    for headers in [
        [FORM, ("Origin", "http://elsewhere.example")],
        [FORM, ("Sec-Fetch-Site", "cross-site")],
    ] {
        let reply = guarded.ask("POST", "/sign-in", &headers, &form);
        assert_eq!((reply.status, reply.header("set-cookie")), (403, None));
    }
    assert!(guarded.house.done().is_empty());
    let same = [
        JSON,
        cookie,
        csrf,
        ("Origin", own.as_str()),
        ("Sec-Fetch-Site", "same-origin"),
    ];
    assert_eq!(guarded.ask("POST", &path, &same, &a_plan()).status, 201);
}

#[test]
fn a_replayed_session_counts_no_more_once_the_person_has_signed_out() {
    let guarded = Guarded::new();
    let anna = guarded.sign_in("anna");
    assert_eq!(session(&guarded, &anna.cookie), 200);
    let headers = [
        ("Cookie", anna.cookie.as_str()),
        ("X-Lauterd-Csrf", anna.csrf.as_str()),
    ];
    let out = guarded.ask("DELETE", "/api/v1/session", &headers, "");
    assert_eq!(out.status, 204, "{out:?}");
    assert!(out.header("set-cookie").unwrap().contains("Max-Age=0"));
    assert_eq!(session(&guarded, &anna.cookie), 401);
    guarded.act(&anna, "/brew", &a_plan()).refused(401);

    let again = guarded.sign_in("anna");
    let form = format!("csrf={}", again.csrf);
    let cookie = [FORM, ("Cookie", again.cookie.as_str())];
    assert_eq!(
        guarded.ask("POST", "/sign-out", &cookie, "csrf=0").status,
        403
    );
    assert_eq!(session(&guarded, &again.cookie), 200);
    assert_eq!(guarded.ask("POST", "/sign-out", &cookie, &form).status, 303);
    assert_eq!(session(&guarded, &again.cookie), 401);
    assert!(guarded.house.done().is_empty());
}

#[test]
fn the_value_of_one_session_does_not_serve_another() {
    let guarded = Guarded::new();
    let (anna, chief) = (guarded.sign_in("anna"), guarded.sign_in("chief"));
    let mixed = Browser {
        cookie: chief.cookie,
        csrf: anna.csrf,
    };
    guarded.act(&mixed, "/brew", &a_plan()).refused(403);
    let two = format!("{}; {}", anna.cookie, mixed.cookie);
    assert_eq!(session(&guarded, &two), 401);
}

#[test]
fn the_page_of_a_person_bears_the_sessions_value_and_its_parts_need_the_person() {
    let guarded = Guarded::new();
    let anna = guarded.sign_in("anna");
    let cookie = [("Cookie", anna.cookie.as_str())];
    let page = guarded.ask("GET", "/tuns/north-yard/tun-1", &cookie, "");
    assert_eq!(page.status, 200, "{page:?}");
    let filled = format!("<meta name=\"csrf\" content=\"{}\">", anna.csrf);
    assert!(page.body.contains(&filled), "{page:?}");
    assert_eq!(
        guarded.ask("GET", "/assets/page.js", &cookie, "").status,
        200
    );
    assert_eq!(guarded.ask("GET", "/assets/page.js", &[], "").status, 401);
    let parts = guarded.ask("GET", "/tuns/north-yard/tun-1/parts", &[], "");
    assert_eq!(parts.status, 401);
    let open = crate::brewhouse::Brewhouse::new();
    let nameless = open.get_at("/tuns/north-yard/tun-1").body;
    assert!(nameless.contains("<meta name=\"csrf\" content=\"\">"));
}

/// Reads an event stream of the page until it ends, and does something once it has begun.
fn until_it_ends(guarded: &Guarded, cookie: &str, then: impl FnOnce()) {
    let mut stream = TcpStream::connect(guarded.house.address).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(60)))
        .unwrap();
    let request = format!(
        "GET /tuns/north-yard/tun-1/parts HTTP/1.1\r\nHost: {}\r\nCookie: {cookie}\r\nConnection: close\r\n\r\n",
        guarded.house.address
    );
    stream.write_all(request.as_bytes()).unwrap();
    let mut begun = Vec::new();
    let mut piece = [0; 4096];
    while !String::from_utf8_lossy(&begun).contains("part-next") {
        let count = stream.read(&mut piece).expect("the stream begins");
        assert!(count > 0, "{}", String::from_utf8_lossy(&begun));
        begun.extend_from_slice(&piece[..count]);
    }
    assert!(begun.starts_with(b"HTTP/1.1 200"));
    then();
    let mut rest = Vec::new();
    stream.read_to_end(&mut rest).expect("the stream ends");
}

#[test]
fn an_event_stream_ends_with_the_session_and_with_the_user() {
    let guarded = Guarded::new();
    let anna = guarded.sign_in("anna");
    until_it_ends(&guarded, &anna.cookie, || {
        let headers = [
            ("Cookie", anna.cookie.as_str()),
            ("X-Lauterd-Csrf", anna.csrf.as_str()),
        ];
        let out = guarded.ask("DELETE", "/api/v1/session", &headers, "");
        assert_eq!(out.status, 204);
    });
    let chief = guarded.sign_in("chief");
    until_it_ends(&guarded, &chief.cookie, || {
        UsersFile::change(&guarded.users, |file| {
            file.users.retain(|user| user.name != "chief");
            Ok(())
        })
        .unwrap();
    });
}

#[test]
fn the_page_of_a_person_bears_name_and_role() {
    let guarded = Guarded::new();
    let anna = guarded.sign_in("anna");
    let cookie = [("Cookie", anna.cookie.as_str())];
    let page = guarded
        .ask("GET", "/tuns/north-yard/tun-1", &cookie, "")
        .body;
    for part in [
        "<meta name=\"user\" content=\"anna\">",
        "<meta name=\"role\" content=\"operate\">",
        "id=\"session-over\"",
    ] {
        assert!(page.contains(part), "{part}");
    }
}

#[test]
fn an_expired_session_is_refused() {
    let guarded = Guarded::with_session(Duration::ZERO);
    let form = format!("user=anna&password={}", PASSWORD.replace(' ', "+"));
    let reply = guarded.ask("POST", "/sign-in", &[FORM], &form);
    let cookie = reply
        .header("set-cookie")
        .unwrap()
        .split(';')
        .next()
        .unwrap();
    assert_eq!(session(&guarded, cookie), 401);
    let browser = Browser {
        cookie: cookie.to_owned(),
        csrf: String::new(),
    };
    guarded.act(&browser, "/brew", &a_plan()).refused(401);
}

#[test]
fn a_user_who_is_removed_is_out_with_the_next_request() {
    let guarded = Guarded::new();
    let anna = guarded.sign_in("anna");
    UsersFile::change(&guarded.users, |file| {
        file.users.retain(|user| user.name != "anna");
        Ok(())
    })
    .unwrap();
    guarded.act(&anna, "/brew", &a_plan()).refused(401);
}

#[test]
fn oversized_requests_are_refused() {
    let guarded = Guarded::new();
    let anna = guarded.sign_in("anna");
    let large = "x".repeat(65 * 1024);
    let note = format!(r#"{{"text":"{large}"}}"#);
    guarded.act(&anna, "/notes", &note).refused(413);
    let form = format!("user=anna&password={large}");
    assert_eq!(guarded.ask("POST", "/sign-in", &[FORM], &form).status, 413);
    let body = format!(r#"{{"user":"anna","password":"{large}"}}"#);
    guarded
        .ask("POST", "/api/v1/session", &[JSON], &body)
        .refused(413);
    let long = [("Cookie", large.as_str())];
    assert_eq!(guarded.ask("GET", "/api/v1/tuns", &long, "").status, 431);
    let words = format!(r#"{{"text":"{}"}}"#, "x".repeat(201));
    guarded.act(&anna, "/notes", &words).refused(422);
    assert!(guarded.house.done().is_empty());
}

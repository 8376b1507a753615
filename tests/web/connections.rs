//! How many connections there may be, and how they end when the service stops.

use std::io::{Read, Write};
use std::net::TcpStream;

use crate::brewhouse::Brewhouse;

/// A connection that has been answered once and is kept.
fn served(house: &Brewhouse) -> TcpStream {
    let mut stream = TcpStream::connect(house.address).unwrap();
    let request = format!(
        "GET /api/v1/health HTTP/1.1\r\nHost: {}\r\n\r\n",
        house.address
    );
    stream.write_all(request.as_bytes()).unwrap();
    let mut first = [0; 15];
    stream.read_exact(&mut first).unwrap();
    assert_eq!(&first, b"HTTP/1.1 200 OK");
    stream
}

#[test]
fn stopping_closes_idle_connections_and_gives_the_address_free() {
    let mut house = Brewhouse::new();
    let mut idle = served(&house);
    house.begin_stop();
    house.stopped();
    let mut rest = Vec::new();
    idle.read_to_end(&mut rest).unwrap();
    let address = house.address;
    house.wait(async { lauterd::web::bind(address).unwrap() });
}

#[test]
fn stopping_waits_for_no_client_that_never_finishes() {
    let mut house = Brewhouse::new();
    let mut dawdler = TcpStream::connect(house.address).unwrap();
    dawdler
        .write_all(b"POST /api/v1/tuns HTTP/1.1\r\nHost: loc")
        .unwrap();
    // Served by now: connections are taken in order.
    assert_eq!(house.get_at("/api/v1/health").status, 200);
    house.begin_stop();
    house.stopped();
}

/// Whoever holds every place keeps nobody from asking, and is not given more.
#[test]
fn a_client_beyond_the_last_place_is_served_all_the_same() {
    let house = Brewhouse::new();
    let idle: Vec<TcpStream> = (0..96).map(|_| served(&house)).collect();
    for path in ["/healthz", "/api/v1/tuns"] {
        let reply = crate::http::request(house.address, "GET", path, &[], "");
        assert_eq!(reply.status, 200, "{path}");
    }
    let stream = "/api/v1/tuns/north-yard/tun-1/events";
    let reply = crate::http::request(house.address, "GET", stream, &[], "");
    assert_eq!(reply.status, 503, "an event stream would hold the place");
    drop(idle);
}

/// True once a new client is answered; false where that never happens.
fn is_answered_after_a_while(house: &Brewhouse) -> bool {
    (0..100).any(|_| {
        std::thread::sleep(std::time::Duration::from_millis(200));
        let Ok(mut stream) = TcpStream::connect(house.address) else {
            return false;
        };
        let request = format!("GET /healthz HTTP/1.1\r\nHost: {}\r\n\r\n", house.address);
        let mut first = [0; 15];
        stream.write_all(request.as_bytes()).is_ok()
            && stream.read_exact(&mut first).is_ok()
            && &first == b"HTTP/1.1 200 OK"
    })
}

/// As many clients as that, each with the same beginning of a request.
fn crowd(house: &Brewhouse, beginning: &str) -> Vec<TcpStream> {
    let begin = |_| {
        let mut stream = TcpStream::connect(house.address).unwrap();
        // Beyond all places the service hangs up.
        let _ = stream.write_all(beginning.as_bytes());
        stream
    };
    (0..200).map(begin).collect()
}

/// Bare connections that send nothing are let go soon.
#[test]
fn connections_that_say_nothing_do_not_shut_the_door() {
    let house = Brewhouse::new();
    let silent = crowd(&house, "");
    assert!(is_answered_after_a_while(&house));
    drop(silent);
}

#[test]
fn requests_whose_head_is_never_finished_do_not_shut_the_door() {
    let house = Brewhouse::new();
    let halves = crowd(&house, "GET / HTTP/1.1\r\nHost: localhost\r\nAccept: te");
    assert!(is_answered_after_a_while(&house));
    drop(halves);
}

#[test]
fn requests_whose_body_is_never_finished_do_not_shut_the_door_and_are_told_so() {
    let house = Brewhouse::new();
    let beginning = format!(
        "POST /api/v1/tuns/north-yard/tun-1/brew/end HTTP/1.1\r\nHost: {}\r\nContent-Type: application/json\r\n\
         Content-Length: 100\r\n\r\n{{\"",
        house.address
    );
    let mut halves = crowd(&house, &beginning);
    assert!(is_answered_after_a_while(&house));
    let mut told = String::new();
    halves[0].read_to_string(&mut told).unwrap();
    assert!(told.starts_with("HTTP/1.1 408 "), "{told}");
    assert!(told.contains("did not come whole within"), "{told}");
}

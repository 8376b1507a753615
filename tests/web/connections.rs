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

#[test]
fn a_client_beyond_the_last_place_waits_and_is_served() {
    let house = Brewhouse::new();
    let idle: Vec<TcpStream> = (0..128).map(|_| served(&house)).collect();
    let address = house.address;
    let late = std::thread::spawn(move || {
        crate::http::request(address, "GET", "/api/v1/health", &[], "").status
    });
    drop(idle);
    assert_eq!(late.join().unwrap(), 200);
}

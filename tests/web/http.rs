//! A client so plain that it can send what a well-behaved one would not.

use std::fmt::Write as _;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::Duration;

use serde_json::Value;

/// An answer, taken apart.
#[derive(Debug)]
pub struct Reply {
    pub status: u16,
    head: String,
    pub body: String,
}

impl Reply {
    pub fn header(&self, name: &str) -> Option<&str> {
        self.head.lines().skip(1).find_map(|line| {
            let (key, value) = line.split_once(':')?;
            key.eq_ignore_ascii_case(name).then_some(value.trim())
        })
    }

    pub fn json(&self) -> Value {
        assert_eq!(
            self.header("content-type"),
            Some("application/json"),
            "{self:?}"
        );
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }

    /// The words of an error, after checking its status.
    #[track_caller]
    pub fn refused(&self, status: u16) -> String {
        assert_eq!(self.status, status, "{self:?}");
        self.json()["error"].as_str().expect("words").to_owned()
    }
}

/// Takes an answer apart.
pub fn taken_apart(answer: &str) -> Reply {
    let (head, body) = answer.split_once("\r\n\r\n").expect("a head and a body");
    let status = head.split(' ').nth(1).unwrap().parse().unwrap();
    Reply {
        status,
        head: head.to_owned(),
        body: body.to_owned(),
    }
}

/// Sends bytes as they are and reads until the service closes.
pub fn raw(address: SocketAddr, request: &[u8]) -> Reply {
    let mut stream = TcpStream::connect(address).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(60)))
        .unwrap();
    stream.write_all(request).unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).unwrap();
    taken_apart(&String::from_utf8(answer).unwrap())
}

/// A request with its own header lines beside what every request needs.
pub fn request(
    address: SocketAddr,
    method: &str,
    path: &str,
    headers: &[(&str, &str)],
    body: &str,
) -> Reply {
    let mut text = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
    if !headers
        .iter()
        .any(|(name, _)| name.eq_ignore_ascii_case("host"))
    {
        write!(text, "Host: {address}\r\n").unwrap();
    }
    for (name, value) in headers {
        write!(text, "{name}: {value}\r\n").unwrap();
    }
    write!(text, "Content-Length: {}\r\n\r\n{body}", body.len()).unwrap();
    raw(address, text.as_bytes())
}

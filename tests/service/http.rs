//! As much HTTP as the tests need.

use serde_json::Value;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

#[derive(Clone, Debug)]
pub struct Answer {
    pub status: u16,
    pub body: String,
}

impl Answer {
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {}", self.body))
    }
}

/// One request with a body of this media type. HTTP/1.0, so that the answer ends with the connection and is never
/// chunked.
pub async fn request(
    port: u16,
    method: &str,
    target: &str,
    (media_type, body): (&str, &str),
) -> std::io::Result<Answer> {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).await?;
    let head = format!(
        "{method} {target} HTTP/1.0\r\nHost: 127.0.0.1:{port}\r\nContent-Type: {media_type}\r\n\
         Content-Length: {}\r\n\r\n",
        body.len()
    );
    stream.write_all(head.as_bytes()).await?;
    stream.write_all(body.as_bytes()).await?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer).await?;
    let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((&answer, ""));
    let status = head
        .split(' ')
        .nth(1)
        .and_then(|status| status.parse().ok());
    Ok(Answer {
        status: status.unwrap_or(0),
        body: body.to_owned(),
    })
}

pub async fn get(port: u16, target: &str) -> std::io::Result<Answer> {
    request(port, "GET", target, ("text/plain", "")).await
}

/// Percent-encoding of everything but letters and digits.
pub fn encode(text: &str) -> String {
    text.bytes()
        .map(|byte| match byte {
            b'0'..=b'9' | b'a'..=b'z' | b'A'..=b'Z' => char::from(byte).to_string(),
            other => format!("%{other:02X}"),
        })
        .collect()
}

//! As much HTTP as the tests need.

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

#[derive(Clone, Debug)]
pub struct Answer {
    pub status: u16,
    pub body: String,
}

/// One request. HTTP/1.0, so that the answer ends with the connection and is never chunked.
pub async fn request(port: u16, method: &str, target: &str, body: &str) -> std::io::Result<Answer> {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).await?;
    let head = format!(
        "{method} {target} HTTP/1.0\r\nHost: localhost\r\nContent-Length: {}\r\n\r\n",
        body.len()
    );
    stream.write_all(head.as_bytes()).await?;
    stream.write_all(body.as_bytes()).await?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer).await?;
    let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((&answer, ""));
    let status = head.split(' ').nth(1).and_then(|s| s.parse().ok());
    Ok(Answer {
        status: status.unwrap_or(0),
        body: body.to_owned(),
    })
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

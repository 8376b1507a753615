//! What is said to whoever speaks plain HTTP to a port that is encrypted.
//!
//! Owns the recognition by the first byte and the one sentence. Nothing that was asked is read, let alone done.

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::TcpStream;

/// The first byte of every TLS handshake: RFC 8446, section 5.1.
const HANDSHAKE: u8 = 22;

const SENTENCE: &str =
    "This port is encrypted: write https:// instead of http:// in front of the address.\n";

/// Whether the other end begins with anything but a handshake. Waits for its first byte.
pub async fn is_plain(stream: &TcpStream) -> bool {
    let mut first = [0];
    matches!(stream.peek(&mut first).await, Ok(1) if first[0] != HANDSHAKE)
}

/// Says how to ask, and reads what is still coming: closing on unread bytes would take the answer back.
pub async fn refuse<S: AsyncRead + AsyncWrite + Unpin>(mut stream: S) {
    let answer = format!(
        "HTTP/1.1 400 Bad Request\r\nContent-Type: text/plain; charset=utf-8\r\nContent-Length: {}\r\n\
         Connection: close\r\n\r\n{SENTENCE}",
        SENTENCE.len()
    );
    let told = stream.write_all(answer.as_bytes()).await.is_ok();
    if told && stream.shutdown().await.is_ok() {
        let mut unread = [0; 1024];
        while matches!(stream.read(&mut unread).await, Ok(1..)) {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn the_answer_names_https_and_is_as_long_as_it_says() {
        let (mut client, served) = tokio::io::duplex(1024);
        client.write_all(b"GET / HTTP/1.1\r\n\r\n").await.unwrap();
        let refused = tokio::spawn(refuse(served));
        let mut answer = String::new();
        client.read_to_string(&mut answer).await.unwrap();
        drop(client);
        refused.await.unwrap();
        let (head, body) = answer.split_once("\r\n\r\n").unwrap();
        assert!(head.starts_with("HTTP/1.1 400"), "{head}");
        let length = format!("Content-Length: {}", body.len());
        assert!(head.contains(&length), "{head}, but {length}");
        assert!(body.contains("https://"), "{body}");
    }
}

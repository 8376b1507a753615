//! The database that a simulated brewhouse brings along: it takes every write and keeps nothing.
//!
//! Owns just enough of HTTP/1.1 to accept a body and say "no content". While its link is down it closes every
//! connection. It is there so that the loss of a database can be practised without one.

use std::sync::Arc;

use tokio::io::{AsyncBufReadExt as _, AsyncReadExt as _, AsyncWriteExt as _, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::JoinSet;

use super::servers::{Shared, Shown};
use crate::instrument::DATABASE_LINK;

/// Longest line of a head, and longest body: far beyond what is sent here.
const LONGEST_LINE: u64 = 16 * 1024;
const LONGEST_BODY: u64 = 16 * 1024 * 1024;

/// Serves until stopped.
pub async fn serve(listener: TcpListener, shared: Shared) {
    let mut connections = JoinSet::new();
    loop {
        tokio::select! {
            () = shared.stop.cancelled() => return,
            Some(_) = connections.join_next() => {}
            accepted = listener.accept() => {
                if let Ok((stream, _)) = accepted {
                    connections.spawn(connection(stream, shared.shown.clone()));
                }
            }
        }
    }
}

async fn connection(stream: TcpStream, mut shown: watch::Receiver<Arc<Shown>>) {
    let mut stream = BufReader::new(stream);
    loop {
        tokio::select! {
            // Down, or nobody is left to say so: the connection is closed.
            _ = shown.wait_for(|shown| !shown.link_is_up(DATABASE_LINK)) => return,
            answered = exchange(&mut stream) => if answered.is_none() { return },
        }
    }
}

/// One request and its answer; None at the end of the connection.
async fn exchange(stream: &mut BufReader<TcpStream>) -> Option<()> {
    let mut length = 0;
    let mut is_chunked = false;
    let mut lines = 0;
    loop {
        let line = line(stream).await?;
        if line.is_empty() && lines > 0 {
            break;
        }
        lines += 1;
        let line = line.to_ascii_lowercase();
        if let Some(value) = line.strip_prefix("content-length:") {
            length = value.trim().parse().ok()?;
        }
        is_chunked |= line.starts_with("transfer-encoding:") && line.contains("chunked");
    }
    if is_chunked {
        loop {
            let size = u64::from_str_radix(line(stream).await?.trim(), 16).ok()?;
            discard(stream, size).await?;
            line(stream).await?;
            if size == 0 {
                break;
            }
        }
    } else {
        discard(stream, length).await?;
    }
    let answer = b"HTTP/1.1 204 No Content\r\n\r\n";
    stream.get_mut().write_all(answer).await.ok()
}

async fn line(stream: &mut BufReader<TcpStream>) -> Option<String> {
    let mut line = String::new();
    let read = stream.take(LONGEST_LINE).read_line(&mut line).await.ok()?;
    (read > 0).then(|| line.trim_end().to_owned())
}

async fn discard(stream: &mut BufReader<TcpStream>, length: u64) -> Option<()> {
    if length > LONGEST_BODY {
        return None;
    }
    let mut body = stream.take(length);
    let copied = tokio::io::copy(&mut body, &mut tokio::io::sink())
        .await
        .ok()?;
    (copied == length).then_some(())
}

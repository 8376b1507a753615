//! Servers that answer with captured bytes, and the publisher of captured messages.
//!
//! Owns the frames' borders on the way in; what goes out are the bytes of the site, right or wrong.

use std::sync::Arc;

use tokio::io::{AsyncRead, AsyncReadExt as _, AsyncWrite, AsyncWriteExt as _};
use tokio::net::TcpListener;
use tokio::sync::watch;
use tokio::task::JoinSet;

use super::Position;
use super::capture::{Capture, Framing, SERIAL_REQUEST, TCP_HEAD};
use crate::scenario::Mqtt;
use crate::serve::publishing::Connection;

/// Longest body behind a TCP head (Modbus Messaging on TCP/IP V1.0b, 4.1: 260 bytes in all).
const LONGEST_BODY: usize = 254;
/// Exception "illegal data address": nothing of the kind was captured.
const NOT_CAPTURED: u8 = 0x02;

/// One link as it was.
#[derive(Clone, Debug)]
pub struct Wire {
    pub capture: Arc<Capture>,
    pub link: String,
    pub framing: Framing,
    pub position: watch::Receiver<Position>,
}

impl Wire {
    fn now_us(&self) -> i64 {
        (self.position.borrow().elapsed_s * 1e6) as i64
    }

    /// What to send, if anything was sent at the site.
    fn answer(&self, request: &[u8]) -> Vec<u8> {
        let now_us = self.now_us();
        match self
            .capture
            .exchange(&self.link, self.framing, request, now_us)
        {
            Some(exchange) => self.framing.answer(exchange, request),
            None => self.not_captured(request),
        }
    }

    /// Said in the protocol's own words; on a bus nobody answers for what was never asked.
    fn not_captured(&self, request: &[u8]) -> Vec<u8> {
        let (Framing::Tcp, Some(&[unit, function])) = (
            self.framing,
            request
                .get(TCP_HEAD..TCP_HEAD + 2)
                .and_then(|two| <&[u8; 2]>::try_from(two).ok()),
        ) else {
            return Vec::new();
        };
        tracing::warn!(
            "link {}: unit {unit}: a request that is not in the capture",
            self.link
        );
        let mut reply = request[..2].to_vec();
        reply.extend([0, 0, 0, 3, unit, function | 0x80, NOT_CAPTURED]);
        reply
    }

    /// Answers one client until it goes.
    pub async fn serve<S: AsyncRead + AsyncWrite + Unpin>(
        &self,
        mut stream: S,
    ) -> std::io::Result<()> {
        loop {
            let request = match self.framing {
                Framing::Tcp => tcp_request(&mut stream).await?,
                Framing::Serial => {
                    let mut request = vec![0; SERIAL_REQUEST];
                    stream.read_exact(&mut request).await?;
                    request
                }
            };
            let reply = self.answer(&request);
            stream.write_all(&reply).await?;
            stream.flush().await?;
        }
    }

    /// Answers every client of a listener.
    pub async fn listen(self, listener: TcpListener) {
        let mut clients = JoinSet::new();
        loop {
            tokio::select! {
                Some(_) = clients.join_next() => {}
                accepted = listener.accept() => if let Ok((stream, _)) = accepted {
                    let _ = stream.set_nodelay(true);
                    let wire = self.clone();
                    clients.spawn(async move { wire.serve(stream).await });
                }
            }
        }
    }
}

async fn tcp_request<S: AsyncRead + Unpin>(stream: &mut S) -> std::io::Result<Vec<u8>> {
    let mut request = vec![0; TCP_HEAD];
    stream.read_exact(&mut request).await?;
    let length = usize::from(u16::from_be_bytes([request[4], request[5]]));
    if !(2..=LONGEST_BODY).contains(&length) {
        return Err(std::io::ErrorKind::InvalidData.into());
    }
    request.resize(TCP_HEAD + length, 0);
    stream.read_exact(&mut request[TCP_HEAD..]).await?;
    Ok(request)
}

/// Publishes every message at its moment, byte for byte.
pub async fn publish(capture: Arc<Capture>, broker: Mqtt, mut position: watch::Receiver<Position>) {
    let connection = Connection::open("capture", &broker);
    let mut next = 0;
    while position.changed().await.is_ok() {
        let now_us = (position.borrow_and_update().elapsed_s * 1e6) as i64;
        while let Some(message) = capture.messages.get(next)
            && message.at_us <= now_us
        {
            connection.put(&message.topic, message.payload.clone(), message.retained);
            next += 1;
        }
    }
}

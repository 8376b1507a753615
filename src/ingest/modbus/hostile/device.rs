//! Requests as a device sees them, and what a scripted device does with them.

use std::sync::{Arc, Mutex};

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

use super::super::testing::crc_16_modbus;

/// A request as a device sees it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Asked {
    pub(super) transaction: u16,
    pub(super) unit_id: u8,
    pub(super) function: u8,
    pub(super) address: u16,
    pub(super) quantity: u16,
}

impl Asked {
    pub(super) fn from_pdu(transaction: u16, unit_and_pdu: &[u8]) -> Self {
        let word = |at: usize| u16::from_be_bytes([unit_and_pdu[at], unit_and_pdu[at + 1]]);
        Self {
            transaction,
            unit_id: unit_and_pdu[0],
            function: unit_and_pdu[1],
            address: word(2),
            quantity: word(4),
        }
    }

    pub(super) async fn receive_tcp(stream: &mut TcpStream) -> Option<Self> {
        let mut frame = [0; 12];
        stream.read_exact(&mut frame).await.ok()?;
        Some(Self::from_pdu(
            u16::from_be_bytes([frame[0], frame[1]]),
            &frame[6..],
        ))
    }

    pub(super) async fn receive_rtu<S: AsyncRead + Unpin>(stream: &mut S) -> Option<Self> {
        let mut frame = [0; 8];
        stream.read_exact(&mut frame).await.ok()?;
        let (body, crc) = frame.split_at(6);
        assert_eq!(crc, crc_16_modbus(body).to_le_bytes());
        Some(Self::from_pdu(0, body))
    }

    /// Unit, function and as many registers as were asked for, each holding its own address plus 1000.
    pub(super) fn honest_body(self) -> Vec<u8> {
        let mut body = vec![self.unit_id, self.function, 2 * self.quantity as u8];
        body.extend((0..self.quantity).flat_map(|n| (1000 + self.address + n).to_be_bytes()));
        body
    }

    pub(super) fn exception_body(self, code: u8) -> Vec<u8> {
        vec![self.unit_id, self.function | 0x80, code]
    }

    pub(super) fn tcp(self, body: &[u8]) -> Vec<u8> {
        let mut frame = self.transaction.to_be_bytes().to_vec();
        frame.extend([0, 0, 0, body.len() as u8]);
        frame.extend(body);
        frame
    }
}

pub(super) fn rtu(body: &[u8]) -> Vec<u8> {
    let mut frame = body.to_vec();
    frame.extend(crc_16_modbus(body).to_le_bytes());
    frame
}

/// What a scripted device does with a request.
pub(super) enum Act {
    Send(Vec<u8>),
    Ignore,
    Close,
}

/// Serves one connection after another on `listener`; every request goes through `script`, which is also
/// told how many requests came before it.
pub(super) fn serve(
    listener: TcpListener,
    script: impl Fn(usize, Asked) -> Act + Send + Sync + 'static,
) -> Arc<Mutex<Vec<Asked>>> {
    let log: Arc<Mutex<Vec<Asked>>> = Arc::default();
    let (script, seen) = (Arc::new(script), Arc::clone(&log));
    tokio::spawn(async move {
        while let Ok((mut stream, _)) = listener.accept().await {
            let (script, seen) = (Arc::clone(&script), Arc::clone(&seen));
            tokio::spawn(async move {
                while let Some(asked) = Asked::receive_tcp(&mut stream).await {
                    let before = {
                        let mut seen = seen.lock().unwrap();
                        seen.push(asked);
                        seen.len() - 1
                    };
                    match script(before, asked) {
                        Act::Send(frame) => stream.write_all(&frame).await.unwrap_or(()),
                        Act::Ignore => {}
                        Act::Close => return,
                    }
                }
            });
        }
    });
    log
}

pub(super) async fn listener() -> (TcpListener, String) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap().to_string();
    (listener, address)
}

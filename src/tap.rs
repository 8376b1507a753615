//! Bytes as they pass between the service and its instruments, for a recording.
//!
//! Owns the tap: a stream that tells what goes through it and changes nothing, and the channel to whoever records. It
//! never delays a bus: what finds no room is counted and lost to the recording alone.

use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::task::{Context, Poll, ready};

use lauter_core::reading::Moment;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::sync::mpsc;

use crate::clock::Clock;

/// Chunks that may wait to be written to a file: minutes of a busy installation.
const TAPPED_BOUND: usize = 16_384;

/// What passed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Passed {
    Opened,
    Sent(Vec<u8>),
    Received(Vec<u8>),
    Closed,
    /// A message of an instrument that publishes.
    Message {
        topic: String,
        payload: Vec<u8>,
        retained: bool,
    },
}

/// One thing that passed on one link.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tapped {
    pub at: Moment,
    pub link: String,
    pub passed: Passed,
}

/// The adapters' end.
#[derive(Clone, Debug)]
pub struct Tap {
    sender: mpsc::Sender<Tapped>,
    refused: Arc<AtomicU64>,
    clock: Clock,
}

impl Tap {
    pub fn channel(clock: Clock) -> (Self, mpsc::Receiver<Tapped>) {
        let (sender, receiver) = mpsc::channel(TAPPED_BOUND);
        let tap = Self {
            sender,
            refused: Arc::default(),
            clock,
        };
        (tap, receiver)
    }

    pub fn tell(&self, link: &str, passed: Passed) {
        let tapped = Tapped {
            at: self.clock.now(),
            link: link.to_owned(),
            passed,
        };
        if self.sender.try_send(tapped).is_err() {
            self.refused.fetch_add(1, Ordering::Relaxed);
        }
    }

    /// What found no room.
    pub fn refused(&self) -> u64 {
        self.refused.load(Ordering::Relaxed)
    }
}

/// A stream and who is told of what passes through it; without a tap the stream alone.
#[derive(Debug)]
pub struct TappedStream<S> {
    stream: S,
    tap: Option<(Tap, String)>,
}

impl<S> TappedStream<S> {
    pub fn new(stream: S, tap: Option<&Tap>, link: &str) -> Self {
        let tapped = Self {
            stream,
            tap: tap.map(|tap| (tap.clone(), link.to_owned())),
        };
        tapped.tell(|| Passed::Opened);
        tapped
    }

    fn tell(&self, passed: impl FnOnce() -> Passed) {
        if let Some((tap, link)) = &self.tap {
            tap.tell(link, passed());
        }
    }
}

impl<S> Drop for TappedStream<S> {
    fn drop(&mut self) {
        self.tell(|| Passed::Closed);
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for TappedStream<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buffer.filled().len();
        ready!(Pin::new(&mut self.stream).poll_read(context, buffer))?;
        let new = &buffer.filled()[before..];
        if !new.is_empty() {
            self.tell(|| Passed::Received(new.to_vec()));
        }
        Poll::Ready(Ok(()))
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for TappedStream<S> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        let written = ready!(Pin::new(&mut self.stream).poll_write(context, bytes))?;
        self.tell(|| Passed::Sent(bytes[..written].to_vec()));
        Poll::Ready(Ok(written))
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}

#[cfg(test)]
mod tests {
    use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};

    use super::*;
    use crate::clock::Start;

    #[tokio::test]
    async fn what_passes_is_told_byte_for_byte_and_passes_unchanged() {
        let (ours, mut theirs) = tokio::io::duplex(64);
        let (tap, mut told) = Tap::channel(Clock::start(&Start::default()));
        let mut stream = TappedStream::new(ours, Some(&tap), "skid");
        stream.write_all(&[1, 2, 3]).await.unwrap();
        let mut heard = [0; 3];
        theirs.read_exact(&mut heard).await.unwrap();
        assert_eq!(heard, [1, 2, 3]);
        theirs.write_all(&[9, 8]).await.unwrap();
        let mut answer = [0; 2];
        stream.read_exact(&mut answer).await.unwrap();
        drop(stream);
        let mut passed = Vec::new();
        while let Ok(tapped) = told.try_recv() {
            assert_eq!(tapped.link, "skid");
            passed.push(tapped.passed);
        }
        let expected = [
            Passed::Opened,
            Passed::Sent(vec![1, 2, 3]),
            Passed::Received(vec![9, 8]),
            Passed::Closed,
        ];
        assert_eq!(passed, expected);
    }

    #[test]
    fn a_recorder_that_does_not_keep_up_delays_nobody_and_is_told_what_it_missed() {
        let (tap, _told) = Tap::channel(Clock::start(&Start::default()));
        for _ in 0..TAPPED_BOUND + 3 {
            tap.tell("skid", Passed::Opened);
        }
        assert_eq!(tap.refused(), 3);
    }
}

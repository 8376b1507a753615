//! What stands between the library and the stream: nothing is sent while unread bytes wait, and what comes is counted.
//!
//! Owns the guard against bytes that nobody asked for, and the notice of what came since a request, which tells silence
//! from garbage. Knows nothing of frames.

use std::io;
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll, ready};

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

use super::transport::closed;

/// What the guard found when a request was about to be sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub(super) enum GuardFault {
    #[error("the other end closed the connection")]
    ClosedWhileIdle,
    #[error("bytes came that nobody asked for")]
    UnaskedBytes,
}

/// What has come since the last request began, for telling silence from garbage.
#[derive(Clone, Debug, Default)]
pub(super) struct Heard(Arc<Mutex<Coming>>);

/// How much came and how it began. Kept in place: it is written with every answer.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Coming {
    first: [u8; HEARD_BOUND],
    pub bytes: usize,
}

/// Bytes kept of an answer. Own choice: enough to know a text from a frame.
const HEARD_BOUND: usize = 8;

impl Coming {
    /// The bytes it began with.
    pub fn first(&self) -> &[u8] {
        &self.first[..self.bytes.min(HEARD_BOUND)]
    }

    fn add(&mut self, bytes: &[u8]) {
        let kept = self.bytes.min(HEARD_BOUND);
        let taken = bytes.len().min(HEARD_BOUND - kept);
        self.first[kept..kept + taken].copy_from_slice(&bytes[..taken]);
        self.bytes += bytes.len();
    }
}

impl Heard {
    pub fn since_request(&self) -> Coming {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn begin(&self) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Coming::default();
    }

    fn add(&self, bytes: &[u8]) {
        self.0
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .add(bytes);
    }
}

/// A stream that refuses to carry a request while unread bytes wait on it, and that says so when the other
/// end has closed.
#[derive(Debug)]
pub(super) struct Guard<S> {
    stream: S,
    heard: Heard,
    /// A request has been begun and nothing has been read since.
    in_request: bool,
}

impl<S> Guard<S> {
    pub fn new(stream: S) -> Self {
        Self {
            stream,
            heard: Heard::default(),
            in_request: false,
        }
    }

    pub fn heard(&self) -> Heard {
        self.heard.clone()
    }
}

impl<S: AsyncRead + AsyncWrite + Unpin> Guard<S> {
    /// Fails if there is anything to read, or if the stream has ended.
    fn check_empty(&mut self, cx: &mut Context<'_>) -> io::Result<()> {
        let mut scratch = [0_u8; 64];
        let mut unasked = ReadBuf::new(&mut scratch);
        match Pin::new(&mut self.stream).poll_read(cx, &mut unasked) {
            Poll::Pending => Ok(()),
            Poll::Ready(Ok(())) if unasked.filled().is_empty() => {
                Err(io::Error::other(GuardFault::ClosedWhileIdle))
            }
            Poll::Ready(Ok(())) => Err(io::Error::other(GuardFault::UnaskedBytes)),
            Poll::Ready(Err(fault)) => Err(fault),
        }
    }
}

impl<S: AsyncRead + AsyncWrite + Unpin> AsyncRead for Guard<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buffer.filled().len();
        let room = buffer.remaining();
        ready!(Pin::new(&mut self.stream).poll_read(cx, buffer))?;
        if room > 0 && buffer.filled().len() == before {
            return Poll::Ready(Err(closed()));
        }
        self.heard.add(&buffer.filled()[before..]);
        self.in_request = false;
        Poll::Ready(Ok(()))
    }
}

impl<S: AsyncRead + AsyncWrite + Unpin> AsyncWrite for Guard<S> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        if !self.in_request {
            self.check_empty(cx)?;
            self.heard.begin();
            self.in_request = true;
        }
        Pin::new(&mut self.stream).poll_write(cx, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}

#[cfg(test)]
mod tests {
    use tokio::io::{AsyncReadExt, AsyncWriteExt};

    use super::*;

    fn guard_fault(error: &io::Error) -> Option<GuardFault> {
        error.get_ref()?.downcast_ref().copied()
    }

    #[tokio::test]
    async fn a_request_is_refused_while_unasked_bytes_wait() {
        let (ours, mut theirs) = tokio::io::duplex(64);
        let mut guarded = Guard::new(ours);
        theirs.write_all(&[1, 3, 2, 0, 7]).await.unwrap();
        let refused = guarded.write_all(b"request").await.unwrap_err();
        assert_eq!(guard_fault(&refused), Some(GuardFault::UnaskedBytes));
    }

    #[tokio::test]
    async fn a_connection_closed_while_idle_is_told_from_one_that_breaks() {
        let (ours, theirs) = tokio::io::duplex(64);
        let mut guarded = Guard::new(ours);
        drop(theirs);
        let refused = guarded.write_all(b"request").await.unwrap_err();
        assert_eq!(guard_fault(&refused), Some(GuardFault::ClosedWhileIdle));
    }

    #[tokio::test]
    async fn a_reply_may_be_followed_by_the_next_request() {
        let (ours, mut theirs) = tokio::io::duplex(64);
        let mut guarded = Guard::new(ours);
        for turn in 0..3_u8 {
            guarded.write_all(&[turn]).await.unwrap();
            assert_eq!(theirs.read_u8().await.unwrap(), turn);
            theirs.write_all(&[turn]).await.unwrap();
            assert_eq!(guarded.read_u8().await.unwrap(), turn);
        }
        drop(theirs);
        let ended = guarded.read_u8().await.unwrap_err();
        assert_eq!(ended.kind(), io::ErrorKind::UnexpectedEof);
    }
}

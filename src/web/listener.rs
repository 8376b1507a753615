//! Connections: how many at a time, how long each may dawdle, and how they end when the service stops.
//!
//! A connection for which there is no place is served briefly, if at all, so that nobody can hold the door shut; and a
//! place is lost by who does not finish a request's head (how long its body may take, `in_time` says) or does not take the
//! answer. Must not know what is asked. A loop of our own stands in for `axum::serve` because that one bounds neither
//! the number of connections nor the time a client takes to send a request's head.

use std::net::SocketAddr;
use std::time::Duration;

use axum::{Extension, Router};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::time;
use tokio_io_timeout::TimeoutStream;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

use super::parameters::{
    ACCEPT_PAUSE, BRIEF_BOUND, BRIEF_HEAD_TIMEOUT, BRIEF_OF_ADDRESS, BRIEF_TIMEOUT,
    CONNECTIONS_BOUND, CONNECTIONS_OF_ADDRESS, HANDSHAKE_TIMEOUT, HEAD_BOUND, HEAD_TIMEOUT,
    STOP_TIMEOUT, TAKE_TIMEOUT,
};
use super::places::Places;
use super::plain;
use super::tls::Tls;

/// Both ends of the connection a request came by.
#[derive(Clone, Copy, Debug)]
pub struct Ends {
    pub local: SocketAddr,
    pub peer: SocketAddr,
    /// Whether what travels between them is encrypted.
    pub secure: bool,
    /// The connection is for one request only.
    pub brief: bool,
}

/// How long a connection may dawdle.
#[derive(Clone, Copy, Debug)]
struct Patience {
    /// Until a request's head has come.
    head: Duration,
    /// While nothing of an answer is taken.
    take: Duration,
}

impl Patience {
    fn with(brief: bool) -> Self {
        Self {
            head: if brief {
                BRIEF_HEAD_TIMEOUT
            } else {
                HEAD_TIMEOUT
            },
            take: TAKE_TIMEOUT,
        }
    }
}

/// Accepts and serves until `stop`, then waits for the answers under way, but not for long.
pub async fn run(listener: TcpListener, tls: Option<Tls>, router: Router, stop: CancellationToken) {
    let places = Places::new(CONNECTIONS_BOUND, CONNECTIONS_OF_ADDRESS);
    let brief = Places::new(BRIEF_BOUND, BRIEF_OF_ADDRESS);
    let connections = TaskTracker::new();
    // Ends what is left when the time to stop is over.
    let abandon = CancellationToken::new();
    while let Some((stream, peer)) = stop.run_until_cancelled(accept(&listener)).await {
        let kept = places.take(peer.ip());
        let is_brief = kept.is_none();
        let Some(place) = kept.or_else(|| brief.take(peer.ip())) else {
            tracing::debug!(%peer, "a web connection beyond all places was closed");
            continue;
        };
        let (tls, router) = (tls.clone(), router.clone());
        let connection = connection(stream, peer, is_brief, tls, router, stop.clone());
        let abandon = abandon.clone();
        connections.spawn(async move {
            if is_brief {
                let limited = time::timeout(BRIEF_TIMEOUT, connection);
                abandon.run_until_cancelled(limited).await;
            } else {
                abandon.run_until_cancelled(connection).await;
            }
            drop(place);
        });
    }
    drop(listener);
    connections.close();
    if time::timeout(STOP_TIMEOUT, connections.wait())
        .await
        .is_err()
    {
        tracing::warn!(
            left = connections.len(),
            "web connections cut off on stopping"
        );
        abandon.cancel();
        connections.wait().await;
    }
}

async fn accept(listener: &TcpListener) -> (TcpStream, SocketAddr) {
    loop {
        match listener.accept().await {
            Ok(accepted) => return accepted,
            Err(error) => {
                tracing::warn!(%error, "a web connection could not be accepted");
                time::sleep(ACCEPT_PAUSE).await;
            }
        }
    }
}

async fn connection(
    stream: TcpStream,
    peer: SocketAddr,
    brief: bool,
    tls: Option<Tls>,
    router: Router,
    stop: CancellationToken,
) {
    let Ok(local) = stream.local_addr() else {
        return; // Gone before it was served.
    };
    let secure = tls.is_some();
    let ends = Ends {
        local,
        peer,
        secure,
        brief,
    };
    let Some(tls) = tls else {
        return conversation(stream, ends, Patience::with(brief), router, stop).await;
    };
    let acceptor = tls.acceptor();
    let patience = if brief {
        BRIEF_HEAD_TIMEOUT
    } else {
        HANDSHAKE_TIMEOUT
    };
    let agreed = time::timeout(patience, async {
        if plain::is_plain(&stream).await {
            plain::refuse(stream).await;
            return None;
        }
        Some(acceptor.accept(stream).await)
    });
    match stop.run_until_cancelled(agreed).await {
        Some(Ok(Some(Ok(stream)))) => {
            conversation(stream, ends, Patience::with(brief), router, stop).await;
        }
        Some(Ok(Some(Err(error)))) => {
            tracing::debug!(%peer, %error, "no encrypted connection came about");
        }
        Some(Ok(None)) => tracing::debug!(%peer, "plain HTTP was told to use https"),
        Some(Err(_)) | None => {}
    }
}

async fn conversation<S>(
    stream: S,
    ends: Ends,
    patience: Patience,
    router: Router,
    stop: CancellationToken,
) where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let router = router.layer(Extension(ends));
    let mut stream = TimeoutStream::new(stream);
    stream.set_write_timeout(Some(patience.take));
    let served = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(patience.head)
        .keep_alive(!ends.brief)
        .max_buf_size(HEAD_BOUND)
        .serve_connection(
            TokioIo::new(Box::pin(stream)),
            TowerToHyperService::new(router),
        );
    let mut served = std::pin::pin!(served);
    let outcome = tokio::select! {
        outcome = served.as_mut() => outcome,
        () = stop.cancelled() => {
            served.as_mut().graceful_shutdown();
            served.await
        }
    };
    if let Err(error) = outcome {
        tracing::debug!(peer = %ends.peer, %error, "a web connection ended early");
    }
}

#[cfg(test)]
mod tests {
    use axum::routing::get;
    use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream};
    use tokio::task::JoinHandle;

    use super::*;

    const LARGE: usize = 1 << 20;

    /// A conversation with little patience, and the client's end of it.
    fn begun() -> (DuplexStream, JoinHandle<()>) {
        let (client, served) = tokio::io::duplex(1024);
        let address = "127.0.0.1:1".parse().unwrap();
        let ends = Ends {
            local: address,
            peer: address,
            secure: false,
            brief: false,
        };
        let patience = Patience {
            head: Duration::from_millis(100),
            take: Duration::from_millis(100),
        };
        let router = Router::new().route("/", get(|| async { "x".repeat(LARGE) }));
        let stop = CancellationToken::new();
        let task = tokio::spawn(conversation(served, ends, patience, router, stop));
        (client, task)
    }

    #[tokio::test]
    async fn a_head_that_is_never_finished_gives_its_place_back() {
        let (mut client, task) = begun();
        client
            .write_all(b"GET / HTTP/1.1\r\nHost: a\r\n")
            .await
            .unwrap();
        task.await.unwrap();
    }

    #[tokio::test]
    async fn an_answer_that_is_never_taken_gives_its_place_back() {
        let (mut client, task) = begun();
        client
            .write_all(b"GET / HTTP/1.1\r\nHost: a\r\n\r\n")
            .await
            .unwrap();
        let mut first = [0; 8];
        client.read_exact(&mut first).await.unwrap();
        assert_eq!(&first, b"HTTP/1.1");
        task.await.unwrap();
    }

    #[tokio::test]
    async fn an_answer_that_is_taken_slowly_is_given_whole() {
        let (mut client, task) = begun();
        let ask = b"GET / HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n";
        client.write_all(ask).await.unwrap();
        let mut taken = 0;
        let mut some = [0; 4096];
        while let count @ 1.. = client.read(&mut some).await.unwrap() {
            taken += count;
            tokio::task::yield_now().await;
        }
        assert!(taken > LARGE, "{taken}");
        task.await.unwrap();
    }
}

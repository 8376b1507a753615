//! Connections: how many at a time, how long each may dawdle, and how they end when the service stops.
//!
//! A connection for which there is no place is served briefly, if at all, so that nobody can hold the door shut. Must not
//! know what is asked. A loop of our own stands in for `axum::serve` because that one bounds neither
//! the number of connections nor the time a client takes to send a request's head.

use std::net::SocketAddr;

use axum::{Extension, Router};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::time;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

use super::parameters::{
    ACCEPT_PAUSE, BRIEF_BOUND, BRIEF_HEAD_TIMEOUT, BRIEF_OF_ADDRESS, BRIEF_TIMEOUT,
    CONNECTIONS_BOUND, CONNECTIONS_OF_ADDRESS, HANDSHAKE_TIMEOUT, HEAD_BOUND, HEAD_TIMEOUT,
    STOP_TIMEOUT,
};
use super::places::Places;
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
        return conversation(stream, ends, router, stop).await;
    };
    let acceptor = tls.acceptor();
    let patience = if brief {
        BRIEF_HEAD_TIMEOUT
    } else {
        HANDSHAKE_TIMEOUT
    };
    let agreed = time::timeout(patience, acceptor.accept(stream));
    match stop.run_until_cancelled(agreed).await {
        Some(Ok(Ok(stream))) => conversation(stream, ends, router, stop).await,
        Some(Ok(Err(error))) => {
            tracing::debug!(%peer, %error, "no encrypted connection came about");
        }
        Some(Err(_)) | None => {}
    }
}

async fn conversation<S>(stream: S, ends: Ends, router: Router, stop: CancellationToken)
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let router = router.layer(Extension(ends));
    let served = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(if ends.brief {
            BRIEF_HEAD_TIMEOUT
        } else {
            HEAD_TIMEOUT
        })
        .keep_alive(!ends.brief)
        .max_buf_size(HEAD_BOUND)
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(router));
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

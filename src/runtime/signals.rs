//! Signals that end the service or have it read its configuration again.

use std::sync::Arc;

use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

/// What the signals ask for, for as long as the process lives.
#[derive(Clone, Debug)]
pub struct Signals {
    pub stop: CancellationToken,
    pub reload: Arc<Notify>,
}

impl Signals {
    /// Listens: SIGINT and SIGTERM end, SIGHUP reads the configuration again.
    pub fn listen() -> std::io::Result<Self> {
        let signals = Self {
            stop: CancellationToken::new(),
            reload: Arc::new(Notify::new()),
        };
        let mut hangup = signal(SignalKind::hangup())?;
        stop_on_signals(signals.stop.clone())?;
        let reload = Arc::clone(&signals.reload);
        tokio::spawn(async move {
            while hangup.recv().await.is_some() {
                reload.notify_one();
            }
        });
        Ok(signals)
    }
}

/// Cancels `stop` on SIGINT or SIGTERM.
pub fn stop_on_signals(stop: CancellationToken) -> std::io::Result<()> {
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    tokio::spawn(async move {
        tokio::select! {
            _ = interrupt.recv() => tracing::info!("interrupted; stopping"),
            _ = terminate.recv() => tracing::info!("asked to end; stopping"),
        }
        stop.cancel();
    });
    Ok(())
}

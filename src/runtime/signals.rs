//! Signals that end the service.

use tokio::signal::unix::{SignalKind, signal};
use tokio_util::sync::CancellationToken;

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

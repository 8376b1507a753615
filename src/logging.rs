//! Where the log goes: to people on a terminal, to the journal under systemd, and else as JSON.

use std::io::IsTerminal;

use tracing_subscriber::EnvFilter;
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::util::SubscriberInitExt;

/// What is logged unless RUST_LOG says otherwise. The Modbus library warns of every bad frame by itself, which
/// the link's own report already covers.
const DEFAULT_FILTER: &str = "info,tokio_modbus=error,rumqttc=warn";

/// Begins the names of our own fields in the journal, so that `journalctl LAUTERD_LINK=skid` finds them.
const FIELD_PREFIX: &str = "LAUTERD";

/// Starts logging. A second call changes nothing.
pub fn start() {
    let filter =
        EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new(DEFAULT_FILTER));
    let registry = tracing_subscriber::registry().with(filter);
    let under_systemd = std::env::var_os("JOURNAL_STREAM").is_some();
    let journal = under_systemd
        .then(tracing_journald::layer)
        .and_then(Result::ok)
        .map(|journal| {
            journal
                .with_syslog_identifier("lauterd".to_owned())
                .with_field_prefix(Some(FIELD_PREFIX.to_owned()))
        });
    let started = if let Some(journal) = journal {
        registry.with(journal).try_init()
    } else if std::io::stderr().is_terminal() {
        registry
            .with(
                tracing_subscriber::fmt::layer()
                    .with_target(false)
                    .with_writer(std::io::stderr),
            )
            .try_init()
    } else {
        registry
            .with(
                tracing_subscriber::fmt::layer()
                    .json()
                    .with_writer(std::io::stderr),
            )
            .try_init()
    };
    // Only a second start fails, and then logging runs already.
    let _ = started;
}

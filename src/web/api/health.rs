//! For those who watch the watch: whether it lives, whether it works, and its figures.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::{Extension, State};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::IntoResponse;
use tokio::time;

use super::Service;
use crate::access::Caller;
use crate::runtime::request::TunStatus;
use crate::web::metrics;
use crate::web::problem::Problem;

/// A tun that is well answers in milliseconds.
const PATIENCE: Duration = Duration::from_secs(3);

pub async fn alive() -> &'static str {
    "alive\n"
}

/// Ready when every tun's task answers and the record takes what it is given. That old readings are lost is told to those who
/// may know.
pub async fn ready(
    State(service): State<Arc<Service>>,
    caller: Option<Extension<Caller>>,
) -> Result<String, Problem> {
    let (statuses, silent) = statuses(&service).await;
    let mut faults: Vec<String> = silent
        .iter()
        .map(|tun| format!("{tun} does not answer"))
        .collect();
    faults.extend(
        statuses
            .iter()
            .filter(|status| status.health["store"]["last_error"].is_string())
            .map(|status| {
                let error = status.health["store"]["last_error"].as_str();
                format!(
                    "the record of {}/{} cannot be written: {}",
                    status.site,
                    status.tun,
                    error.unwrap_or_default()
                )
            }),
    );
    if faults.is_empty() {
        let lost = statuses.iter().find_map(|status| {
            let blocks = status.health["store"]["damaged_blocks"].as_str();
            blocks.filter(|_| caller.is_some())
        });
        return Ok(lost.map_or_else(
            || "ready\n".to_owned(),
            |blocks| format!("ready, but blocks of readings are damaged: {blocks}\n"),
        ));
    }
    let words = match caller {
        Some(_) => faults.join("; "),
        // Strangers need not know what is wrong.
        None => "not ready; the log, or whoever has signed in, sees why".to_owned(),
    };
    Err(Problem::new(StatusCode::SERVICE_UNAVAILABLE, words))
}

pub async fn metrics(State(service): State<Arc<Service>>) -> impl IntoResponse {
    let (statuses, silent) = statuses(&service).await;
    let text = metrics::text(&statuses, silent.len(), &service.store.health());
    ([(CONTENT_TYPE, metrics::MEDIA_TYPE)], text)
}

/// The tuns as they stand, and the names of those that do not answer.
async fn statuses(service: &Service) -> (Vec<TunStatus>, Vec<String>) {
    let mut statuses = Vec::new();
    let mut silent = Vec::new();
    for tun in &service.tuns {
        match time::timeout(PATIENCE, tun.status()).await {
            Ok(Ok(status)) => statuses.push(status),
            Ok(Err(_)) | Err(_) => silent.push(format!("{}/{}", tun.site, tun.tun)),
        }
    }
    (statuses, silent)
}

//! The JSON interface below `/api/v1`: its routes and what the handlers share.

mod alarms;
mod body;
mod charts;
mod crush;
mod export;
mod notes;
mod operate;
mod profile;
mod record;
mod report;
mod tuns;

use std::sync::Arc;
use std::time::Duration;

use axum::extract::DefaultBodyLimit;
use axum::http::StatusCode;
use axum::routing::{get, post};
use axum::{Router, middleware};
use tokio::sync::Semaphore;
use tokio::time;
use tokio_util::sync::CancellationToken;

use super::live::Live;
use super::parameters::{BODY_BOUND, TUN_TIMEOUT};
use super::problem::Problem;
use super::wire::BASE;
use super::{events, guard, page};
use crate::runtime::request::{Refusal, TunHandle};
use crate::store::Store;
pub use charts::{bed_setting, running_charts};

/// What the handlers work with.
#[derive(Clone, Debug)]
pub struct Service {
    pub tuns: Vec<TunHandle>,
    pub store: Store,
    /// The live state of each tun, in their order.
    pub live: Vec<Live>,
    /// Places for event streams.
    pub streams: Arc<Semaphore>,
    pub stop: CancellationToken,
}

/// Every route, behind the guard.
pub fn router(service: Arc<Service>) -> Router {
    let brew = Router::new()
        .route("/", get(record::brew))
        .route("/table", get(record::table))
        .route("/lines", get(record::lines))
        .route("/alarms", get(record::alarms))
        .route("/samples", get(report::samples))
        .route("/projections", get(report::projections))
        .route("/occurrences", get(report::occurrences))
        .route("/charts/{chart}", get(charts::chart))
        .route("/report", get(report::report))
        .route("/export", get(export::files))
        .route("/export/{file}", get(export::file));
    let tun = Router::new()
        .route("/", get(tuns::status))
        .route("/brew", post(operate::start_brew))
        .route("/brew/end", post(operate::end_brew))
        .route("/events", get(events::states))
        .route("/forecast", get(charts::forecast))
        .route("/samples", post(operate::sample))
        .route("/notes", post(notes::note))
        .route("/raking", post(notes::raking))
        .route("/crush", get(crush::list).post(crush::enter))
        .route("/alarms/report", get(alarms::report))
        .route("/alarms/trail", get(alarms::trail))
        .route("/alarms/{alarm}", post(operate::alarm))
        .route("/brews", get(record::brews))
        .route("/profile", get(profile::show).delete(profile::reset))
        .nest("/brews/{brew}", brew);
    let api = Router::new()
        .route("/health", get(tuns::health))
        .route("/tuns", get(tuns::list))
        .nest("/tuns/{site}/{tun}", tun);
    Router::new()
        .nest(BASE, api)
        .merge(page::router())
        .fallback(no_such_path)
        .method_not_allowed_fallback(no_such_method)
        .layer(DefaultBodyLimit::max(BODY_BOUND))
        .layer(middleware::from_fn(guard::watch))
        .with_state(service)
}

async fn no_such_path(uri: axum::http::Uri) -> Problem {
    Problem::not_found(format!(
        "there is nothing at {}; the interface stands below {BASE}",
        uri.path()
    ))
}

async fn no_such_method(method: axum::http::Method) -> Problem {
    Problem::new(
        StatusCode::METHOD_NOT_ALLOWED,
        format!("{method} cannot be used here"),
    )
}

impl Service {
    /// The tun with this site and name, or which ones there are.
    pub fn tun(&self, site: &str, tun: &str) -> Result<&TunHandle, Problem> {
        self.tuns
            .iter()
            .find(|handle| handle.site == site && handle.tun == tun)
            .ok_or_else(|| {
                let served: Vec<String> = self
                    .tuns
                    .iter()
                    .map(|handle| format!("{}/{}", handle.site, handle.tun))
                    .collect();
                Problem::not_found(format!(
                    "this service has no tun {site}/{tun}; it serves {}",
                    served.join(", ")
                ))
            })
    }
}

impl Service {
    /// The live state of a tun.
    pub fn live(&self, site: &str, tun: &str) -> Result<&Live, Problem> {
        let id = self.tun(site, tun)?.id;
        let mut beside = self.tuns.iter().zip(&self.live);
        let found = beside.find(|(handle, _)| handle.id == id);
        found
            .map(|(_, live)| live)
            .ok_or_else(|| Problem::not_found("this tun is not watched live"))
    }
}

/// Waits for the tun's task, but not for ever.
async fn answered<T>(answer: impl Future<Output = Result<T, Refusal>>) -> Result<T, Problem> {
    within(TUN_TIMEOUT, answer).await
}

async fn within<T>(
    limit: Duration,
    answer: impl Future<Output = Result<T, Refusal>>,
) -> Result<T, Problem> {
    match time::timeout(limit, answer).await {
        Ok(answer) => answer.map_err(Problem::from),
        Err(_) => Err(Problem::new(
            StatusCode::GATEWAY_TIMEOUT,
            format!(
                "the tun's task has not answered within {} s; what was asked may still be done: look at the status \
                 before asking again, and at the disk of the record",
                limit.as_secs_f64()
            ),
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_tun_that_does_not_answer_is_not_waited_for() {
        let silent = std::future::pending::<Result<(), Refusal>>();
        let problem = within(Duration::from_millis(5), silent).await.unwrap_err();
        assert_eq!(problem.status, StatusCode::GATEWAY_TIMEOUT);
        assert!(problem.body.error.contains("may still be done"));
    }
}

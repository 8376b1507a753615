//! The JSON interface below `/api/v1`: its router and what the handlers share; which operations there are is in
//! `operations`.

mod alarms;
pub mod body;
mod calibration;
mod catalogue;
mod charts;
mod crush;
mod document;
mod export;
mod health;
mod operate;
mod operations;
mod profile;
mod query;
mod record;
mod report;
mod tuns;
mod unfit;

use std::sync::Arc;

use axum::extract::{DefaultBodyLimit, State};
use axum::http::header::{ACCEPT, CONTENT_TYPE};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::{Router, middleware};
use serde_json::Value;
use tokio_util::sync::CancellationToken;

use self::catalogue::{Described, Routed};
use super::events::Turns;
use super::live::Live;
use super::parameters::BODY_BOUND;
use super::places::Places;
use super::problem::Problem;
use super::wire::BASE;
use super::{Entrance, csrf, guard, in_language, page, sign_in};
use crate::display::{Display, Voice};
use crate::fleet::Listening;
use crate::runtime::request::TunHandle;
use crate::store::Store;
pub use charts::{bed_setting, running_charts};

/// What the handlers work with.
#[derive(Clone, Debug)]
pub struct Service {
    pub tuns: Vec<TunHandle>,
    pub store: Store,
    pub entrance: Entrance,
    /// The live state of each tun, in their order.
    pub live: Vec<Live>,
    /// Places for event streams.
    pub streams: Arc<Places>,
    /// And their turns.
    pub turns: Arc<Turns>,
    pub stop: CancellationToken,
}

/// Every route, behind the guard.
pub fn router(service: Arc<Service>) -> Router {
    let (routes, _) = operations::all::<Routed>().finish();
    let json = [(CONTENT_TYPE, catalogue::JSON)];
    let served = axum::routing::get(move || async move { (json, OPENAPI) });
    Router::new()
        .merge(routes)
        .merge(sign_in::routes())
        .merge(page::router(Arc::clone(&service)).layer(middleware::from_fn(csrf::fill)))
        .route("/api/v1/openapi.json", served)
        .fallback(no_such_path)
        .method_not_allowed_fallback(no_such_method)
        .layer(DefaultBodyLimit::max(BODY_BOUND))
        .layer(middleware::from_fn_with_state(
            Arc::clone(&service),
            in_language::answer,
        ))
        .layer(middleware::from_fn_with_state(
            Arc::clone(&service),
            guard::watch,
        ))
        .with_state(service)
}

/// The document as it was made last; a test holds it against [`openapi`].
const OPENAPI: &str = include_str!("../../../docs/openapi.json");

/// The OpenAPI document of all operations.
pub fn openapi() -> Value {
    document::document(operations::all::<Described>().finish().1)
}

/// Whoever reads pages is shown one.
async fn no_such_path(
    State(service): State<Arc<Service>>,
    uri: axum::http::Uri,
    headers: HeaderMap,
) -> Response {
    let problem = Problem::not_found(format!(
        "there is nothing at {}; the interface stands below {BASE}",
        uri.path()
    ));
    let accepted = headers.get(ACCEPT).and_then(|accept| accept.to_str().ok());
    let reads_pages = accepted.is_some_and(|accepted| accepted.contains("text/html"));
    if reads_pages && !uri.path().starts_with(BASE) {
        page::trouble(service.voice(), &problem)
    } else {
        problem.into_response()
    }
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
    /// Every tun behind the broker, where that is asked for.
    pub fn fleet(&self) -> Result<&Listening, Problem> {
        self.entrance.fleet.as_ref().ok_or_else(|| {
            Problem::not_found(
                "this service does not list all tuns; set fleet = true in [web], with a broker in [mqtt]",
            )
        })
    }

    /// How pages speak that are of no tun: as the first one.
    pub fn voice(&self) -> Voice {
        let first = self.tuns.first();
        Voice::new(first.map_or_else(Display::default, |tun| tun.configuration.web.display))
    }

    /// The live state of a tun.
    pub fn live(&self, site: &str, tun: &str) -> Result<&Live, Problem> {
        let id = self.tun(site, tun)?.id();
        let mut beside = self.tuns.iter().zip(&self.live);
        let found = beside.find(|(handle, _)| handle.id() == id);
        found
            .map(|(_, live)| live)
            .ok_or_else(|| Problem::not_found("this tun is not watched live"))
    }
}

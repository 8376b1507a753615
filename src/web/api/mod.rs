//! The JSON interface below `/api/v1`: its routes and what the handlers share.

mod alarms;
pub mod body;
mod catalogue;
mod export;
mod health;
mod operate;
mod profile;
mod record;
mod tuns;

use std::sync::Arc;

use axum::extract::DefaultBodyLimit;
use axum::http::StatusCode;
use axum::{Json, Router, middleware};
use lauter_core::projection::Plan;
use lauter_core::supervisor::{AlarmLine, Line, TableLine};
use serde_json::Value;

use super::parameters::BODY_BOUND;
use super::problem::Problem;
use super::wire::{
    ActionEntry, AlarmOperation, AlarmReport, BASE, BrewName, ExportFiles, Health, KnownProfile,
    NoteBody, Noted, ProfileVersion, RakesBody, RakesNoted, RecordedBrew, RecordedBrews,
    SampleBody, ServedTuns, SignInBody, SignedIn, TrailEntry,
};
use super::{Entrance, guard, metrics, sign_in};
use crate::access::Role;
use crate::runtime::request::{TunHandle, TunStatus};
use crate::store::Store;
use catalogue::{Catalogue, delete, get, post};

/// What the handlers work with.
#[derive(Clone, Debug)]
pub struct Service {
    pub tuns: Vec<TunHandle>,
    pub store: Store,
    pub entrance: Entrance,
}

/// Every route, behind the guard.
pub fn router(service: Arc<Service>) -> Router {
    let (routes, document) = catalogue().finish();
    let document = Arc::new(document);
    let served = axum::routing::get(move || async move { Json(Value::clone(&document)) });
    Router::new()
        .merge(routes)
        .merge(sign_in::routes())
        .route("/api/v1/openapi.json", served)
        .fallback(no_such_path)
        .method_not_allowed_fallback(no_such_method)
        .layer(DefaultBodyLimit::max(BODY_BOUND))
        .layer(middleware::from_fn_with_state(
            Arc::clone(&service),
            guard::watch,
        ))
        .with_state(service)
}

/// The OpenAPI document of all operations.
pub fn openapi() -> Value {
    catalogue().finish().1
}

fn catalogue() -> Catalogue {
    of_record(of_tun(of_service(Catalogue::new())))
}

fn of_service(catalogue: Catalogue) -> Catalogue {
    catalogue
        .with(
            get("/healthz", "alive", "Whether the service answers at all")
                .public()
                .answers_text(&["text/plain"]),
            health::alive,
        )
        .with(
            get(
                "/readyz",
                "ready",
                "Whether every tun is watched and the record is written",
            )
            .public()
            .answers_text(&["text/plain"]),
            health::ready,
        )
        .with(
            get("/metrics", "metrics", "Figures in OpenMetrics text")
                .answers_text(&[metrics::MEDIA_TYPE]),
            health::metrics,
        )
        .with(
            get(
                "/api/v1/health",
                "health",
                "Version, tuns and how the record fares",
            )
            .answers::<Health>(),
            tuns::health,
        )
        .with(
            get(sign_in::SESSION, "whoami", "Who the caller is taken for")
                .public()
                .answers::<SignedIn>(),
            sign_in::who,
        )
        .with(
            post(
                sign_in::SESSION,
                "sign_in",
                "Signs a person in; the answer sets the session's cookie",
            )
            .public()
            .takes::<SignInBody>()
            .answers::<SignedIn>(),
            sign_in::open,
        )
        .with(
            delete(sign_in::SESSION, "sign_out", "Ends the session")
                .public()
                .status("204", "Signed out"),
            sign_in::close,
        )
        .with(
            get("/api/v1/tuns", "tuns", "The tuns that are served").answers::<ServedTuns>(),
            tuns::list,
        )
}

fn of_tun(catalogue: Catalogue) -> Catalogue {
    catalogue
        .with(
            get("/api/v1/tuns/{site}/{tun}", "status", "The tun as it stands now").answers::<TunStatus>(),
            tuns::status,
        )
        .with(
            post("/api/v1/tuns/{site}/{tun}/brew", "start_brew", "Starts a brew with its plan")
                .query::<operate::StartQuery>()
                .takes_toml::<Plan>()
                .answers::<BrewName>()
                .status("201", "Started"),
            operate::start_brew,
        )
        .with(
            post("/api/v1/tuns/{site}/{tun}/brew/end", "end_brew", "Ends the brew under way")
                .takes::<Nothing>()
                .answers::<BrewName>(),
            operate::end_brew,
        )
        .with(
            post("/api/v1/tuns/{site}/{tun}/samples", "sample", "Takes a hand sample")
                .takes::<SampleBody>()
                .answers::<SampleBody>(),
            operate::sample,
        )
        .with(
            post("/api/v1/tuns/{site}/{tun}/notes", "note", "Puts words into the record")
                .takes::<NoteBody>()
                .answers::<Noted>(),
            operate::note,
        )
        .with(
            post("/api/v1/tuns/{site}/{tun}/rakes", "rakes", "Takes the word that the rakes run or have stopped")
                .takes::<RakesBody>()
                .answers::<RakesNoted>(),
            operate::rakes,
        )
        .with(
            post(
                "/api/v1/tuns/{site}/{tun}/alarms/{alarm}",
                "operate_alarm",
                "Acknowledges, shelves or unshelves an alarm; as engineer also takes it out of service and returns it",
            )
            .query::<operate::AlarmQuery>()
            .takes::<AlarmOperation>()
            .answers::<AlarmOperation>(),
            operate::alarm,
        )
        .with(
            get("/api/v1/tuns/{site}/{tun}/alarms/report", "alarm_report", "How the alarms behaved, beside benchmarks")
                .query::<alarms::AskedQuery>()
                .answers::<AlarmReport>(),
            alarms::report,
        )
        .with(
            get("/api/v1/tuns/{site}/{tun}/alarms/trail", "alarm_trail", "Every change of an alarm: when, by whom, why")
                .query::<alarms::AskedQuery>()
                .answers::<Vec<TrailEntry>>(),
            alarms::trail,
        )
        .with(
            get("/api/v1/tuns/{site}/{tun}/actions", "actions", "Everything that people and programs did")
                .query::<alarms::AskedQuery>()
                .answers::<Vec<ActionEntry>>(),
            alarms::actions,
        )
        .with(
            get("/api/v1/tuns/{site}/{tun}/profile", "profile", "What earlier brews taught").answers::<KnownProfile>(),
            profile::show,
        )
        .with(
            delete("/api/v1/tuns/{site}/{tun}/profile", "reset_profile", "Begins a new profile that knows nothing")
                .needs(Role::Engineer)
                .answers::<ProfileVersion>(),
            operate::reset_profile,
        )
}

fn of_record(catalogue: Catalogue) -> Catalogue {
    catalogue
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews",
                "brews",
                "The newest brews of the record, newest first",
            )
            .query::<record::ListQuery>()
            .answers::<RecordedBrews>(),
            record::brews,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}",
                "brew",
                "One brew of the record",
            )
            .answers::<RecordedBrew>(),
            record::brew,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}/table",
                "table",
                "The brewer's table",
            )
            .answers::<Vec<TableLine>>(),
            record::table,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}/lines",
                "lines",
                "Projections, alarms, table and summary in the order they were put out",
            )
            .answers::<Vec<Line>>(),
            record::lines,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}/alarms",
                "alarms",
                "Every change of an alarm's state",
            )
            .answers::<Vec<AlarmLine>>(),
            record::alarms,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}/export",
                "export_files",
                "The files the brew can be had as",
            )
            .answers::<ExportFiles>(),
            export::files,
        )
        .with(
            get(
                "/api/v1/tuns/{site}/{tun}/brews/{brew}/export/{file}",
                "export_file",
                "One of those files",
            )
            .answers_text(&export::MEDIA_TYPES),
            export::file,
        )
}

/// A body that says nothing; its content type shows that no form sent it.
#[derive(Debug, schemars::JsonSchema)]
#[allow(dead_code, reason = "only its shape is of use")]
struct Nothing {}

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
    fn tun(&self, site: &str, tun: &str) -> Result<&TunHandle, Problem> {
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

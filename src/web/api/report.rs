//! A brew's report, and the parts of its record that a report is made of.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::HeaderValue;
use axum::http::header::{CONTENT_SECURITY_POLICY, CONTENT_TYPE};
use axum::response::{Html, IntoResponse, Response};
use lauter_core::supervisor::{Occurrence, ProjectionLine};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::query::Query;
use super::record::{BrewPath, of_brew};
use super::{Service, bed_setting};
use crate::brew_record::BrewRecord;
use crate::display::Voice;
use crate::report;
use crate::web::page::crush_of;
use crate::web::problem::{Answer, Problem};
use crate::web::wire::SampleBody;

/// The form of a report.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Format {
    #[default]
    Html,
    Csv,
    Json,
}

impl Format {
    /// What stands for this format.
    pub(super) fn choose<T>(
        self,
        html: impl FnOnce() -> T,
        csv: impl FnOnce() -> T,
        json: impl FnOnce() -> T,
    ) -> T {
        match self {
            Self::Html => html(),
            Self::Csv => csv(),
            Self::Json => json(),
        }
    }
}

/// All its content types.
pub const MEDIA_TYPES: [&str; 3] = [
    "text/html; charset=utf-8",
    "text/csv; charset=utf-8",
    "application/json",
];

#[derive(Debug, Deserialize, JsonSchema)]
pub struct ReportQuery {
    #[serde(default)]
    pub(super) format: Format,
}

/// A report runs no script and loads nothing; its one style is inside.
pub(super) const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

pub async fn report(
    State(service): State<Arc<Service>>,
    Path((site, tun, brew)): Path<(String, String, String)>,
    Query(ReportQuery { format }): Query<ReportQuery>,
) -> Result<Response, Problem> {
    let handle = service.tun(&site, &tun)?.clone();
    let id = handle.id();
    of_brew(&service, Path((site, tun, brew)), move |database, brew| {
        let record = BrewRecord::read(database, brew)?;
        let started = record.brew.header.started;
        let crushes = database.crushes(id)?;
        Ok(match format {
            Format::Html => {
                let health = record.health(database)?;
                let written = report::html(&report::Report {
                    site: &handle.site,
                    tun: &handle.tun,
                    record: &record,
                    health: &health,
                    crush: crush_of(&crushes, started),
                    bed: bed_setting(&handle.configuration),
                    capacity_l: handle.configuration.kettle.capacity_l,
                    voice: Voice::new(handle.configuration.web.display),
                });
                written.map_err(Problem::from).map(|html| {
                    let policy = (CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
                    ([policy], Html(html)).into_response()
                })
            }
            Format::Csv => report::csv(&record)
                .map_err(|error| Problem::internal(&error))
                .map(|csv| ([(CONTENT_TYPE, "text/csv; charset=utf-8")], csv).into_response()),
            Format::Json => Ok(Json(report::json(&record)).into_response()),
        })
    })
    .await?
}

/// A hand sample with its time.
#[derive(Debug, Serialize, JsonSchema)]
pub struct TimedSample {
    /// Counts the brew's samples from 1.
    pub number: usize,
    pub elapsed_s: f64,
    /// Null while it stands; otherwise when it was withdrawn.
    pub withdrawn_s: Option<f64>,
    #[serde(flatten)]
    pub sample: SampleBody,
}

pub async fn samples(
    State(service): State<Arc<Service>>,
    path: BrewPath,
) -> Answer<Vec<TimedSample>> {
    let samples = of_brew(&service, path, |database, brew| {
        let origin = brew.header.origin;
        let samples = database.recorded_samples(brew.id)?.into_iter();
        Ok(samples
            .enumerate()
            .map(|(place, recorded)| TimedSample {
                number: place + 1,
                elapsed_s: recorded.at.since(origin),
                withdrawn_s: recorded.withdrawn.map(|at| at.since(origin)),
                sample: recorded.sample.into(),
            })
            .collect())
    })
    .await?;
    Ok(Json(samples))
}

/// Every projection in order: how the stop-point was seen over the brew.
pub async fn projections(
    State(service): State<Arc<Service>>,
    path: BrewPath,
) -> Answer<Vec<ProjectionLine>> {
    let lines = of_brew(&service, path, |database, brew| {
        database.projections(brew.id)
    })
    .await?;
    Ok(Json(lines))
}

/// What happened, in words: phases, samples, notes, rakings.
pub async fn occurrences(
    State(service): State<Arc<Service>>,
    path: BrewPath,
) -> Answer<Vec<Occurrence>> {
    let told = of_brew(&service, path, |database, brew| {
        database.occurrences(brew.id)
    })
    .await?;
    Ok(Json(told.into_iter().map(|(_, it)| it).collect()))
}

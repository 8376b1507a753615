//! Loop checks, certificates, corrections and how far instruments have drifted.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Extension, Path, State};
use axum::http::header::{CONTENT_SECURITY_POLICY, CONTENT_TYPE};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{Html, IntoResponse, Response};
use schemars::JsonSchema;
use serde::Deserialize;

use super::query::Query;
use super::report::{POLICY, ReportQuery};
use super::{Service, body};
use crate::access::Caller;
use crate::certificate::{self, Certificate};
use crate::charts::{self, Size};
use crate::display::Voice;
use crate::runtime::request::Calibrated;
use crate::web::acts::{answered, configured};
use crate::web::problem::{Answer, Problem};
use crate::web::wire::calibration::{CorrectionRecord, InstrumentState, LoopCheckRecord, WhoQuery};

/// Site, tun and one more name.
type Below = Path<(String, String, String)>;

#[derive(Debug, Deserialize, JsonSchema)]
pub struct ChecksQuery {
    /// Only of this instrument.
    instrument: Option<String>,
}

/// How the instruments stand that have a check or a correction.
pub async fn states(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
) -> Answer<Vec<Calibrated>> {
    let status = answered(service.tun(&site, &tun)?.status()).await?;
    Ok(Json(status.calibration))
}

pub async fn checks(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
    Query(ChecksQuery { instrument }): Query<ChecksQuery>,
) -> Answer<Vec<LoopCheckRecord>> {
    let id = service.tun(&site, &tun)?.id();
    let checks = service
        .store
        .read(move |database| database.loop_checks(id, instrument.as_deref()))
        .await?;
    Ok(Json(checks.into_iter().map(Into::into).collect()))
}

pub async fn enter_check(
    State(service): State<Arc<Service>>,
    Extension(caller): Extension<Caller>,
    path: Path<(String, String)>,
    headers: HeaderMap,
    received: body::Received,
) -> Result<(StatusCode, Json<LoopCheckRecord>), Problem> {
    let actor = service.actor(&caller, &path)?;
    let entered = actor.enter_check(body::json(&headers, received)?).await?;
    Ok((StatusCode::CREATED, Json(entered)))
}

pub async fn check(
    State(service): State<Arc<Service>>,
    Path((site, tun, number)): Below,
) -> Answer<LoopCheckRecord> {
    let id = service.tun(&site, &tun)?.id();
    let sought = numbered(&number)?;
    let found = service
        .store
        .read(move |database| database.loop_check(id, sought))
        .await?;
    let found = found.ok_or_else(|| no_check(&number))?;
    Ok(Json(found.into()))
}

fn numbered(number: &str) -> Result<i64, Problem> {
    number.parse().map_err(|_| no_check(number))
}

fn no_check(number: &str) -> Problem {
    Problem::not_found(format!(
        "the record has no loop check {number} of this tun; lauterd loop-check list shows those it has"
    ))
}

pub async fn certificate(
    State(service): State<Arc<Service>>,
    Path((site, tun, number)): Below,
    Query(query): Query<ReportQuery>,
) -> Result<Response, Problem> {
    let handle = service.tun(&site, &tun)?.clone();
    let (id, sought) = (handle.id(), numbered(&number)?);
    let found = service
        .store
        .read(move |database| {
            let Some(stored) = database.loop_check(id, sought)? else {
                return Ok(None);
            };
            let instrument = &stored.check.instrument;
            let mut history = database.loop_checks(id, Some(instrument))?;
            history.retain(|other| other.number <= stored.number);
            let mut corrections = database.correction_history(id, instrument)?;
            corrections.retain(|made| made.made <= stored.checked);
            Ok(Some((stored, history, corrections)))
        })
        .await?;
    let (stored, history, corrections) = found.ok_or_else(|| no_check(&number))?;
    let certificate = Certificate {
        site: &handle.site,
        tun: &handle.tun,
        stored: &stored,
        history: &history,
        correction: corrections.last(),
        voice: Voice::new(handle.configuration.web.display),
    };
    query.format.choose(
        || {
            let policy = (CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
            let html = certificate::html(&certificate)?;
            Ok(([policy], Html(html)).into_response())
        },
        || {
            let csv = certificate::csv(&certificate).map_err(|error| Problem::internal(&error))?;
            Ok(([(CONTENT_TYPE, "text/csv; charset=utf-8")], csv).into_response())
        },
        || Ok(Json(certificate::json(&certificate)).into_response()),
    )
}

pub async fn instrument(
    State(service): State<Arc<Service>>,
    Path((site, tun, instrument)): Below,
) -> Answer<InstrumentState> {
    let handle = service.tun(&site, &tun)?;
    let configured = configured(handle, &instrument)?;
    let status = answered(handle.status()).await?;
    let factor = handle.configuration.watch.wort_factor;
    Ok(Json(InstrumentState::of(configured, factor, status)))
}

pub async fn corrections(
    State(service): State<Arc<Service>>,
    Path((site, tun, instrument)): Below,
) -> Answer<Vec<CorrectionRecord>> {
    let handle = service.tun(&site, &tun)?;
    let (id, name) = (handle.id(), configured(handle, &instrument)?.id.clone());
    let versions = service
        .store
        .read(move |database| database.correction_history(id, &name))
        .await?;
    Ok(Json(versions.into_iter().map(Into::into).collect()))
}

pub async fn correct(
    State(service): State<Arc<Service>>,
    Extension(caller): Extension<Caller>,
    Path((site, tun, instrument)): Below,
    headers: HeaderMap,
    received: body::Received,
) -> Result<(StatusCode, Json<CorrectionRecord>), Problem> {
    let path = Path((site, tun));
    let actor = service.actor(&caller, &path)?;
    let made = actor.correct(&instrument, body::json(&headers, received)?);
    Ok((StatusCode::CREATED, Json(made.await?)))
}

pub async fn take_correction_back(
    State(service): State<Arc<Service>>,
    Extension(caller): Extension<Caller>,
    Path((site, tun, instrument)): Below,
    Query(by): Query<WhoQuery>,
) -> Answer<CorrectionRecord> {
    let path = Path((site, tun));
    let actor = service.actor(&caller, &path)?;
    Ok(Json(actor.take_correction_back(&instrument, &by).await?))
}

/// The errors of an instrument from check to check, as SVG.
pub async fn drift(
    State(service): State<Arc<Service>>,
    Path((site, tun, instrument)): Below,
) -> Result<Response, Problem> {
    let handle = service.tun(&site, &tun)?;
    let (id, name) = (handle.id(), configured(handle, &instrument)?.id.clone());
    let checks = service
        .store
        .read(move |database| database.loop_checks(id, Some(&name)))
        .await?;
    let voice = Voice::new(handle.configuration.web.display);
    let size = Size {
        width: 760,
        height: 300,
    };
    let drawn = charts::drift(&certificate::course(&checks), voice, size)?;
    Ok(([(CONTENT_TYPE, "image/svg+xml")], charts::alone(&drawn)).into_response())
}

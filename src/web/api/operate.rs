//! What changes a brew, as it is asked for over HTTP.

use std::path::Path as FilePath;
use std::sync::Arc;

use axum::Json;
use axum::extract::{Extension, Path, Query, State};
use axum::http::{HeaderMap, StatusCode};
use lauter_core::projection::Plan;
use schemars::JsonSchema;
use serde::Deserialize;

use super::{Service, body};
use crate::access::Caller;
use crate::config;
use crate::web::acts::Actor;
use crate::web::guard::{MediaType, media_type};
use crate::web::problem::{Answer, Problem};
use crate::web::wire::{AlarmOperation, BrewName, Noted, ProfileVersion, RakingNoted, SampleBody};

/// Site and tun of a path.
type TunPath = Path<(String, String)>;

impl Service {
    pub(super) fn actor<'a>(
        &'a self,
        caller: &'a Caller,
        Path((site, tun)): &TunPath,
    ) -> Result<Actor<'a>, Problem> {
        Ok(Actor {
            caller,
            tun: self.tun(site, tun)?,
            store: &self.store,
        })
    }
}

#[derive(Debug, Deserialize, JsonSchema)]
pub struct StartQuery {
    /// Whether a brew of the same id that is in the record already may be removed from it.
    #[serde(default)]
    replace: bool,
}

pub async fn start_brew(
    State(service): State<Arc<Service>>,
    Extension(caller): Extension<Caller>,
    path: TunPath,
    Query(query): Query<StartQuery>,
    headers: HeaderMap,
    received: body::Received,
) -> Result<(StatusCode, Json<BrewName>), Problem> {
    let actor = service.actor(&caller, &path)?;
    let started = actor.start_brew(plan(&headers, received)?, query.replace);
    Ok((StatusCode::CREATED, Json(started.await?)))
}

fn plan(headers: &HeaderMap, received: body::Received) -> Result<Plan, Problem> {
    // Stands where a file's name would.
    let name = FilePath::new("plan");
    let bytes = body::bytes(received)?;
    let plan = if media_type(headers) == Some(MediaType::Toml) {
        let text = String::from_utf8(bytes.into())
            .map_err(|_| Problem::new(StatusCode::BAD_REQUEST, "the plan is not text in UTF-8"))?;
        config::parse_plan(name, text)
    } else {
        config::plan_of_tree(name, body::of_json(&bytes)?)
    };
    plan.map_err(Problem::of_plan)
}

pub async fn end_brew(
    State(service): State<Arc<Service>>,
    Extension(caller): Extension<Caller>,
    path: TunPath,
) -> Answer<BrewName> {
    let ended = service.actor(&caller, &path)?.end_brew().await?;
    Ok(Json(ended))
}

pub async fn sample(
    State(service): State<Arc<Service>>,
    Extension(caller): Extension<Caller>,
    path: TunPath,
    headers: HeaderMap,
    received: body::Received,
) -> Answer<SampleBody> {
    let actor = service.actor(&caller, &path)?;
    let taken = actor.sample(body::json(&headers, received)?).await?;
    Ok(Json(taken))
}

#[derive(Debug, Deserialize, JsonSchema)]
pub struct AlarmQuery {
    /// The instrument, link or publisher, for an alarm that has one.
    #[schemars(length(min = 1, max = 64))]
    instrument: Option<String>,
}

pub async fn alarm(
    State(service): State<Arc<Service>>,
    Extension(caller): Extension<Caller>,
    Path((site, tun, alarm)): Path<(String, String, String)>,
    Query(AlarmQuery { instrument }): Query<AlarmQuery>,
    headers: HeaderMap,
    received: body::Received,
) -> Answer<AlarmOperation> {
    let actor = service.actor(&caller, &Path((site, tun)))?;
    let operation = body::json(&headers, received)?;
    let done = actor.alarm(&alarm, instrument, operation).await?;
    Ok(Json(done))
}

pub async fn note(
    State(service): State<Arc<Service>>,
    Extension(caller): Extension<Caller>,
    path: TunPath,
    headers: HeaderMap,
    received: body::Received,
) -> Answer<Noted> {
    let actor = service.actor(&caller, &path)?;
    let noted = actor.note(body::json(&headers, received)?).await?;
    Ok(Json(noted))
}

pub async fn raking(
    State(service): State<Arc<Service>>,
    Extension(caller): Extension<Caller>,
    path: TunPath,
    headers: HeaderMap,
    received: body::Received,
) -> Answer<RakingNoted> {
    let actor = service.actor(&caller, &path)?;
    let noted = actor.raking(body::json(&headers, received)?).await?;
    Ok(Json(noted))
}

pub async fn reset_profile(
    State(service): State<Arc<Service>>,
    Extension(caller): Extension<Caller>,
    path: TunPath,
) -> Answer<ProfileVersion> {
    let reset = service.actor(&caller, &path)?.reset_profile().await?;
    Ok(Json(reset))
}

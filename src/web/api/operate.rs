//! What changes a brew, as it is asked for over HTTP.

use std::path::Path as FilePath;
use std::sync::Arc;

use axum::Json;
use axum::extract::{Extension, Path, State};
use axum::http::{HeaderMap, StatusCode};
use lauter_core::projection::Plan;
use lauter_core::units::Unit;
use schemars::JsonSchema;
use serde::Deserialize;
use serde_json::{Value, json};

use super::query::Query;
use super::{Service, body};
use crate::access::Caller;
use crate::config;
use crate::config::model::{Display, GravityUnit, VolumeUnit};
use crate::web::acts::Actor;
use crate::web::guard::{MediaType, media_type};
use crate::web::problem::{Answer, Problem};
use crate::web::wire::gravities::in_plato;
use crate::web::wire::{AlarmOperation, BrewName, Noted, ProfileVersion, RakingNoted, SampleTaken};

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
    /// Whether gravities and volumes stand in the units that the page shows (`[web] gravity` and `volume`) instead of °P
    /// and L. Only for a plan as JSON.
    #[serde(default)]
    as_shown: bool,
}

/// Brings what was typed on the page into the plan's own units.
fn into_own_units(plan: &mut Value, display: Display) -> Result<(), Problem> {
    let Some(members) = plan.as_object_mut() else {
        return Ok(()); // The plan's reader says what is wrong with it.
    };
    if display.gravity == GravityUnit::SpecificGravity {
        let mut faults = Vec::new();
        for (key, allowed_p) in Plan::GRAVITIES_P {
            let Some(typed) = members.get(key).and_then(Value::as_f64) else {
                continue;
            };
            match in_plato(key, Unit::SpecificGravity, typed, allowed_p, 1.0) {
                Ok(gravity_p) => _ = members.insert(key.to_owned(), json!(gravity_p)),
                Err(fault) => faults.push(fault),
            }
        }
        if !faults.is_empty() {
            return Err(Problem::unprocessable("plan", faults));
        }
    }
    if display.volume == VolumeUnit::Hl
        && let Some(typed_hl) = members.get("planned_volume_l").and_then(Value::as_f64)
    {
        members.insert("planned_volume_l".to_owned(), json!(100.0 * typed_hl));
    }
    Ok(())
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
    let shown = query
        .as_shown
        .then_some(actor.tun.configuration.web.display);
    let started = actor.start_brew(plan(&headers, received, shown)?, query.replace);
    Ok((StatusCode::CREATED, Json(started.await?)))
}

fn plan(
    headers: &HeaderMap,
    received: body::Received,
    shown: Option<Display>,
) -> Result<Plan, Problem> {
    // Stands where a file's name would.
    let name = FilePath::new("plan");
    let bytes = body::bytes(received)?;
    let plan = if media_type(headers) == Some(MediaType::Toml) {
        let text = String::from_utf8(bytes.into())
            .map_err(|_| Problem::new(StatusCode::BAD_REQUEST, "the plan is not text in UTF-8"))?;
        config::parse_plan(name, text)
    } else {
        let mut tree = body::of_json(&bytes)?;
        if let Some(display) = shown {
            into_own_units(&mut tree, display)?;
        }
        config::plan_of_tree(name, tree)
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

#[derive(Debug, Deserialize, JsonSchema)]
pub struct SampleQuery {
    /// Whether a sample that is far from what instruments and balance say is to be refused (409, with the key `doubtful`
    /// among the faults) instead of taken.
    #[serde(default)]
    ask: bool,
}

pub async fn sample(
    State(service): State<Arc<Service>>,
    Extension(caller): Extension<Caller>,
    path: TunPath,
    Query(SampleQuery { ask }): Query<SampleQuery>,
    headers: HeaderMap,
    received: body::Received,
) -> Answer<SampleTaken> {
    let actor = service.actor(&caller, &path)?;
    let taken = actor.sample(body::json(&headers, received)?, ask).await?;
    Ok(Json(taken))
}

pub async fn withdraw_sample(
    State(service): State<Arc<Service>>,
    Extension(caller): Extension<Caller>,
    Path((site, tun, number)): Path<(String, String, String)>,
) -> Answer<SampleTaken> {
    let actor = service.actor(&caller, &Path((site, tun)))?;
    let number = number
        .parse::<usize>()
        .map_err(|_| Problem::not_found(format!("there is no sample {number}")))?;
    Ok(Json(actor.withdraw_sample(number).await?))
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

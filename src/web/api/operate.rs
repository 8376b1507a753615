//! What changes a brew: each request is checked here and carried out by the tun's own task.

use std::path::Path as FilePath;
use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode};
use lauter_core::alarm::AlarmId;
use lauter_core::projection::Plan;
use serde::Deserialize;

use super::{Service, answered, body};
use crate::config;
use crate::runtime::request::{Refusal, Request, TunHandle};
use crate::web::guard::{MediaType, media_type};
use crate::web::problem::{Answer, Problem};
use crate::web::wire::{AlarmOperation, BrewName, Fault, SampleBody};

#[derive(Debug, Deserialize)]
pub struct StartQuery {
    /// Whether a brew of the same id that is in the record already may be removed from it.
    #[serde(default)]
    replace: bool,
}

/// Starts a brew. A brew id that is in the record already is refused unless `replace=true`: starting removes the
/// earlier record, and a slip in a plan must not do that.
pub async fn start_brew(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
    Query(query): Query<StartQuery>,
    headers: HeaderMap,
    received: body::Received,
) -> Result<(StatusCode, Json<BrewName>), Problem> {
    let handle = service.tun(&site, &tun)?;
    let plan = plan(&headers, received)?;
    let brew = plan.brew.clone();
    if !query.replace {
        refuse_recorded(&service, handle, &brew).await?;
    }
    answered(handle.ask(|reply| Request::StartBrew {
        plan: Box::new(plan),
        reply,
    }))
    .await?;
    Ok((StatusCode::CREATED, Json(BrewName { brew })))
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

async fn refuse_recorded(service: &Service, handle: &TunHandle, brew: &str) -> Result<(), Problem> {
    let (id, name) = (handle.id, brew.to_owned());
    let known = service
        .store
        .read(move |database| database.find_brew(id, &name))
        .await?;
    if known.is_none() {
        return Ok(());
    }
    // A brew under way stands in the record too, and then that is the news.
    if let Some(running) = answered(handle.status()).await?.brew {
        return Err(Refusal::BrewUnderWay(running).into());
    }
    Err(Problem::new(
        StatusCode::CONFLICT,
        format!(
            "brew {brew} is in the record already; give this one another id, or replace the earlier record \
             (lauterd brew start --replace)"
        ),
    ))
}

/// Ends the brew under way.
pub async fn end_brew(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
) -> Answer<BrewName> {
    let handle = service.tun(&site, &tun)?;
    let brew = answered(handle.ask(|reply| Request::EndBrew { reply })).await?;
    Ok(Json(BrewName { brew }))
}

/// Takes a hand sample; answers with the sample as it was understood.
pub async fn sample(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
    headers: HeaderMap,
    received: body::Received,
) -> Answer<SampleBody> {
    let handle = service.tun(&site, &tun)?;
    let taken: SampleBody = body::json(&headers, received)?;
    let factor = handle.configuration.watch.wort_factor;
    let (taken, sample) = taken
        .in_plato(factor)
        .and_then(|taken| Ok((taken, taken.sample()?)))
        .map_err(|faults| Problem::unprocessable("sample", faults))?;
    answered(handle.ask(|reply| Request::Sample { sample, reply })).await?;
    Ok(Json(taken))
}

#[derive(Debug, Deserialize)]
pub struct AlarmQuery {
    instrument: Option<String>,
}

/// Does what an operator asks about an alarm; answers with the operation as it was understood.
pub async fn alarm(
    State(service): State<Arc<Service>>,
    Path((site, tun, alarm)): Path<(String, String, String)>,
    Query(AlarmQuery { instrument }): Query<AlarmQuery>,
    headers: HeaderMap,
    received: body::Received,
) -> Answer<AlarmOperation> {
    let handle = service.tun(&site, &tun)?;
    let alarm = alarm_id(&alarm)?;
    let operation: AlarmOperation = body::json(&headers, received)?;
    let action = operation.clone().action().and_then(|(who, action)| {
        check_instrument(instrument.as_deref())?;
        Ok((who, action))
    });
    let (who, action) = action.map_err(|faults| Problem::unprocessable("alarm", faults))?;
    answered(handle.ask(|reply| Request::Operate {
        alarm,
        instrument,
        who,
        action,
        reply,
    }))
    .await?;
    Ok(Json(operation))
}

fn alarm_id(name: &str) -> Result<AlarmId, Problem> {
    AlarmId::ALL
        .into_iter()
        .find(|alarm| alarm.name() == name)
        .ok_or_else(|| {
            let names: Vec<&str> = AlarmId::ALL.into_iter().map(AlarmId::name).collect();
            Problem::not_found(format!(
                "there is no alarm {name}; the alarms are {}",
                names.join(", ")
            ))
        })
}

/// Only the form: whether the alarm has such an instrument (or link, or publisher) is for the tun to know.
fn check_instrument(instrument: Option<&str>) -> Result<(), Vec<Fault>> {
    let right = instrument.is_none_or(|id| {
        (1..=64).contains(&id.chars().count()) && !id.chars().any(char::is_control)
    });
    if right {
        return Ok(());
    }
    let message = "must be 1 to 64 characters on one line";
    Err(vec![Fault::new("instrument", message)])
}

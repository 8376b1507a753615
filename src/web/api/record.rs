//! What is past, from the record: brews with their table, lines and alarms.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use lauter_core::supervisor::{AlarmLine, Line, TableLine};
use schemars::JsonSchema;
use serde::Deserialize;

use super::Service;
use super::query::Query;
use crate::store::{Brew, Database, StoreError};
use crate::web::parameters::BREWS_LISTED;
use crate::web::problem::{Answer, Problem};
use crate::web::wire::{RecordedBrew, RecordedBrews};

/// Site, tun and brew of a path.
pub type BrewPath = Path<(String, String, String)>;

#[derive(Debug, Deserialize, JsonSchema)]
pub struct ListQuery {
    /// At most so many; without it 100.
    #[schemars(range(max = 4_294_967_295_u32))]
    limit: Option<u32>,
}

pub async fn brews(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
    Query(query): Query<ListQuery>,
) -> Answer<RecordedBrews> {
    let id = service.tun(&site, &tun)?.id();
    let limit = query.limit.map_or(BREWS_LISTED, |limit| limit as usize);
    let listed = service
        .store
        .read(move |database| {
            let brews = database.brews(id)?;
            Ok(RecordedBrews {
                total: brews.len(),
                brews: brews.into_iter().take(limit).map(Into::into).collect(),
            })
        })
        .await?;
    Ok(Json(listed))
}

pub async fn brew(State(service): State<Arc<Service>>, path: BrewPath) -> Answer<RecordedBrew> {
    let found = of_brew(&service, path, |_, brew| Ok(brew.into())).await?;
    Ok(Json(found))
}

/// The brewer's table.
pub async fn table(State(service): State<Arc<Service>>, path: BrewPath) -> Answer<Vec<TableLine>> {
    let table = of_brew(&service, path, |database, brew| database.table(brew.id)).await?;
    Ok(Json(table))
}

/// Projections, alarms, table and summary in the order they were put out, as a replay prints them.
pub async fn lines(State(service): State<Arc<Service>>, path: BrewPath) -> Answer<Vec<Line>> {
    let lines = of_brew(&service, path, |database, brew| database.lines(brew.id)).await?;
    Ok(Json(lines.into_iter().map(|(_, line)| line).collect()))
}

/// Every change of an alarm's state.
pub async fn alarms(State(service): State<Arc<Service>>, path: BrewPath) -> Answer<Vec<AlarmLine>> {
    let alarms = of_brew(&service, path, |database, brew| database.alarms(brew.id)).await?;
    Ok(Json(alarms))
}

/// Runs `query` for the brew a path names.
pub async fn of_brew<T: Send + 'static>(
    service: &Service,
    Path((site, tun, name)): BrewPath,
    query: impl FnOnce(&Database, Brew) -> Result<T, StoreError> + Send + 'static,
) -> Result<T, Problem> {
    let id = service.tun(&site, &tun)?.id();
    let sought = name.clone();
    let answer = service
        .store
        .read(move |database| match database.find_brew(id, &sought)? {
            Some(brew) => query(database, brew).map(Some),
            None => Ok(None),
        })
        .await?;
    answer.ok_or_else(|| {
        Problem::not_found(format!(
            "{site}/{tun} has no brew {name} in its record (lauterd brew list shows what it has)"
        ))
    })
}

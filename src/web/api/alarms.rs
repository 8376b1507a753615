//! What the record tells about alarms: performance and audit trail.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use schemars::JsonSchema;
use serde::Deserialize;

use super::Service;
use super::query::Query;
use crate::clock;
use crate::store::{Database, StoreError, TunId};
use crate::web::problem::{Answer, Problem};
use crate::web::wire::{self, ALARM_DAYS, ActionEntry, AlarmReport, Asked, TrailEntry};

#[derive(Debug, Deserialize, JsonSchema)]
pub struct AskedQuery {
    /// One brew alone.
    brew: Option<String>,
    /// Otherwise the last so many days; without it 30.
    #[schemars(range(min = 0.0))]
    days: Option<f64>,
}

pub async fn report(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
    Query(query): Query<AskedQuery>,
) -> Answer<AlarmReport> {
    asked(&service, (&site, &tun), query, AlarmReport::of).await
}

pub async fn trail(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
    Query(query): Query<AskedQuery>,
) -> Answer<Vec<TrailEntry>> {
    asked(&service, (&site, &tun), query, wire::trail).await
}

/// Everything that people and programs did.
pub async fn actions(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
    Query(query): Query<AskedQuery>,
) -> Answer<Vec<ActionEntry>> {
    asked(&service, (&site, &tun), query, wire::actions).await
}

async fn asked<T: Send + 'static>(
    service: &Service,
    (site, tun): (&str, &str),
    AskedQuery { brew, days }: AskedQuery,
    look: impl FnOnce(&Database, TunId, &Asked) -> Result<Option<T>, StoreError> + Send + 'static,
) -> Answer<T> {
    let id = service.tun(site, tun)?.id();
    if days.is_some_and(|days| days < 0.0) {
        return Err(Problem::new(
            StatusCode::BAD_REQUEST,
            "days must be 0 or more",
        ));
    }
    let asked = Asked {
        brew: brew.clone(),
        days: days.unwrap_or(ALARM_DAYS),
        now: clock::wall_now(),
    };
    let found = service
        .store
        .read(move |database| look(database, id, &asked))
        .await?;
    found.map(Json).ok_or_else(|| {
        let brew = brew.unwrap_or_default();
        Problem::not_found(format!(
            "{site}/{tun} has no brew {brew} in its record (lauterd brew list shows what it has)"
        ))
    })
}

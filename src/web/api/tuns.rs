//! The service and its tuns as they stand now.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};

use super::Service;
use crate::runtime::request::TunStatus;
use crate::web::acts::answered;
use crate::web::problem::Answer;
use crate::web::wire::{Health, ServedTun, ServedTuns};

pub async fn health(State(service): State<Arc<Service>>) -> Json<Health> {
    Json(Health {
        service: env!("CARGO_PKG_NAME").to_owned(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        tuns: service.tuns.len(),
        record: service.store.health().into(),
    })
}

pub async fn list(State(service): State<Arc<Service>>) -> Json<ServedTuns> {
    let tuns = service.tuns.iter().map(|handle| ServedTun {
        site: handle.site.clone(),
        tun: handle.tun.clone(),
    });
    Json(ServedTuns {
        tuns: tuns.collect(),
    })
}

pub async fn status(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
) -> Answer<TunStatus> {
    let status = answered(service.tun(&site, &tun)?.status()).await?;
    Ok(Json(status))
}

//! The tun's profile: what its brews taught.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};

use super::Service;
use crate::web::problem::Answer;
use crate::web::wire::KnownProfile;

pub async fn show(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
) -> Answer<KnownProfile> {
    let id = service.tun(&site, &tun)?.id();
    let known = service
        .store
        .read(move |database| KnownProfile::of(database, id))
        .await?;
    Ok(Json(known))
}

//! The tun's profile: what its brews taught, and taking it back.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};

use super::Service;
use crate::clock;
use crate::web::problem::Answer;
use crate::web::wire::{KnownProfile, ProfileVersion};

pub async fn show(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
) -> Answer<KnownProfile> {
    let id = service.tun(&site, &tun)?.id;
    let known = service
        .store
        .read(move |database| KnownProfile::of(database, id))
        .await?;
    Ok(Json(known))
}

/// A new profile that knows nothing; the versions before it stay in the record.
pub async fn reset(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
) -> Answer<ProfileVersion> {
    let id = service.tun(&site, &tun)?.id;
    let now = clock::wall_now();
    let version = service
        .store
        .run(move |database| database.reset_profile(id, now))
        .await?;
    tracing::info!("the profile of {site}/{tun} was reset; its version is now {version}");
    Ok(Json(ProfileVersion { version }))
}

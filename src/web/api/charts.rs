//! Charts of a brew as SVG, and the forecast they draw.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use lauter_core::supervisor::FanPoint;
use schemars::JsonSchema;
use serde::Deserialize;

use super::Service;
use super::query::Query;
use super::record::of_brew;
use crate::brew_record::{BedSetting, BrewRecord};
use crate::charts::{self, ChartError, Scene, Size};
use crate::config::Configuration;
use crate::display::Voice;
use crate::runtime::request::TunHandle;
use crate::web::acts::answered;
use crate::web::page::Drawings;
use crate::web::problem::{Answer, Problem};

/// The charts by name.
pub const CHARTS: [&str; 4] = ["gravity", "bed", "ph", "stop-point"];

#[derive(Debug, Deserialize, JsonSchema)]
pub struct ChartQuery {
    #[serde(default = "width")]
    #[schemars(range(max = 4_294_967_295_u32))]
    width: u32,
    #[serde(default = "height")]
    #[schemars(range(max = 4_294_967_295_u32))]
    height: u32,
    /// Without colours of its own, for a page that has them.
    #[serde(default)]
    bare: bool,
}

fn width() -> u32 {
    760
}

fn height() -> u32 {
    340
}

pub fn bed_setting(configuration: &Configuration) -> BedSetting {
    BedSetting {
        area_m2: configuration.tun.bed_area_m2,
        pressure_drop_limit_kpa: configuration.tun.pressure_drop_limit_kpa,
        no_flow_l_min: configuration.watch.no_flow_l_min,
        assumed_temperature_c: configuration.watch.assumed_temperature_c,
    }
}

/// The forecast along the way; empty without a brew.
pub async fn forecast(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
) -> Answer<Vec<FanPoint>> {
    let handle = service.tun(&site, &tun)?;
    Ok(Json(answered(handle.forecast()).await?))
}

pub async fn chart(
    State(service): State<Arc<Service>>,
    Path((site, tun, brew, name)): Path<(String, String, String, String)>,
    Query(query): Query<ChartQuery>,
) -> Result<Response, Problem> {
    let handle = service.tun(&site, &tun)?.clone();
    let wanted = name.strip_suffix(".svg").unwrap_or(&name).to_owned();
    if !CHARTS.contains(&wanted.as_str()) {
        return Err(Problem::not_found(format!(
            "a brew has no chart {name}; the charts are {}",
            CHARTS.join(", ")
        )));
    }
    let fan = answered(handle.forecast()).await?;
    let size = Size::within_bounds(query.width, query.height);
    let drawn = of_brew(&service, Path((site, tun, brew)), move |database, brew| {
        let record = BrewRecord::read(database, brew)?;
        let scene = scene(&handle, &record, &fan);
        Ok(match wanted.as_str() {
            "gravity" => charts::gravity(&scene, size),
            "bed" => charts::bed(&scene, size),
            "ph" => charts::acidity(&scene, size),
            _ => charts::stop_point_course(&record, scene.voice, size),
        })
    })
    .await??;
    let drawn = if query.bare {
        drawn
    } else {
        charts::alone(&drawn)
    };
    Ok(([(CONTENT_TYPE, "image/svg+xml")], drawn).into_response())
}

/// The forecast belongs to the brew under way alone.
fn scene<'a>(handle: &TunHandle, record: &'a BrewRecord, fan: &'a [FanPoint]) -> Scene<'a> {
    let configuration = &handle.configuration;
    let runs = record.brew.finished.is_none();
    Scene {
        record,
        fan: if runs { fan } else { &[] },
        bed: bed_setting(configuration),
        capacity_l: configuration.kettle.capacity_l,
        voice: Voice::new(configuration.web.display),
    }
}

/// The run-off page's charts as they stand now.
pub async fn running_charts(
    service: &Service,
    handle: &TunHandle,
    brew: &str,
    size: Size,
) -> Result<Drawings, Problem> {
    let fan = answered(handle.forecast()).await?;
    let path = Path((handle.site.clone(), handle.tun.clone(), brew.to_owned()));
    let handle = handle.clone();
    let drawn: Result<Drawings, ChartError> = of_brew(service, path, move |database, brew| {
        let record = BrewRecord::read(database, brew)?;
        let scene = scene(&handle, &record, &fan);
        let draw = || {
            Ok(Drawings {
                gravity: charts::gravity(&scene, size)?,
                bed: charts::bed(&scene, size)?,
                acidity: charts::acidity(&scene, size)?,
            })
        };
        Ok(draw())
    })
    .await?;
    Ok(drawn?)
}

//! The page's addresses.

use std::sync::Arc;

use axum::extract::{Path, RawQuery, Request, State};
use axum::http::HeaderValue;
use axum::http::header::CONTENT_SECURITY_POLICY;
use axum::middleware::{self, Next};
use axum::response::{Html, IntoResponse, Redirect, Response};
use axum::routing::get;
use axum::{Extension, Router};
use maud::{DOCTYPE, Markup, html};

use super::brews::{self, COMPARED, Row};
use super::runoff::{self, Drawings};
use super::shell::{self, Frame, Place};
use super::view::page_path;
use super::{View, assets, fleet, instrument, instruments, tun};
use crate::brew_record::BrewRecord;
use crate::certificate;
use crate::charts::{self, Comparison, CrushPoint, Size};
use crate::clock::wall_now;
use crate::display::{Voice, fleet_words};
use crate::runtime::request::TunHandle;
use crate::web::acts::configured;
use crate::web::api::{Service, bed_setting, running_charts};
use crate::web::events;
use crate::web::live::look;
use crate::web::problem::Problem;
use crate::web::wire::KnownProfile;

/// Brews on the comparison page.
const BREWS_SHOWN: usize = 30;
/// Brews that the crush log is set against.
const CRUSH_BREWS: usize = 60;
const CHART: Size = Size {
    width: 760,
    height: 340,
};

/// Charts that stand two beside each other.
const BESIDE: Size = Size {
    width: 580,
    height: 300,
};

/// What a page may load: only what this service serves, and nothing inline.
const POLICY: &str = "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";

pub fn router(service: Arc<Service>) -> Router<Arc<Service>> {
    let tun = Router::new()
        .route("/", get(runoff_page))
        .route("/parts", get(events::page_parts))
        .route("/brews", get(brews_page))
        .route("/tun", get(tun_page))
        .route("/instruments", get(instruments_page))
        .route("/instruments/parts", get(events::page_parts))
        .route("/instruments/{instrument}", get(instrument_page));
    Router::new()
        .route("/", get(first_page))
        .route("/fleet", get(fleet_page))
        .route("/fleet/parts", get(events::fleet_parts))
        .route("/assets/{name}", get(assets::asset))
        .nest("/tuns/{site}/{tun}", tun)
        .layer(middleware::from_fn_with_state(service, told))
}

/// A page, or in words why there is none.
type Page = Result<Response, Trouble>;

#[derive(Clone)]
struct Trouble(Problem);

impl<E: Into<Problem>> From<E> for Trouble {
    fn from(error: E) -> Self {
        Self(error.into())
    }
}

/// Bears what is wrong to [`told`], which knows the language.
impl IntoResponse for Trouble {
    fn into_response(self) -> Response {
        (self.0.status, Extension(self)).into_response()
    }
}

/// Draws the page that says why there is none.
async fn told(State(service): State<Arc<Service>>, request: Request, next: Next) -> Response {
    let response = next.run(request).await;
    match response.extensions().get::<Trouble>() {
        Some(Trouble(problem)) => trouble(service.voice(), problem),
        None => response,
    }
}

/// The page that says what is wrong.
pub fn trouble(voice: Voice, problem: &Problem) -> Response {
    (problem.status, served(&shell::trouble(voice, problem))).into_response()
}

fn served(page: &Markup) -> Response {
    let policy = (CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    ([policy], Html(page.0.clone())).into_response()
}

fn voice_of(handle: &TunHandle) -> Voice {
    Voice::new(handle.configuration.web.display)
}

/// The only tun's page, or a choice of them.
async fn first_page(State(service): State<Arc<Service>>) -> Response {
    let paths: Vec<(String, String)> = service
        .tuns
        .iter()
        .map(|handle| {
            let name = format!("{} / {}", handle.site, handle.tun);
            (page_path(&handle.site, &handle.tun, ""), name)
        })
        .collect();
    if let [(only, _)] = paths.as_slice() {
        return Redirect::to(only).into_response();
    }
    let voice = service.voice();
    let page = html! {
        (DOCTYPE)
        html lang=(voice.tag()) {
            (shell::head("lauterd"))
            body { main id="main" class="single" { h1 { "lauterd" }
                ul class="choices" { @for (path, name) in &paths { li { a class="button" href=(path) { (name) } } }
                    @if service.fleet().is_ok() { li { a class="button" href="/fleet" { (fleet_words::of(voice.language()).all_tuns) } } } } } }
        }
    };
    served(&page)
}

async fn fleet_page(State(service): State<Arc<Service>>) -> Page {
    let listening = service.fleet()?;
    let page = fleet::page(&listening.borrow(), service.voice());
    Ok(served(&page))
}

async fn runoff_page(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
) -> Page {
    let handle = service.tun(&site, &tun)?;
    let look = look(handle, &service.store).await?;
    let drawings = match &look.notebook.brew {
        Some(brew) => running_charts(&service, handle, brew, CHART).await?,
        None => Drawings::default(),
    };
    Ok(served(&runoff::page(&View::new(handle, &look), &drawings)))
}

async fn instruments_page(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
) -> Page {
    let handle = service.tun(&site, &tun)?;
    let look = look(handle, &service.store).await?;
    let frame = frame(handle, Place::Instruments);
    let view = View::new(handle, &look);
    Ok(served(&instruments::page(&frame, &view)))
}

async fn instrument_page(
    State(service): State<Arc<Service>>,
    Path((site, tun, name)): Path<(String, String, String)>,
) -> Page {
    let handle = service.tun(&site, &tun)?;
    let configured = configured(handle, &name)?;
    let look = look(handle, &service.store).await?;
    let (id, name) = (handle.id(), configured.id.clone());
    let (checks, corrections) = service
        .store
        .read(move |database| {
            let checks = database.loop_checks(id, Some(&name))?;
            Ok((checks, database.correction_history(id, &name)?))
        })
        .await?;
    let drift = (!checks.is_empty())
        .then(|| charts::drift(&certificate::course(&checks), voice_of(handle), CHART))
        .transpose()?;
    let shown = instrument::Shown {
        instrument: configured,
        checks: &checks,
        corrections: &corrections,
        drift: drift.as_deref(),
        now: wall_now(),
    };
    let frame = frame(handle, Place::Instruments);
    let view = View::new(handle, &look);
    Ok(served(&instrument::page(&frame, &view, &shown)))
}

fn frame(handle: &TunHandle, place: Place) -> Frame<'_> {
    Frame {
        site: &handle.site,
        tun: &handle.tun,
        voice: voice_of(handle),
        place,
        fleet: handle.configuration.web.fleet,
    }
}

async fn brews_page(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
    RawQuery(query): RawQuery,
) -> Page {
    let handle = service.tun(&site, &tun)?;
    let asked: Vec<String> = url::form_urlencoded::parse(query.unwrap_or_default().as_bytes())
        .filter(|(key, _)| key == "brew")
        .map(|(_, value)| value.into_owned())
        .collect();
    let (id, voice, bed) = (
        handle.id(),
        voice_of(handle),
        bed_setting(&handle.configuration),
    );
    let (rows, crushes, charts) = service
        .store
        .read(move |database| {
            let mut rows = Vec::new();
            let mut shown = 0;
            for brew in database.brews(id)?.into_iter().take(BREWS_SHOWN) {
                let name = &brew.header.plan.brew;
                let wanted = asked.is_empty() || asked.contains(name);
                let show = wanted && shown < COMPARED;
                shown += usize::from(show);
                rows.push(Row {
                    record: BrewRecord::read(database, brew)?,
                    shown: show,
                });
            }
            let records: Vec<BrewRecord> = rows
                .iter()
                .filter(|row| row.shown)
                .map(|row| row.record.clone())
                .collect();
            let words = voice.words;
            let wanted = [
                (
                    "runnings",
                    words.runnings_gravity,
                    Comparison::RunningsGravity,
                ),
                ("kettle", words.kettle_gravity, Comparison::KettleGravity),
                ("resistance", words.bed_resistance, Comparison::Resistance),
                ("acidity", words.ph_of_runnings, Comparison::Acidity),
            ];
            let charts: Result<Vec<_>, _> = wanted
                .into_iter()
                .filter(|_| !records.is_empty())
                .map(|(name, title, what)| {
                    charts::compared(&records, what, &bed, voice, BESIDE)
                        .map(|svg| (name, title, svg))
                })
                .collect();
            Ok((rows, database.crushes(id)?, charts))
        })
        .await?;
    let frame = frame(handle, Place::Brews);
    Ok(served(&brews::page(
        &frame, &rows, &charts?, &bed, &crushes,
    )))
}

async fn tun_page(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
    RawQuery(query): RawQuery,
) -> Page {
    let handle = service.tun(&site, &tun)?;
    let (id, voice, bed) = (
        handle.id(),
        voice_of(handle),
        bed_setting(&handle.configuration),
    );
    let (known, crushes, chart) = service
        .store
        .read(move |database| {
            let crushes = database.crushes(id)?;
            let mut points = Vec::new();
            for brew in database.brews(id)?.into_iter().take(CRUSH_BREWS) {
                let Some(crush) = brews::crush_of(&crushes, brew.header.started) else {
                    continue;
                };
                let record = BrewRecord::read(database, brew)?;
                points.push(CrushPoint {
                    gap_mm: crush.gap_mm,
                    extract_yield: record.extract_yield(),
                    resistance_per_m: record.usual_resistance_per_m(&bed),
                });
            }
            let chart = (!points.is_empty()).then(|| charts::crush_course(&points, voice, BESIDE));
            Ok((KnownProfile::of(database, id)?, crushes, chart))
        })
        .await?;
    let frame = frame(handle, Place::Tun);
    let chart = chart.transpose()?;
    let asked: Option<i64> = url::form_urlencoded::parse(query.unwrap_or_default().as_bytes())
        .find(|(key, _)| key == "correct")
        .and_then(|(_, time_us)| time_us.parse().ok());
    let corrected = crushes
        .iter()
        .find(|(time, _)| Some(time.as_microsecond()) == asked);
    Ok(served(&tun::page(
        &frame,
        &known,
        &crushes,
        corrected,
        chart.as_deref(),
    )))
}

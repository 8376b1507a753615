//! Server-sent events: the live state for programs, and the changed parts of the page for browsers.
//!
//! Owns the two streams and their bound. A client that is slow gets the newest state and never a queue of old ones.

use std::collections::BTreeMap;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures::stream::{Stream, unfold};
use serde::Serialize;
use tokio::sync::{OwnedSemaphorePermit, watch};
use tokio::time::{sleep, timeout};
use tokio_util::sync::CancellationToken;

use super::api::Service;
use super::live::Look;
use super::page::{View, fleet_parts as fleet_page_parts, parts};
use super::problem::Problem;
use crate::clock::wall_now;

/// Least time between two looks at all tuns, and the longest while nothing is said. Own choice.
const FLEET_PAUSE: Duration = Duration::from_secs(1);
const FLEET_AGES_EVERY: Duration = Duration::from_secs(5);

/// What one stream waits on.
struct Watching {
    looks: watch::Receiver<Option<Arc<Look>>>,
    stop: CancellationToken,
    /// Gives its place back when the client has gone.
    _place: OwnedSemaphorePermit,
}

impl Watching {
    /// The next look; None when the service stops.
    async fn next(&mut self) -> Option<Arc<Look>> {
        loop {
            let changed = self.stop.run_until_cancelled(self.looks.changed()).await?;
            changed.ok()?;
            if let Some(look) = self.looks.borrow_and_update().clone() {
                return Some(look);
            }
        }
    }
}

/// A place for one more stream.
fn place(service: &Service) -> Result<OwnedSemaphorePermit, Problem> {
    let place = Arc::clone(&service.streams).try_acquire_owned();
    place.map_err(|_| {
        Problem::new(
            StatusCode::SERVICE_UNAVAILABLE,
            "too many screens watch this service; close one, or ask the state instead",
        )
    })
}

fn watching(service: &Service, site: &str, tun: &str) -> Result<Watching, Problem> {
    let live = service.live(site, tun)?;
    let place = place(service)?;
    let mut looks = live.watch();
    // What is known already is the first event.
    looks.mark_changed();
    Ok(Watching {
        looks,
        stop: service.stop.clone(),
        _place: place,
    })
}

/// The state of a tun whenever it changes: events named `state` whose data is the body of the state's own address.
pub async fn states(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Problem> {
    let watching = watching(&service, &site, &tun)?;
    let stream = unfold(watching, |mut watching| async move {
        let look = watching.next().await?;
        let event = Event::default().event("state").json_data(&look.status);
        Some((Ok(event.unwrap_or_default()), watching))
    });
    Ok(Sse::new(stream).keep_alive(KeepAlive::default()))
}

/// What has changed on the run-off page.
#[derive(Serialize)]
struct Changes<'a> {
    parts: BTreeMap<&'a str, &'a str>,
    /// Charts older than this should be drawn anew.
    drawn: u64,
    brew: Option<&'a str>,
    /// Milliseconds since 1970 at which the state changed.
    changed_ms: i64,
}

pub async fn page_parts(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Problem> {
    let watching = watching(&service, &site, &tun)?;
    let handle = service.tun(&site, &tun)?.clone();
    let sent: BTreeMap<&'static str, String> = BTreeMap::new();
    let stream = unfold((watching, sent), move |(mut watching, mut sent)| {
        let handle = handle.clone();
        async move {
            let look = watching.next().await?;
            let now = parts(&View::new(&handle, &look));
            let changes = Changes {
                parts: now
                    .iter()
                    .filter(|(id, html)| sent.get(*id) != Some(html))
                    .map(|(id, html)| (*id, html.as_str()))
                    .collect(),
                drawn: look.notebook.drawn,
                brew: look.notebook.brew.as_deref(),
                changed_ms: look.changed.as_millisecond(),
            };
            let event = Event::default().event("parts").json_data(&changes);
            sent = now;
            Some((Ok(event.unwrap_or_default()), (watching, sent)))
        }
    });
    Ok(Sse::new(stream).keep_alive(KeepAlive::default()))
}

/// What has changed on the page of all tuns.
pub async fn fleet_parts(
    State(service): State<Arc<Service>>,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Problem> {
    let mut fleet = service.fleet()?.clone();
    fleet.mark_changed();
    let voice = service.voice();
    let stop = service.stop.clone();
    let watching = (fleet, place(&service)?, BTreeMap::new());
    let stream = unfold(watching, move |(mut fleet, place, sent)| {
        let stop = stop.clone();
        async move {
            let now = loop {
                // Ages grow even when nobody says anything.
                let changed = timeout(FLEET_AGES_EVERY, fleet.changed());
                if let Ok(Err(_)) = stop.run_until_cancelled(changed).await? {
                    return None;
                }
                let now = fleet_page_parts(&fleet.borrow_and_update(), voice, wall_now());
                if now != sent {
                    break now;
                }
            };
            let changes = Changes {
                parts: now
                    .iter()
                    .filter(|(id, html)| sent.get(*id) != Some(html))
                    .map(|(id, html)| (*id, html.as_str()))
                    .collect(),
                drawn: 0,
                brew: None,
                changed_ms: wall_now().as_millisecond(),
            };
            let event = Event::default().event("parts").json_data(&changes);
            // Many tuns speak at once; nobody reads faster.
            sleep(FLEET_PAUSE).await;
            Some((Ok(event.unwrap_or_default()), (fleet, place, now)))
        }
    });
    Ok(Sse::new(stream).keep_alive(KeepAlive::default()))
}

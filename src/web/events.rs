//! Server-sent events: the live state for programs, and the changed parts of the page for browsers.
//!
//! Owns the two streams and their bound. A client that is slow gets the newest state and never a queue of old ones. Something
//! is sent every few seconds whatever happens, so that silence means a broken connection; a stream ends with the session or
//! the right by which it was opened.
//!
//! All streams are served by the thread that also watches and publishes. So they take turns, and each first lets everything
//! else go on: an alarm on its way waits for one screen, not for all.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::{Extension, Path, State};
use axum::http::{HeaderMap, StatusCode, Uri};
use axum::response::sse::{Event, KeepAlive, Sse};
use futures::stream::{Stream, unfold};
use serde::Serialize;
use tokio::sync::{Semaphore, SemaphorePermit, watch};
use tokio::task::yield_now;
use tokio::time::{Interval, interval, sleep, timeout};
use tokio_util::sync::CancellationToken;

use super::api::Service;
use super::identity::identify;
use super::listener::Ends;
use super::live::{Look, Page, Parts};
use super::page::{View, fleet_parts as fleet_page_parts, instrument_parts, parts};
use super::places::Taken;
use super::problem::Problem;
use crate::access::Role;
use crate::clock::wall_now;

/// How often it is seen whether whoever watches still may. Own choice.
const MAY_EVERY: Duration = Duration::from_secs(2);
/// A comment is sent after this long without an event.
const ALIVE_EVERY: Duration = Duration::from_secs(5);

/// Least time between two looks at all tuns, and the longest while nothing is said. Own choice.
const FLEET_PAUSE: Duration = Duration::from_secs(1);
const FLEET_AGES_EVERY: Duration = Duration::from_secs(2);

/// Streams that are served at a time.
const TURNS: usize = 1;

/// The turns of all streams.
#[derive(Debug)]
pub struct Turns(Semaphore);

impl Default for Turns {
    fn default() -> Self {
        Self(Semaphore::new(TURNS))
    }
}

impl Turns {
    /// The next turn, once nothing else is to be done; it lasts until what this gives is dropped.
    async fn next(&self) -> Option<SemaphorePermit<'_>> {
        // It is never closed.
        let turn = self.0.acquire().await.ok();
        yield_now().await;
        turn
    }
}

/// By what right a stream was opened.
struct Right {
    service: Arc<Service>,
    ends: Ends,
    headers: HeaderMap,
}

impl Right {
    fn stands(&self) -> bool {
        identify(&self.service.entrance.access, self.ends, &self.headers)
            .ok()
            .flatten()
            .is_some_and(|caller| caller.may(Role::Watch).is_ok())
    }
}

/// What one stream waits on.
struct Watching {
    looks: watch::Receiver<Option<Arc<Look>>>,
    right: Right,
    look_at_right: Interval,
    stop: CancellationToken,
    /// Gives its place back when the client has gone.
    _place: Taken,
}

impl Watching {
    /// The next look; None when the service stops or the right has ended.
    async fn next(&mut self) -> Option<Arc<Look>> {
        loop {
            tokio::select! {
                () = self.stop.cancelled() => return None,
                _ = self.look_at_right.tick() => if !self.right.stands() {
                    return None;
                },
                changed = self.looks.changed() => {
                    changed.ok()?;
                    if let Some(look) = self.looks.borrow_and_update().clone() {
                        return Some(look);
                    }
                }
            }
        }
    }
}

/// A place for one more stream.
fn place(right: &Right) -> Result<Taken, Problem> {
    Some(right.ends)
        .filter(|ends| !ends.brief)
        .and_then(|ends| right.service.streams.take(ends.peer.ip()))
        .ok_or_else(|| {
            Problem::new(
                StatusCode::SERVICE_UNAVAILABLE,
                "too many screens watch this service; close one, or ask the state instead",
            )
        })
}

fn watching(right: Right, site: &str, tun: &str) -> Result<Watching, Problem> {
    let service = Arc::clone(&right.service);
    let live = service.live(site, tun)?;
    let place = place(&right)?;
    let mut looks = live.watch();
    // What is known already is the first event.
    looks.mark_changed();
    Ok(Watching {
        looks,
        right,
        look_at_right: interval(MAY_EVERY),
        stop: service.stop.clone(),
        _place: place,
    })
}

fn alive() -> KeepAlive {
    KeepAlive::new().interval(ALIVE_EVERY)
}

/// The state of a tun whenever it changes: events named `state` whose data is the body of the state's own address.
pub async fn states(
    State(service): State<Arc<Service>>,
    Extension(ends): Extension<Ends>,
    Path((site, tun)): Path<(String, String)>,
    headers: HeaderMap,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Problem> {
    let right = Right {
        service,
        ends,
        headers,
    };
    let watching = watching(right, &site, &tun)?;
    let stream = unfold(watching, |mut watching| async move {
        let look = watching.next().await?;
        let service = Arc::clone(&watching.right.service);
        let _turn = service.turns.next().await;
        let made = || serde_json::to_string(&look.status).unwrap_or_default();
        let state = look.drawn.state.get_or_init(made);
        Some((Ok(Event::default().event("state").data(state)), watching))
    });
    Ok(Sse::new(stream).keep_alive(alive()))
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

/// The parts of the run-off page, or of the instruments' page by its own address.
pub async fn page_parts(
    uri: Uri,
    State(service): State<Arc<Service>>,
    Extension(ends): Extension<Ends>,
    Path((site, tun)): Path<(String, String)>,
    headers: HeaderMap,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Problem> {
    let handle = service.tun(&site, &tun)?.clone();
    let right = Right {
        service,
        ends,
        headers,
    };
    let watching = watching(right, &site, &tun)?;
    let of_instruments = uri.path().starts_with("/instruments/");
    let sent: Arc<Parts> = Arc::default();
    let stream = unfold((watching, sent), move |(mut watching, mut sent)| {
        let handle = handle.clone();
        async move {
            let look = watching.next().await?;
            let service = Arc::clone(&watching.right.service);
            let _turn = service.turns.next().await;
            let (page, draw): (_, fn(&View<'_>) -> Parts) = if of_instruments {
                (&look.drawn.instruments, instrument_parts)
            } else {
                (&look.drawn.run_off, parts)
            };
            let drawn = || Arc::new(draw(&View::new(&handle, &look)));
            let now = Arc::clone(page.parts.get_or_init(drawn));
            let event = Event::default().event("parts");
            let event = event.data(changes(&look, page, &sent, &now));
            sent = now;
            Some((Ok(event), (watching, sent)))
        }
    });
    Ok(Sse::new(stream).keep_alive(alive()))
}

fn changed_parts<'a>(sent: &Parts, now: &'a Parts) -> BTreeMap<&'static str, &'a str> {
    now.iter()
        .filter(|(id, html)| sent.get(*id) != Some(html))
        .map(|(id, html)| (*id, html.as_str()))
        .collect()
}

/// What has changed on a page between two drawings of it, as JSON.
fn changes<'a>(look: &Look, page: &'a Page, sent: &Arc<Parts>, now: &Arc<Parts>) -> Cow<'a, str> {
    let made = || {
        let changes = Changes {
            parts: changed_parts(sent, now),
            drawn: look.notebook.drawn,
            brew: look.notebook.brew.as_deref(),
            changed_ms: look.changed.as_millisecond(),
        };
        serde_json::to_string(&changes).unwrap_or_default()
    };
    let (since, known) = page.changes.get_or_init(|| (Arc::clone(sent), made()));
    if Arc::ptr_eq(since, sent) {
        Cow::Borrowed(known)
    } else {
        Cow::Owned(made())
    }
}

/// What has changed on the page of all tuns.
pub async fn fleet_parts(
    State(service): State<Arc<Service>>,
    Extension(ends): Extension<Ends>,
    headers: HeaderMap,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Problem> {
    let mut fleet = service.fleet()?.clone();
    fleet.mark_changed();
    let voice = service.voice();
    let stop = service.stop.clone();
    let right = Right {
        service,
        ends,
        headers,
    };
    let place = place(&right)?;
    let watching = (fleet, right, place, BTreeMap::new());
    let stream = unfold(watching, move |(mut fleet, right, place, sent)| {
        let stop = stop.clone();
        async move {
            let now = loop {
                // Ages grow even when nobody says anything, and silence would look like a broken connection.
                let changed = timeout(FLEET_AGES_EVERY, fleet.changed());
                let changed = stop.run_until_cancelled(changed).await?;
                if matches!(changed, Ok(Err(_))) || !right.stands() {
                    return None;
                }
                let now = fleet_page_parts(&fleet.borrow_and_update(), voice, wall_now());
                if changed.is_err() || now != sent {
                    break now;
                }
            };
            let changes = Changes {
                parts: changed_parts(&sent, &now),
                drawn: 0,
                brew: None,
                changed_ms: wall_now().as_millisecond(),
            };
            let event = Event::default().event("parts").json_data(&changes);
            // Many tuns speak at once; nobody reads faster.
            sleep(FLEET_PAUSE).await;
            Some((Ok(event.unwrap_or_default()), (fleet, right, place, now)))
        }
    });
    Ok(Sse::new(stream).keep_alive(alive()))
}

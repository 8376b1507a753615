//! Notes and rakings that people report.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::HeaderMap;
use lauter_core::supervisor::Event;
use serde::{Deserialize, Serialize};

use super::{Service, answered, body};
use crate::runtime::request::Request;
use crate::web::problem::{Answer, Problem};
use crate::web::wire::{Fault, check_text};

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NoteBody {
    pub who: String,
    pub text: String,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RakingBody {
    pub who: String,
    /// How long the rakes run from now on.
    pub minutes: f64,
}

/// Longest raking that can be reported, min. Common practice, no source: rakings last a minute or two.
const LONGEST_RAKING_MIN: f64 = 30.0;

pub async fn note(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
    headers: HeaderMap,
    received: body::Received,
) -> Answer<NoteBody> {
    let handle = service.tun(&site, &tun)?;
    let note: NoteBody = body::json(&headers, received)?;
    let mut faults = Vec::new();
    check_text("who", Some(&note.who), &mut faults);
    check_text("text", Some(&note.text), &mut faults);
    if !faults.is_empty() {
        return Err(Problem::unprocessable("note", faults));
    }
    let event = Event::Note {
        who: note.who.clone(),
        text: note.text.clone(),
    };
    answered(handle.ask(|reply| Request::Report { event, reply })).await?;
    Ok(Json(note))
}

/// Where no instrument sees the rakes, the bed's figures begin anew after it; otherwise it is only written down.
pub async fn raking(
    State(service): State<Arc<Service>>,
    Path((site, tun)): Path<(String, String)>,
    headers: HeaderMap,
    received: body::Received,
) -> Answer<RakingBody> {
    let handle = service.tun(&site, &tun)?;
    let raking: RakingBody = body::json(&headers, received)?;
    let mut faults = Vec::new();
    check_text("who", Some(&raking.who), &mut faults);
    if !(0.5..=LONGEST_RAKING_MIN).contains(&raking.minutes) {
        let message = format!(
            "is {}; allowed is 0.5 to {LONGEST_RAKING_MIN}",
            raking.minutes
        );
        faults.push(Fault::new("minutes", message));
    }
    if !faults.is_empty() {
        return Err(Problem::unprocessable("raking", faults));
    }
    let event = Event::Raking {
        who: raking.who.clone(),
        minutes: raking.minutes,
    };
    answered(handle.ask(|reply| Request::Report { event, reply })).await?;
    Ok(Json(raking))
}

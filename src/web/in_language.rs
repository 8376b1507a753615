//! Refusals in the words of whoever asks: a page names its language and is told in its own units; a program does not and
//! gets the refusal as it is.
//!
//! Owns the translation of an answer on its way out; the words are `display`'s.

use std::sync::Arc;

use axum::body::{Body, to_bytes};
use axum::extract::rejection::RawPathParamsRejection;
use axum::extract::{RawPathParams, Request, State};
use axum::http::HeaderValue;
use axum::http::header::{ACCEPT_LANGUAGE, CONTENT_LENGTH};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::api::Service;
use super::problem::DOUBTFUL;
use super::wire::{ErrorBody, Fault};
use crate::config::model::Language;
use crate::display::Voice;
use crate::display::fault_words::faults_said;
use crate::display::refusals::refusal_told;

/// A refusal longer than this is passed on as it is, bytes.
const BOUND: usize = 16 * 1024;

pub async fn answer(
    State(service): State<Arc<Service>>,
    parameters: Result<RawPathParams, RawPathParamsRejection>,
    request: Request,
    next: Next,
) -> Response {
    let asked = request.headers().get(ACCEPT_LANGUAGE);
    let language = match asked.map(HeaderValue::as_bytes) {
        Some(b"de") => Some(Language::German),
        Some(b"en") => Some(Language::English),
        _ => None,
    };
    let response = next.run(request).await;
    let refused = response.status().is_client_error() || response.status().is_server_error();
    let (Some(language), true) = (language, refused) else {
        return response;
    };
    let voice = page_voice(&service, parameters.ok().as_ref()).in_language(language);
    let (mut head, body) = response.into_parts();
    let Ok(bytes) = to_bytes(body, BOUND).await else {
        return head.status.into_response();
    };
    let Ok(mut told) = serde_json::from_slice::<ErrorBody>(&bytes) else {
        return Response::from_parts(head, Body::from(bytes));
    };
    told.error = said(&told, voice);
    head.headers.remove(CONTENT_LENGTH);
    let said = serde_json::to_vec(&told).unwrap_or_default();
    Response::from_parts(head, Body::from(said))
}

/// As the page of the tun speaks that the address names; where it names none, as pages of no tun do.
fn page_voice(service: &Service, parameters: Option<&RawPathParams>) -> Voice {
    let named = |sought: &str| {
        let mut all = parameters?.iter();
        all.find_map(|(name, value)| (name == sought).then_some(value))
    };
    let tun = named("site").zip(named("tun"));
    let tun = tun.and_then(|(site, tun)| service.tun(site, tun).ok());
    tun.map_or_else(
        || service.voice(),
        |tun| Voice::new(tun.configuration.web.display),
    )
}

/// As a whole where there are words for it; else fault by fault, by the names of the fields.
fn said(told: &ErrorBody, voice: Voice) -> String {
    let whole = refusal_told(&told.error, voice);
    let is_of_field = |it: &Fault| !it.key.is_empty() && it.key != DOUBTFUL;
    let of_fields = !told.faults.is_empty() && told.faults.iter().all(is_of_field);
    if whole != told.error || !of_fields {
        return whole;
    }
    let faults = told.faults.iter();
    let faults = faults.map(|fault| (fault.key.as_str(), fault.message.as_str()));
    faults_said(faults, voice)
}

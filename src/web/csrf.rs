//! Puts the session's own value into a page that was drawn without knowing who looks.
//!
//! Owns the one place in a page where the value stands. Must not know what else is on it.

use axum::body::{Body, to_bytes};
use axum::extract::{Extension, Request};
use axum::http::StatusCode;
use axum::http::header::{CONTENT_LENGTH, CONTENT_TYPE};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::problem::Problem;
use crate::access::{Caller, Known};

/// As the page's frame writes it.
const EMPTY: &str = "<meta name=\"csrf\" content=\"\">";

/// Largest page, bytes: a hundred times what one is.
const PAGE_BOUND: usize = 8 * 1024 * 1024;

/// Fills the value into every page that `next` gives a person who has signed in.
pub async fn fill(caller: Option<Extension<Caller>>, request: Request, next: Next) -> Response {
    let response = next.run(request).await;
    let Some(Extension(Caller {
        known: Known::Session { csrf },
        ..
    })) = caller
    else {
        return response;
    };
    let kind = response.headers().get(CONTENT_TYPE);
    let is_page = kind.is_some_and(|kind| kind.as_bytes().starts_with(b"text/html"));
    if !is_page {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    let Ok(bytes) = to_bytes(body, PAGE_BOUND).await else {
        let words = "the page is too large";
        return Problem::new(StatusCode::INTERNAL_SERVER_ERROR, words).into_response();
    };
    parts.headers.remove(CONTENT_LENGTH);
    let page = String::from_utf8_lossy(&bytes);
    // The value is hexadecimal digits.
    let filled = page.replacen(
        EMPTY,
        &format!("<meta name=\"csrf\" content=\"{csrf}\">"),
        1,
    );
    Response::from_parts(parts, Body::from(filled))
}

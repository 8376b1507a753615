//! Puts into a page that was drawn without knowing who looks: the session's own value, the person's name and role.
//!
//! Owns the one place in a page where they stand. What the role hides is the page's concern; what it may do is decided when
//! it is asked for. Must not know what else is on the page.

use axum::body::{Body, to_bytes};
use axum::extract::{Extension, Request};
use axum::http::StatusCode;
use axum::http::header::{CONTENT_LENGTH, CONTENT_TYPE};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::problem::Problem;
use super::sign_in::escaped;
use crate::access::{Caller, Known};

/// As the page's frame writes it.
const EMPTY: &str = "<meta name=\"csrf\" content=\"\">";

/// Largest page, bytes: a hundred times what one is.
const PAGE_BOUND: usize = 8 * 1024 * 1024;

/// Fills them into every page that `next` gives a person.
pub async fn fill(caller: Option<Extension<Caller>>, request: Request, next: Next) -> Response {
    let response = next.run(request).await;
    let Some(Extension(caller)) = caller else {
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
    let filled = page.replacen(EMPTY, &of(&caller), 1);
    Response::from_parts(parts, Body::from(filled))
}

/// Where nobody signs in there is a role and no name.
fn of(caller: &Caller) -> String {
    let role = caller.role.name();
    let (csrf, user) = match &caller.known {
        Known::Session { csrf } => (csrf.as_str(), caller.name.as_str()),
        Known::Token => ("", caller.name.as_str()),
        Known::Nameless => ("", ""),
    };
    // The value is hexadecimal digits; a name comes from a person.
    format!(
        "<meta name=\"csrf\" content=\"{csrf}\"><meta name=\"user\" content=\"{}\"><meta name=\"role\" \
         content=\"{role}\">",
        escaped(user)
    )
}

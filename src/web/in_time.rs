//! How long a request may take once its head has come: its body to arrive, its answer to be made.
//!
//! Owns both limits and what is answered beyond them. A body that stops half way would hold its connection's place, and the
//! handler with it, for as long as the client likes. Must not know what is asked.

use std::time::Duration;

use axum::body::{Body, to_bytes};
use axum::extract::Request;
use axum::http::StatusCode;
use axum::http::header::{CONNECTION, HeaderValue};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use tokio::time;

use super::parameters::{BODY_BOUND, BODY_TIMEOUT, BRIEF_BODY_TIMEOUT, REQUEST_TIMEOUT};
use super::problem::Problem;

/// The answer of `next` to the whole request, or that it took too long.
pub async fn answer(request: Request, brief: bool, next: Next) -> Response {
    let patience = if brief {
        BRIEF_BODY_TIMEOUT
    } else {
        BODY_TIMEOUT
    };
    let request = match whole(request, patience).await {
        Ok(request) => request,
        Err(problem) => return closing(problem),
    };
    match time::timeout(REQUEST_TIMEOUT, next.run(request)).await {
        Ok(response) => response,
        Err(_) => Problem::new(
            StatusCode::SERVICE_UNAVAILABLE,
            format!(
                "the request took longer than {} s; try again",
                REQUEST_TIMEOUT.as_secs()
            ),
        )
        .into_response(),
    }
}

/// The request with its body read. What only asks has none that anybody waits for.
async fn whole(request: Request, patience: Duration) -> Result<Request, Problem> {
    if request.method().is_safe() {
        return Ok(request);
    }
    let (head, body) = request.into_parts();
    match time::timeout(patience, to_bytes(body, BODY_BOUND)).await {
        Ok(Ok(bytes)) => Ok(Request::from_parts(head, Body::from(bytes))),
        Ok(Err(error)) if is_too_large(&error) => Err(Problem::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            format!("the body is larger than the {BODY_BOUND} bytes allowed"),
        )),
        Ok(Err(error)) => Err(Problem::new(
            StatusCode::BAD_REQUEST,
            format!("the body did not come whole: {error}"),
        )),
        Err(_) => Err(Problem::new(
            StatusCode::REQUEST_TIMEOUT,
            format!(
                "the body did not come whole within {} s; send it again",
                patience.as_secs()
            ),
        )),
    }
}

fn is_too_large(error: &axum::Error) -> bool {
    use std::error::Error as _;
    let source = error.source();
    source.is_some_and(<dyn std::error::Error>::is::<http_body_util::LengthLimitError>)
}

/// What is left of the body may come at any time: the connection is not used again.
fn closing(problem: Problem) -> Response {
    let mut response = problem.into_response();
    let headers = response.headers_mut();
    headers.insert(CONNECTION, HeaderValue::from_static("close"));
    response
}

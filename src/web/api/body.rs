//! Reading a request's body.

use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::http::{HeaderMap, StatusCode};
use serde::de::DeserializeOwned;
use serde_json::error::Category;

use crate::web::guard::{MediaType, media_type};
use crate::web::parameters::BODY_BOUND;
use crate::web::problem::Problem;
use crate::web::wire::Fault;

/// A body as it came, or why it could not be read.
pub type Received = Result<Bytes, BytesRejection>;

/// The bytes of a body that is not too large.
pub fn bytes(received: Received) -> Result<Bytes, Problem> {
    received.map_err(|rejection| {
        let status = rejection.status();
        if status == StatusCode::PAYLOAD_TOO_LARGE {
            Problem::new(
                status,
                format!("the body is larger than the {BODY_BOUND} bytes allowed"),
            )
        } else {
            Problem::new(status, format!("the body did not come whole: {rejection}"))
        }
    })
}

/// A body that must be JSON. What is not JSON at all is a bad request; JSON that does not fit is data at fault.
pub fn json<T: DeserializeOwned>(headers: &HeaderMap, received: Received) -> Result<T, Problem> {
    if media_type(headers) != Some(MediaType::Json) {
        return Err(Problem::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "the content type must be application/json here",
        ));
    }
    of_json(&bytes(received)?)
}

/// As [`json`], once the content type is known.
pub fn of_json<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Problem> {
    serde_json::from_slice(bytes).map_err(|error| match error.classify() {
        Category::Data => Problem::unprocessable("body", vec![Fault::new("", error.to_string())]),
        Category::Io | Category::Syntax | Category::Eof => Problem::new(
            StatusCode::BAD_REQUEST,
            format!("the body is not JSON: {error}"),
        ),
    })
}

//! Reading a request's body.

use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::http::{HeaderMap, StatusCode};
use serde::de::DeserializeOwned;
use serde_json::Deserializer;
use serde_json::error::Category;

use super::unfit;
use crate::web::guard::{MediaType, media_type};
use crate::web::parameters::BODY_BOUND;
use crate::web::problem::Problem;

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
    let no_json =
        |error: &serde_json::Error| Problem::new(StatusCode::BAD_REQUEST, unfit::no_json(error));
    let mut reader = Deserializer::from_slice(bytes);
    let value = serde_path_to_error::deserialize(&mut reader).map_err(|error| {
        match error.inner().classify() {
            Category::Data => Problem::unprocessable("body", vec![unfit::fault(&error)]),
            Category::Io | Category::Syntax | Category::Eof => no_json(error.inner()),
        }
    })?;
    reader.end().map_err(|error| no_json(&error))?;
    Ok(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::wire::{AlarmOperation, SampleBody};

    fn refused<T: DeserializeOwned>(body: &str) -> String {
        let read = of_json::<T>(body.as_bytes());
        read.map(|_| ()).unwrap_err().body.error
    }

    #[test]
    fn json_that_does_not_fit_is_named_by_its_key_and_never_by_the_programs_own_shapes() {
        for (body, said) in [
            ("[]", "body: must be an object"),
            ("3", "body: must be an object"),
            ("{}", "body: place is missing"),
            (
                r#"{"place":"kettle","gravity_p":"12"}"#,
                "body: gravity_p must be a number",
            ),
            (
                r#"{"place":"tun"}"#,
                "body: place tun is not known here; known is runnings, kettle",
            ),
            (
                r#"{"place":"kettle","gravity":12}"#,
                "body: gravity is not known here; known is place, gravity_p, ph, volume_l, gravity_sg, gravity_bx",
            ),
        ] {
            assert_eq!(refused::<SampleBody>(body), said, "{body}");
        }
        assert_eq!(
            refused::<AlarmOperation>(r#"{"who":7,"action":"acknowledge"}"#),
            "body: who must be a string"
        );
    }

    #[test]
    fn what_is_not_json_is_told_by_the_place_where_it_ceases_to_be() {
        for (body, said) in [
            ("{", "it breaks off at line 1, column 1"),
            ("", "it breaks off at line 1, column 0"),
            (
                r#"{"place":"kettle","#,
                "it breaks off at line 1, column 18",
            ),
            (
                r#"{"place":"kettle"} x"#,
                "what stands at line 1, column 20 does not belong there",
            ),
            (
                r#"{"place":kettle}"#,
                "what stands at line 1, column 10 does not belong there",
            ),
        ] {
            let words = refused::<SampleBody>(body);
            assert_eq!(words, format!("the body is not JSON: {said}"), "{body}");
        }
    }
}

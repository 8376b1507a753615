//! Reading what stands behind the question mark of an address.
//!
//! Owns the refusal of what does not fit there, by the parameter's name and with what is allowed.

use axum::extract::FromRequestParts;
use axum::http::StatusCode;
use axum::http::request::Parts;
use serde::de::DeserializeOwned;

use super::unfit;
use crate::web::problem::Problem;

/// As axum's own, with an answer for people.
pub struct Query<T>(pub T);

impl<S: Send + Sync, T: DeserializeOwned> FromRequestParts<S> for Query<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Problem> {
        axum::extract::Query::try_from_uri(&parts.uri)
            .map(|axum::extract::Query(it)| Self(it))
            .map_err(|rejection| {
                let fault = unfit::parameter(&rejection.body_text());
                Problem {
                    status: StatusCode::BAD_REQUEST,
                    ..Problem::unprocessable("query", vec![fault])
                }
            })
    }
}

#[cfg(test)]
mod tests {
    use axum::http::Request;

    use super::*;
    use crate::web::api::alarms::AskedQuery;
    use crate::web::api::charts::ChartQuery;
    use crate::web::api::operate::SampleQuery;
    use crate::web::api::record::ListQuery;
    use crate::web::api::report::ReportQuery;

    async fn refused<T: DeserializeOwned>(query: &str) -> String {
        let request = Request::get(format!("/?{query}")).body(()).unwrap();
        let (mut parts, ()) = request.into_parts();
        let read = Query::<T>::from_request_parts(&mut parts, &()).await;
        let problem = read.map(|_| ()).unwrap_err();
        assert_eq!(problem.status, StatusCode::BAD_REQUEST);
        problem.body.error
    }

    #[tokio::test]
    async fn a_parameter_that_does_not_fit_is_named_with_what_is_allowed() {
        assert_eq!(
            refused::<ReportQuery>("format=xml").await,
            "query: format xml is not known here; known is html, csv, json"
        );
        for (query, said) in [
            (
                "width=abc",
                "query: width must be a whole number from 0 to 4294967295",
            ),
            (
                "width=",
                "query: width must be a whole number from 0 to 4294967295",
            ),
            (
                "height=-1",
                "query: height must be a whole number from 0 to 4294967295",
            ),
            (
                "width=4294967296",
                "query: width must be a whole number from 0 to 4294967295",
            ),
            ("bare=maybe", "query: bare must be true or false"),
            ("width=9&width=9", "query: width is given twice"),
        ] {
            assert_eq!(refused::<ChartQuery>(query).await, said, "{query}");
        }
        assert_eq!(
            refused::<ListQuery>("limit=x").await,
            "query: limit must be a whole number from 0 to 4294967295"
        );
        assert_eq!(
            refused::<SampleQuery>("ask=maybe").await,
            "query: ask must be true or false"
        );
        for query in ["days=soon", "days="] {
            assert_eq!(
                refused::<AskedQuery>(query).await,
                "query: days must be a number"
            );
        }
    }
}

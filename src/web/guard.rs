//! What every request must keep to, and what every answer bears.
//!
//! Owns the defence of an interface without passwords against web pages from elsewhere that run in an
//! operator's browser: a page whose name was rebound to this machine's address (its Host is a name, not ours),
//! and a page that posts here (its Origin is foreign, or its content type is one a form can send). Must not know
//! what is asked.

use std::net::IpAddr;

use axum::Extension;
use axum::body::to_bytes;
use axum::extract::Request;
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, HOST, HeaderName, ORIGIN,
    REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::uri::Authority;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use tokio::time;

use super::listener::Ends;
use super::parameters::{BODY_BOUND, REQUEST_TIMEOUT};
use super::problem::Problem;

/// Lets a request through to `next` if it keeps the rules, bounds it in time, and dresses the answer.
pub async fn watch(Extension(ends): Extension<Ends>, request: Request, next: Next) -> Response {
    let (method, path) = (request.method().clone(), request.uri().path().to_owned());
    let response = match check(&request, ends) {
        Err(problem) => problem.into_response(),
        Ok(()) => match time::timeout(REQUEST_TIMEOUT, next.run(request)).await {
            Ok(response) => response,
            Err(_) => Problem::new(
                StatusCode::SERVICE_UNAVAILABLE,
                format!(
                    "the request took longer than {} s; try again",
                    REQUEST_TIMEOUT.as_secs()
                ),
            )
            .into_response(),
        },
    };
    let status = response.status().as_u16();
    if method == Method::GET || method == Method::HEAD {
        tracing::debug!(%method, path, status, peer = %ends.peer, "web request");
    } else {
        tracing::info!(%method, path, status, peer = %ends.peer, "web request");
    }
    dressed(in_json(response).await)
}

fn check(request: &Request, ends: Ends) -> Result<(), Problem> {
    let authority = authority(request)?;
    if !is_ours(&authority, ends.local.ip()) {
        return Err(Problem::new(
            StatusCode::MISDIRECTED_REQUEST,
            format!(
                "this service is not {authority}; reach it by its address, http://{}",
                ends.local
            ),
        ));
    }
    if request.method().is_safe() {
        return Ok(());
    }
    let origin = request.headers().get(ORIGIN);
    if origin.is_some_and(|origin| !is_same(origin, &authority)) {
        return Err(Problem::new(
            StatusCode::FORBIDDEN,
            "a page from elsewhere may not operate this service",
        ));
    }
    if request.method() == Method::POST && media_type(request.headers()).is_none() {
        return Err(Problem::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "the content type must be application/json (or application/toml for a plan)",
        ));
    }
    Ok(())
}

/// For whom the request is meant: the request line if it names a host, else the one Host header.
fn authority(request: &Request) -> Result<Authority, Problem> {
    if let Some(authority) = request.uri().authority() {
        return Ok(authority.clone());
    }
    let mut hosts = request.headers().get_all(HOST).iter();
    let authority = match (hosts.next(), hosts.next()) {
        (Some(host), None) => Authority::try_from(host.as_bytes()).ok(),
        _ => None,
    };
    authority.ok_or_else(|| {
        Problem::new(
            StatusCode::BAD_REQUEST,
            "the request must have one Host header with a host and port",
        )
    })
}

/// The loopback, or the address by which this connection came. A name other than localhost is never ours: it
/// may have been rebound. The port is left alone, since tunnels change it.
fn is_ours(authority: &Authority, local: IpAddr) -> bool {
    if authority.as_str().contains('@') {
        return false;
    }
    let host = authority.host();
    if host.eq_ignore_ascii_case("localhost") {
        return true;
    }
    let bare = host
        .strip_prefix('[')
        .and_then(|host| host.strip_suffix(']'))
        .unwrap_or(host);
    bare.parse::<IpAddr>().is_ok_and(|address| {
        let address = address.to_canonical();
        address.is_loopback() || address == local.to_canonical()
    })
}

/// Whether a browser's Origin is the page of this very address.
fn is_same(origin: &HeaderValue, authority: &Authority) -> bool {
    origin
        .to_str()
        .ok()
        .and_then(|origin| {
            origin
                .strip_prefix("http://")
                .or_else(|| origin.strip_prefix("https://"))
        })
        .is_some_and(|origin| origin.eq_ignore_ascii_case(authority.as_str()))
}

/// The two forms in which a body may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MediaType {
    Json,
    Toml,
}

pub fn media_type(headers: &HeaderMap) -> Option<MediaType> {
    let text = headers.get(CONTENT_TYPE)?.to_str().ok()?;
    let essence = text.split(';').next().unwrap_or_default().trim();
    if essence.eq_ignore_ascii_case("application/json") {
        Some(MediaType::Json)
    } else if essence.eq_ignore_ascii_case("application/toml") {
        Some(MediaType::Toml)
    } else {
        None
    }
}

/// Gives the library's own refusals, which are plain text, the form of all others.
async fn in_json(response: Response) -> Response {
    let status = response.status();
    let is_error = status.is_client_error() || status.is_server_error();
    if !is_error || media_type(response.headers()) == Some(MediaType::Json) || is_page(&response) {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    let text = to_bytes(body, BODY_BOUND).await.unwrap_or_default();
    let text = String::from_utf8_lossy(&text);
    let words = if text.trim().is_empty() {
        status.canonical_reason().unwrap_or("refused")
    } else {
        text.trim()
    };
    let plain = Problem::new(status, words).into_response();
    parts.headers.remove(CONTENT_TYPE);
    parts.headers.remove(axum::http::header::CONTENT_LENGTH);
    // `Allow` and its like stay.
    parts.headers.extend(plain.headers().clone());
    Response::from_parts(parts, plain.into_body())
}

/// People are told in a page of its own what is wrong.
fn is_page(response: &Response) -> bool {
    let kind = response.headers().get(CONTENT_TYPE);
    kind.is_some_and(|kind| kind.as_bytes().starts_with(b"text/html"))
}

/// An answer is of the moment and for this page only. A route that serves a page brings a policy of its own.
fn dressed(mut response: Response) -> Response {
    const CROSS_ORIGIN_RESOURCE_POLICY: HeaderName =
        HeaderName::from_static("cross-origin-resource-policy");
    let headers = response.headers_mut();
    let fixed = [
        (CACHE_CONTROL, "no-store"),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (REFERRER_POLICY, "no-referrer"),
        (CROSS_ORIGIN_RESOURCE_POLICY, "same-origin"),
    ];
    for (name, value) in fixed {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers
        .entry(CONTENT_SECURITY_POLICY)
        .or_insert(HeaderValue::from_static(
            "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
        ));
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ours(authority: &str, local: &str) -> bool {
        is_ours(&authority.parse().unwrap(), local.parse().unwrap())
    }

    #[test]
    fn only_the_loopback_and_the_address_in_use_are_ours() {
        for host in [
            "localhost:8780",
            "LOCALHOST",
            "127.0.0.1:8780",
            "127.3.2.1",
            "[::1]:8780",
            "192.0.2.5:8780",
            "[::ffff:192.0.2.5]:1",
        ] {
            assert!(ours(host, "192.0.2.5"), "{host}");
        }
        for host in [
            "brewhouse.example:8780",
            "192.0.2.6:8780",
            "localhost.example",
            "127.0.0.1.example",
            "user@localhost",
            "0.0.0.0",
            "[2001:db8::1]",
        ] {
            assert!(!ours(host, "192.0.2.5"), "{host}");
        }
        assert!(ours("192.0.2.5", "::ffff:192.0.2.5"));
    }

    #[test]
    fn an_origin_is_the_same_only_with_host_and_port() {
        let authority: Authority = "127.0.0.1:8780".parse().unwrap();
        let same = |origin: &'static str| is_same(&HeaderValue::from_static(origin), &authority);
        assert!(same("http://127.0.0.1:8780"));
        assert!(same("https://127.0.0.1:8780"));
        for origin in [
            "null",
            "",
            "http://127.0.0.1:8781",
            "http://localhost:8780",
            "http://127.0.0.1:8780.example",
            "ftp://127.0.0.1:8780",
            "127.0.0.1:8780",
        ] {
            assert!(!same(origin), "{origin}");
        }
    }

    #[test]
    fn only_json_and_toml_are_media_types_of_a_body() {
        let of = |text: &'static str| {
            let mut headers = HeaderMap::new();
            headers.insert(CONTENT_TYPE, HeaderValue::from_static(text));
            media_type(&headers)
        };
        assert_eq!(of("application/json; charset=utf-8"), Some(MediaType::Json));
        assert_eq!(of("Application/TOML"), Some(MediaType::Toml));
        for text in [
            "text/plain",
            "application/x-www-form-urlencoded",
            "application/json5",
            "",
        ] {
            assert_eq!(of(text), None, "{text}");
        }
        assert_eq!(media_type(&HeaderMap::new()), None);
    }
}

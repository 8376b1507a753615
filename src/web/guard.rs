//! What every request must keep to, who it comes from, and what every answer bears.
//!
//! Owns the defence against web pages from elsewhere that run in an operator's browser: a page whose name was rebound
//! to this machine's address (its Host is a name, not ours), and a page that posts here (its Origin is foreign, its
//! content type is one a form can send, or it does not know the session's own value). Finds out who asks, and lets
//! nobody change anything who may not; what each operation needs beyond that stands with the operation. Must not know
//! what is asked.

use std::net::IpAddr;
use std::sync::Arc;

use axum::Extension;
use axum::body::to_bytes;
use axum::extract::{Request, State};
use axum::http::header::{
    ACCEPT, CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, HOST, HeaderName, ORIGIN,
    REFERRER_POLICY, STRICT_TRANSPORT_SECURITY, WWW_AUTHENTICATE, X_CONTENT_TYPE_OPTIONS,
    X_FRAME_OPTIONS,
};
use axum::http::uri::Authority;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};

use super::api::Service;
use super::identity::{CSRF, identify};
use super::in_time;
use super::listener::Ends;
use super::parameters::BODY_BOUND;
use super::problem::Problem;
use super::sign_in;
use crate::access::{Caller, Known, NotAllowed, Role, same};

/// Lets a request through to `next` if it keeps the rules, bounds it in time, and dresses the answer.
pub async fn watch(
    State(service): State<Arc<Service>>,
    Extension(ends): Extension<Ends>,
    mut request: Request,
    next: Next,
) -> Response {
    let (method, path) = (request.method().clone(), request.uri().path().to_owned());
    let admitted = check(&request, ends, service.entrance.host_name.as_deref())
        .map_err(|problem| Box::new(problem.into_response()))
        .and_then(|()| admit(&service, ends, &request));
    let response = match admitted {
        Err(response) => *response,
        Ok(caller) => {
            if let Some(caller) = caller {
                request.extensions_mut().insert(caller);
            }
            in_time::answer(request, ends.brief, next).await
        }
    };
    let status = response.status().as_u16();
    if method.is_safe() {
        tracing::debug!(%method, path, status, peer = %ends.peer, "web request");
    } else {
        tracing::info!(%method, path, status, peer = %ends.peer, "web request");
    }
    dressed(in_json(response).await, ends.secure)
}

/// For everybody: signing in, and whether the service lives.
fn is_public(path: &str) -> bool {
    sign_in::PUBLIC.contains(&path) || matches!(path, "/healthz" | "/readyz")
}

/// Who asks, if they may come in at all; otherwise the answer they get.
fn admit(
    service: &Service,
    ends: Ends,
    request: &Request,
) -> Result<Option<Caller>, Box<Response>> {
    let (path, method) = (request.uri().path(), request.method());
    let caller = identify(&service.entrance.access, ends, request.headers());
    if is_public(path) {
        return Ok(caller.unwrap_or_default());
    }
    let Some(caller) = caller.map_err(|unknown| Box::new(unknown.into_response()))? else {
        return Err(Box::new(not_signed_in(request)));
    };
    if method.is_safe() {
        caller
            .may(Role::Watch)
            .map_err(|refusal| Box::new(refused(refusal)))?;
    } else {
        caller
            .may(Role::Operate)
            .map_err(|refusal| Box::new(refused(refusal)))?;
        if let Known::Session { csrf } = &caller.known
            && !bears(request.headers(), csrf)
        {
            let problem = Problem::new(
                StatusCode::FORBIDDEN,
                format!(
                    "what changes something must bear the page's own value in the header {CSRF}; load the page anew"
                ),
            );
            return Err(Box::new(problem.into_response()));
        }
    }
    Ok(Some(caller))
}

fn refused(refused: NotAllowed) -> Response {
    Problem::from(refused).into_response()
}

fn bears(headers: &HeaderMap, csrf: &str) -> bool {
    let given = headers.get(CSRF).and_then(|value| value.to_str().ok());
    given.is_some_and(|given| same(given, csrf))
}

/// A person is led to the sign-in page; a program is told.
fn not_signed_in(request: &Request) -> Response {
    let accepts_page = request
        .headers()
        .get(ACCEPT)
        .and_then(|accept| accept.to_str().ok())
        .is_some_and(|accept| accept.contains("text/html"));
    if request.method() == Method::GET && accepts_page {
        return Redirect::to(sign_in::PATH).into_response();
    }
    let mut response = Problem::new(
        StatusCode::UNAUTHORIZED,
        format!(
            "sign in at {}, or send a token (lauterd token add) as Authorization: Bearer",
            sign_in::PATH
        ),
    )
    .into_response();
    response
        .headers_mut()
        .insert(WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
    response
}

fn check(request: &Request, ends: Ends, host_name: Option<&str>) -> Result<(), Problem> {
    let authority = authority(request)?;
    if !is_ours(&authority, ends.local.ip(), host_name) {
        let scheme = if ends.secure { "https" } else { "http" };
        let name = host_name.map_or(String::new(), |name| format!("{name} or "));
        return Err(Problem::new(
            StatusCode::MISDIRECTED_REQUEST,
            format!(
                "this service is not {authority}; reach it by {name}its address, {scheme}://{}",
                ends.local
            ),
        ));
    }
    if request.method().is_safe() {
        return Ok(());
    }
    let origin = request.headers().get(ORIGIN);
    if origin.is_some_and(|origin| !is_same(origin, &authority)) || is_from_elsewhere(request) {
        return Err(Problem::new(
            StatusCode::FORBIDDEN,
            "a page from elsewhere may not operate this service",
        ));
    }
    Ok(())
}

/// Lets a request through whose content type no form of another page can send.
pub async fn not_a_form(request: Request, next: Next) -> Response {
    if media_type(request.headers()).is_some() {
        return next.run(request).await;
    }
    let words = "the content type must be application/json (or application/toml for a plan)";
    Problem::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, words).into_response()
}

/// What a browser says of a request's initiator (Fetch Metadata, W3C).
fn is_from_elsewhere(request: &Request) -> bool {
    let site = request.headers().get("sec-fetch-site");
    site.is_some_and(|site| site != "same-origin" && site != "none")
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

/// The loopback, the address by which this connection came, or the configured name. Another name is never ours: it
/// may have been rebound. The port is left alone, since tunnels change it.
fn is_ours(authority: &Authority, local: IpAddr, host_name: Option<&str>) -> bool {
    if authority.as_str().contains('@') {
        return false;
    }
    let host = authority.host();
    let is_named = host_name.is_some_and(|name| host.eq_ignore_ascii_case(name));
    if is_named || host.eq_ignore_ascii_case("localhost") {
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
fn dressed(mut response: Response, secure: bool) -> Response {
    const CROSS_ORIGIN_RESOURCE_POLICY: HeaderName =
        HeaderName::from_static("cross-origin-resource-policy");
    const CROSS_ORIGIN_OPENER_POLICY: HeaderName =
        HeaderName::from_static("cross-origin-opener-policy");
    let headers = response.headers_mut();
    let fixed = [
        (CACHE_CONTROL, "no-store"),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        // With `no-referrer` a browser sends a form of our own with `Origin: null`, which is refused.
        (REFERRER_POLICY, "same-origin"),
        (CROSS_ORIGIN_RESOURCE_POLICY, "same-origin"),
        (CROSS_ORIGIN_OPENER_POLICY, "same-origin"),
        (X_FRAME_OPTIONS, "DENY"),
    ];
    for (name, value) in fixed {
        headers.insert(name, HeaderValue::from_static(value));
    }
    if secure {
        let year = HeaderValue::from_static("max-age=31536000");
        headers.insert(STRICT_TRANSPORT_SECURITY, year);
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
        is_ours(
            &authority.parse().unwrap(),
            local.parse().unwrap(),
            Some("lauter.brewery.example"),
        )
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
            "Lauter.brewery.example:8780",
        ] {
            assert!(ours(host, "192.0.2.5"), "{host}");
        }
        for host in [
            "brewhouse.example:8780",
            "192.0.2.6:8780",
            "localhost.example",
            "brewery.example",
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

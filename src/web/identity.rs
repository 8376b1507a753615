//! How a request says who sends it: a session's cookie, or a token.
//!
//! Owns the names of cookie and header. Must not know what is asked.

use axum::http::header::{AUTHORIZATION, COOKIE, FORWARDED, VIA, WWW_AUTHENTICATE};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};

use super::listener::Ends;
use super::problem::Problem;
use crate::access::{Access, Caller};
use crate::clock;

/// Header in which a page proves that it has read this service's own pages.
pub const CSRF: &str = "x-lauterd-csrf";

/// Header in which a page names who uses it, percent-encoded, where nobody signs in.
pub const WHO: &str = "x-lauterd-who";
/// Longest name, characters. Own choice: that of `who` in bodies.
const WHO_BOUND: usize = 200;

/// What cannot be one line of the trail is no name.
fn said_name(headers: &HeaderMap) -> Option<String> {
    let said = headers.get(WHO)?.as_bytes();
    let (name, nothing) = url::form_urlencoded::parse(said).next()?;
    let name = name.trim();
    let is_line = !name.is_empty()
        && nothing.is_empty()
        && name.chars().count() <= WHO_BOUND
        && !name.contains(char::is_control);
    is_line.then(|| name.to_owned())
}

/// The cookie's name. The prefix makes a browser take it only encrypted, for this host and the whole of it (RFC 6265bis,
/// from memory).
pub fn cookie_name(secure: bool) -> &'static str {
    if secure { "__Host-lauterd" } else { "lauterd" }
}

/// A token that is not known is an error of its own: a program must not take an open door for its right.
#[derive(Debug)]
pub struct UnknownToken;

impl IntoResponse for UnknownToken {
    fn into_response(self) -> Response {
        let words = "the token is not known, or its time is over; make one with lauterd token add";
        let mut response = Problem::new(StatusCode::UNAUTHORIZED, words).into_response();
        let scheme = HeaderValue::from_static("Bearer error=\"invalid_token\"");
        response.headers_mut().insert(WWW_AUTHENTICATE, scheme);
        response
    }
}

/// Who asks; None is somebody who has to sign in first.
pub fn identify(
    access: &Access,
    ends: Ends,
    headers: &HeaderMap,
) -> Result<Option<Caller>, UnknownToken> {
    if !access.has_users() {
        let loopback = ends.peer.ip().to_canonical().is_loopback();
        let caller = Caller::nameless(loopback && !is_passed_on(headers));
        return Ok(Some(caller.called(said_name(headers))));
    }
    if let Some(given) = headers.get(AUTHORIZATION) {
        let token = given.to_str().ok().and_then(|text| {
            let (scheme, token) = text.split_once(' ')?;
            scheme.eq_ignore_ascii_case("bearer").then(|| token.trim())
        });
        let caller = token.and_then(|token| access.by_token(token, clock::wall_now()));
        return caller.map(Some).ok_or(UnknownToken);
    }
    let session = session_id(headers, ends.secure);
    Ok(session.and_then(|id| access.by_session(id, access.now())))
}

/// A proxy on this machine speaks for others: then nobody is known to be here.
fn is_passed_on(headers: &HeaderMap) -> bool {
    headers.contains_key(FORWARDED)
        || headers.contains_key(VIA)
        || headers.contains_key("x-forwarded-for")
        || headers.contains_key("x-real-ip")
}

pub fn session_id(headers: &HeaderMap, secure: bool) -> Option<&str> {
    let pairs = headers
        .get_all(COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|text| text.split(';'))
        .filter_map(|pair| pair.trim().split_once('='));
    let mut named = pairs.filter(|(name, _)| *name == cookie_name(secure));
    // Two of one name: somebody has slipped one in.
    match (named.next(), named.next()) {
        (Some((_, value)), None) => Some(value),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_says_who_uses_it_in_one_line_or_nobody() {
        let said = |text: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(WHO, HeaderValue::from_str(text).expect("a header"));
            said_name(&headers)
        };
        assert_eq!(said("shift%20brewer").as_deref(), Some("shift brewer"));
        assert_eq!(said("J%C3%B6rg").as_deref(), Some("J\u{f6}rg"));
        for wrong in ["", "%20", "a%0Ab", &"x".repeat(201)] {
            assert_eq!(said(wrong), None, "{wrong}");
        }
        assert_eq!(said_name(&HeaderMap::new()), None);
    }
}

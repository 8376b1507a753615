//! Signing in and out: a page that works without any script, and the same for programs and scripts.
//!
//! Owns the page, the cookie and the answers to those who may not come in. Whether somebody may is `access`' to say.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::{Extension, State};
use axum::http::header::{
    CONTENT_SECURITY_POLICY, CONTENT_TYPE, HeaderName, RETRY_AFTER, SET_COOKIE,
};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use axum::{Json, Router, routing::get, routing::post};
use url::form_urlencoded;

use super::api::{Service, body};
use super::identity::{CSRF, cookie_name, session_id};
use super::listener::Ends;
use super::problem::{Answer, Problem};
use super::wire::{SignInBody, SignedIn};
use crate::access::{Caller, Known, Session, SignInRefused, same};
use crate::display::sign_in_words::{self, Words};
use crate::display::terms::fill;

pub const PATH: &str = "/sign-in";
const OUT: &str = "/sign-out";
const STYLE: &str = "/sign-in.css";
const ICON: &str = "/assets/icon.svg";
pub const SESSION: &str = "/api/v1/session";

/// What somebody who has not signed in must reach.
pub const PUBLIC: [&str; 5] = [PATH, OUT, STYLE, ICON, SESSION];

const POLICY: &str = "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; \
                      frame-ancestors 'none'";

pub fn routes() -> Router<Arc<Service>> {
    Router::new()
        .route(PATH, get(page).post(sign_in))
        .route(OUT, post(sign_out))
        .route(STYLE, get(style))
}

type MaybeCaller = Option<Extension<Caller>>;

async fn page(State(service): State<Arc<Service>>, caller: MaybeCaller) -> Response {
    if !service.entrance.access.has_users() {
        return Redirect::to("/").into_response();
    }
    match caller {
        Some(Extension(caller)) => {
            let main = signed_in(&caller, words(&service));
            html(&service, StatusCode::OK, &main)
        }
        None => form(&service, StatusCode::OK, "", ""),
    }
}

/// The page speaks as the tuns' pages do.
fn words(service: &Service) -> &'static Words {
    sign_in_words::of(service.voice().language())
}

async fn style() -> Response {
    let kind: (HeaderName, &str) = (CONTENT_TYPE, "text/css; charset=utf-8");
    ([kind], include_str!("sign_in/sign_in.css")).into_response()
}

async fn sign_in(
    State(service): State<Arc<Service>>,
    Extension(ends): Extension<Ends>,
    headers: HeaderMap,
    received: Bytes,
) -> Response {
    if !is_form(&headers) {
        return unsupported();
    }
    let [user, password] = fields(&received, ["user", "password"]);
    match begin(&service, ends, &user, &password).await {
        Ok(session) => {
            let cookie = cookie(ends, &session);
            ([(SET_COOKIE, cookie)], Redirect::to("/")).into_response()
        }
        Err(refused) => {
            let fault = words(&service).refused(&refused);
            let mut answer = form(&service, status(&refused), &user, &fault);
            set_retry(&mut answer, &refused);
            answer
        }
    }
}

async fn sign_out(
    State(service): State<Arc<Service>>,
    Extension(ends): Extension<Ends>,
    caller: MaybeCaller,
    headers: HeaderMap,
    received: Bytes,
) -> Response {
    if !is_form(&headers) {
        return unsupported();
    }
    let [csrf] = fields(&received, ["csrf"]);
    if let Some(Extension(Caller {
        known: Known::Session { csrf: own },
        ..
    })) = &caller
    {
        if !same(own, &csrf) {
            let fault = words(&service).page_too_old;
            return form(&service, StatusCode::FORBIDDEN, "", fault);
        }
        end(&service, ends, &headers);
    }
    ([(SET_COOKIE, no_cookie(ends))], Redirect::to(PATH)).into_response()
}

/// Who the service takes the caller for.
pub async fn who(caller: MaybeCaller) -> Answer<SignedIn> {
    match caller {
        Some(Extension(caller)) => Ok(Json(known(&caller))),
        None => Err(Problem::new(
            StatusCode::UNAUTHORIZED,
            "nobody is signed in here",
        )),
    }
}

fn known(caller: &Caller) -> SignedIn {
    SignedIn {
        name: caller.name.clone(),
        role: caller.role,
        csrf: match &caller.known {
            Known::Session { csrf } => Some(csrf.clone()),
            Known::Token | Known::Nameless => None,
        },
    }
}

/// Signs in and gives the browser its session.
pub async fn open(
    State(service): State<Arc<Service>>,
    Extension(ends): Extension<Ends>,
    headers: HeaderMap,
    received: body::Received,
) -> Result<Response, Response> {
    let given: SignInBody = body::json(&headers, received).map_err(IntoResponse::into_response)?;
    let session = begin(&service, ends, &given.user, &given.password)
        .await
        .map_err(|refused| {
            let mut answer = Problem::new(status(&refused), refused.to_string()).into_response();
            set_retry(&mut answer, &refused);
            answer
        })?;
    let access = &service.entrance.access;
    let caller = access.by_session(&session.id, access.now());
    let signed_in = caller.as_ref().map(known).ok_or_else(|| {
        Problem::new(StatusCode::UNAUTHORIZED, SignInRefused::Wrong.to_string()).into_response()
    })?;
    let cookie = cookie(ends, &session);
    Ok(([(SET_COOKIE, cookie)], Json(signed_in)).into_response())
}

/// Signs out.
pub async fn close(
    State(service): State<Arc<Service>>,
    Extension(ends): Extension<Ends>,
    caller: MaybeCaller,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let Some(Extension(Caller {
        known: Known::Session { csrf },
        ..
    })) = caller
    else {
        return Err(Problem::new(
            StatusCode::UNAUTHORIZED,
            "nobody is signed in here",
        ));
    };
    let given = headers.get(CSRF).and_then(|value| value.to_str().ok());
    if !given.is_some_and(|given| same(given, &csrf)) {
        return Err(Problem::new(
            StatusCode::FORBIDDEN,
            format!("signing out must bear the page's own value in the header {CSRF}"),
        ));
    }
    end(&service, ends, &headers);
    Ok((StatusCode::NO_CONTENT, [(SET_COOKIE, no_cookie(ends))]).into_response())
}

async fn begin(
    service: &Service,
    ends: Ends,
    user: &str,
    password: &str,
) -> Result<Session, SignInRefused> {
    let access = &service.entrance.access;
    access
        .sign_in(ends.peer.ip(), user, password, access.now())
        .await
}

fn end(service: &Service, ends: Ends, headers: &HeaderMap) {
    if let Some(id) = session_id(headers, ends.secure) {
        service.entrance.access.sign_out(id);
    }
}

fn status(refused: &SignInRefused) -> StatusCode {
    match refused {
        SignInRefused::Wrong => StatusCode::UNAUTHORIZED,
        SignInRefused::Wait(_) => StatusCode::TOO_MANY_REQUESTS,
        SignInRefused::NoUsers => StatusCode::CONFLICT,
        SignInRefused::Busy => StatusCode::SERVICE_UNAVAILABLE,
    }
}

fn set_retry(answer: &mut Response, refused: &SignInRefused) {
    if let SignInRefused::Wait(seconds) = refused {
        answer
            .headers_mut()
            .insert(RETRY_AFTER, HeaderValue::from(*seconds));
    }
}

/// The browser keeps it until it is closed; how long it counts is decided here.
fn cookie(ends: Ends, session: &Session) -> String {
    let seconds = session.lasts_s();
    format!(
        "{}={}; Path=/; Max-Age={seconds}; HttpOnly; SameSite=Strict{}",
        cookie_name(ends.secure),
        session.id,
        if ends.secure { "; Secure" } else { "" }
    )
}

fn no_cookie(ends: Ends) -> String {
    format!(
        "{}=; Path=/; Max-Age=0; HttpOnly; SameSite=Strict{}",
        cookie_name(ends.secure),
        if ends.secure { "; Secure" } else { "" }
    )
}

fn is_form(headers: &HeaderMap) -> bool {
    let kind = headers
        .get(CONTENT_TYPE)
        .and_then(|value| value.to_str().ok());
    kind.is_some_and(|kind| {
        let essence = kind.split(';').next().unwrap_or_default().trim();
        essence.eq_ignore_ascii_case("application/x-www-form-urlencoded")
    })
}

fn unsupported() -> Response {
    let words = "the content type must be application/x-www-form-urlencoded here";
    Problem::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, words).into_response()
}

/// The fields of a form; one that is missing is empty.
fn fields<const N: usize>(received: &[u8], names: [&str; N]) -> [String; N] {
    names.map(|name| {
        form_urlencoded::parse(received)
            .find(|(key, _)| key == name)
            .map(|(_, value)| value.into_owned())
            .unwrap_or_default()
    })
}

fn html(service: &Service, status: StatusCode, main: &str) -> Response {
    let (lang, title) = (service.voice().tag(), words(service).title);
    let page = format!(
        "<!doctype html>\n<html lang=\"{lang}\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" \
         content=\"width=device-width, initial-scale=1\"><title>lauterd: {title}</title><link rel=\"icon\" href=\"{ICON}\"><link \
         rel=\"stylesheet\" href=\"{STYLE}\"></head>\n<body><main><h1>lauterd</h1>\n{main}\n</main></body></html>\n"
    );
    let headers = [
        (CONTENT_TYPE, "text/html; charset=utf-8"),
        (CONTENT_SECURITY_POLICY, POLICY),
    ];
    (status, headers, page).into_response()
}

fn form(service: &Service, status: StatusCode, user: &str, fault: &str) -> Response {
    html(service, status, &form_text(words(service), user, fault))
}

fn form_text(words: &Words, user: &str, fault: &str) -> String {
    let fault = match fault {
        "" => String::new(),
        fault => format!("<p id=\"fault\" role=\"alert\">{}</p>\n", escaped(fault)),
    };
    format!(
        "{fault}<form method=\"post\" action=\"{PATH}\">\n<label for=\"user\">{}</label>\n<input id=\"user\" \
         name=\"user\" autocomplete=\"username\" autocapitalize=\"none\" spellcheck=\"false\" required value=\"{}\">\n\
         <label for=\"password\">{}</label>\n<input id=\"password\" name=\"password\" type=\"password\" \
         autocomplete=\"current-password\" required>\n<button>{}</button>\n</form>",
        words.name,
        escaped(user),
        words.password,
        words.sign_in
    )
}

fn signed_in(caller: &Caller, words: &Words) -> String {
    let name = escaped(&caller.name);
    let Known::Session { csrf } = &caller.known else {
        return format!("<p>{}</p>", fill(words.known_as, &[&name]));
    };
    format!(
        "<p>{} <strong>{name}</strong>, {} {}.</p>\n<p><a href=\"/\">{}</a></p>\n\
         <form method=\"post\" action=\"{OUT}\"><input type=\"hidden\" name=\"csrf\" value=\"{csrf}\">\
         <button>{}</button></form>",
        words.signed_in,
        words.role,
        words.role_name(caller.role),
        words.to_runoff,
        words.sign_out
    )
}

pub fn escaped(text: &str) -> String {
    text.chars().fold(String::new(), |mut out, c| {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
        out
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::model::Language;

    #[test]
    fn a_name_typed_in_cannot_become_markup() {
        let words = sign_in_words::of(Language::English);
        let page = form_text(words, "\"><script>alert(1)</script>", "no");
        assert!(!page.contains("<script") && page.contains("&quot;&gt;&lt;script&gt;"));
    }

    #[test]
    fn a_german_page_asks_and_refuses_in_german() {
        let words = sign_in_words::of(Language::German);
        let page = form_text(words, "anna", &words.refused(&SignInRefused::Wait(30)));
        for text in ["Passwort", "Anmelden", "30 s warten"] {
            assert!(page.contains(text), "{text}: {page}");
        }
        assert!(!page.contains("Password"), "{page}");
    }

    #[test]
    fn a_field_that_is_missing_is_empty_and_the_first_of_two_counts() {
        let [user, password] = fields(b"user=a%20b&user=c", ["user", "password"]);
        assert_eq!((user.as_str(), password.as_str()), ("a b", ""));
    }
}

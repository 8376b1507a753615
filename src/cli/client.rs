//! How a command reaches the running service.
//!
//! Owns the addresses of the interface and which exit code an answer amounts to; the options that say where the
//! service is are in `options`, the HTTP exchange in `exchange`. Must not know what is asked.

mod exchange;
mod options;

use hyper::body::Bytes;
use hyper::{Method, StatusCode};
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use serde::Serialize;
use serde::de::DeserializeOwned;

pub use options::ServiceOptions;

use crate::config::Configuration;
use crate::exit::{Failure, Kind};
use crate::web::wire::{BASE, ErrorBody, ServedTun, ServedTuns};
use exchange::{Answer, Exchange};

/// What stays as it is in a path segment: the unreserved characters of RFC 3986, section 2.3.
const SEGMENT: &AsciiSet = &NON_ALPHANUMERIC
    .remove(b'-')
    .remove(b'.')
    .remove(b'_')
    .remove(b'~');

/// The running service at one address.
#[derive(Debug)]
pub struct Client {
    exchange: Exchange,
    /// The tun that the options name, if they do.
    named: Option<ServedTun>,
}

impl Client {
    /// The service of a configuration, and its tun; nothing is sent yet.
    pub fn of(configuration: &Configuration) -> Result<Self, Failure> {
        let (way, tun) = options::of_configuration(configuration)?;
        Ok(Self {
            exchange: Exchange::with(&way)?,
            named: Some(tun),
        })
    }

    /// The tun the options name, or the only one that is served.
    pub fn tun(&self) -> Result<ServedTun, Failure> {
        if let Some(named) = &self.named {
            return Ok(named.clone());
        }
        let mut served = self.served()?;
        match (served.pop(), served.is_empty()) {
            (Some(only), true) => Ok(only),
            (Some(last), false) => {
                served.push(last);
                let names: Vec<String> = served.iter().map(ServedTun::to_string).collect();
                Err(Failure::new(
                    Kind::Usage,
                    format!(
                        "the service at {} serves several tuns; say which with --tun: {}",
                        self.exchange.origin(),
                        names.join(", ")
                    ),
                ))
            }
            (None, _) => Err(self.not_lauterd("it serves no tun")),
        }
    }

    /// The tun the options name, or all that are served.
    pub fn tuns(&self) -> Result<Vec<ServedTun>, Failure> {
        match &self.named {
            Some(named) => Ok(vec![named.clone()]),
            None => self.served(),
        }
    }

    fn served(&self) -> Result<Vec<ServedTun>, Failure> {
        self.get::<ServedTuns>(&format!("{BASE}/tuns"))
            .map(|served| served.tuns)
    }

    pub fn get<T: DeserializeOwned>(&self, path: &str) -> Result<T, Failure> {
        self.decoded(&self.download(path)?)
    }

    /// The body as it is.
    pub fn download(&self, path: &str) -> Result<Bytes, Failure> {
        self.accepted(self.exchange.send(&Method::GET, path, None)?)
    }

    pub fn post<T: DeserializeOwned>(
        &self,
        path: &str,
        body: &impl Serialize,
    ) -> Result<T, Failure> {
        self.decoded(&self.accepted(self.posted(path, body)?)?)
    }

    fn posted(&self, path: &str, body: &impl Serialize) -> Result<Answer, Failure> {
        let body = serde_json::to_vec(body)
            .map_err(|error| Failure::new(Kind::Data, format!("cannot be sent: {error}")))?;
        self.exchange.send(&Method::POST, path, Some(body))
    }

    /// The same for what people do. None where it was done and is not on the disk yet.
    pub fn act<T: DeserializeOwned>(
        &self,
        path: &str,
        body: &impl Serialize,
    ) -> Result<Option<T>, Failure> {
        let answer = self.posted(path, body)?;
        let refused = serde_json::from_slice::<ErrorBody>(&answer.body);
        if refused.is_ok_and(|refused| refused.done) {
            return Ok(None);
        }
        self.decoded(&self.accepted(answer)?).map(Some)
    }

    pub fn delete<T: DeserializeOwned>(&self, path: &str) -> Result<T, Failure> {
        let answer = self.exchange.send(&Method::DELETE, path, None)?;
        self.decoded(&self.accepted(answer)?)
    }

    fn decoded<T: DeserializeOwned>(&self, body: &[u8]) -> Result<T, Failure> {
        serde_json::from_slice(body).map_err(|error| self.not_lauterd(&error.to_string()))
    }

    /// The body of a success; otherwise the service's words with the exit code they amount to.
    fn accepted(&self, answer: Answer) -> Result<Bytes, Failure> {
        if answer.status.is_success() {
            return Ok(answer.body);
        }
        let Ok(body) = serde_json::from_slice::<ErrorBody>(&answer.body) else {
            return Err(self.not_lauterd(&format!("it answered with status {}", answer.status)));
        };
        Err(Failure::new(kind_of(answer.status), body.error))
    }

    fn not_lauterd(&self, why: &str) -> Failure {
        Failure::new(
            Kind::Unavailable,
            format!(
                "what answers at {} is no lauterd of this version ({why}); check --url or [web] listen",
                self.exchange.origin()
            ),
        )
    }
}

/// Data at fault is told apart from asking for what is not there or not possible now.
fn kind_of(status: StatusCode) -> Kind {
    match status {
        StatusCode::BAD_REQUEST
        | StatusCode::UNPROCESSABLE_ENTITY
        | StatusCode::PAYLOAD_TOO_LARGE => Kind::Data,
        StatusCode::SERVICE_UNAVAILABLE | StatusCode::GATEWAY_TIMEOUT => Kind::Unavailable,
        status if status.is_server_error() => Kind::Io,
        _ => Kind::Usage,
    }
}

/// What follows the words for an act that `Client::act` has done.
pub fn kept<T>(answer: Option<&T>) -> &'static str {
    match answer {
        Some(_) => "",
        None => {
            "; the record cannot be written now: it is done, kept in memory, and written as soon as it can be, do not do it again"
        }
    }
}

/// Path of a tun, and below it of `segments`.
pub fn tun_path(tun: &ServedTun, segments: &[&str]) -> String {
    let mut path = format!("{BASE}/tuns");
    for segment in [tun.site.as_str(), tun.tun.as_str()].iter().chain(segments) {
        path.push('/');
        path.extend(utf8_percent_encode(segment, SEGMENT));
    }
    path
}

/// `text` as a value in a query.
pub fn query_value(text: &str) -> String {
    utf8_percent_encode(text, SEGMENT).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_in_a_path_are_encoded_segment_by_segment() {
        let tun = ServedTun {
            site: "Süd 1".to_owned(),
            tun: "tun?#%".to_owned(),
        };
        assert_eq!(
            tun_path(&tun, &["brews", "2026-0412", "a b"]),
            "/api/v1/tuns/S%C3%BCd%201/tun%3F%23%25/brews/2026-0412/a%20b"
        );
    }

    #[test]
    fn the_exit_code_tells_whose_fault_it_is() {
        for (status, kind) in [
            (400, Kind::Data),
            (422, Kind::Data),
            (413, Kind::Data),
            (404, Kind::Usage),
            (409, Kind::Usage),
            (410, Kind::Usage),
            (421, Kind::Usage),
            (500, Kind::Io),
            (503, Kind::Unavailable),
            (504, Kind::Unavailable),
        ] {
            assert_eq!(
                kind_of(StatusCode::from_u16(status).unwrap()),
                kind,
                "{status}"
            );
        }
    }
}

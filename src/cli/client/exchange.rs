//! One HTTP request and its answer, bounded in time and size.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use http_body_util::{BodyExt as _, Full, Limited};
use hyper::body::Bytes;
use hyper::client::conn::http1;
use hyper::header::{AUTHORIZATION, CONTENT_TYPE, HOST};
use hyper::{Method, Request, StatusCode};
use hyper_util::rt::TokioIo;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio::time;
use url::{Position, Url};

use crate::exit::{Failure, Kind};

/// A service on this network answers a connection in milliseconds.
const CONNECT_TIMEOUT: Duration = Duration::from_secs(5);

/// Longer than the service gives itself for an answer, so that its own words arrive.
const ANSWER_TIMEOUT: Duration = Duration::from_secs(45);

/// Largest answer taken, bytes: several times the readings of a long brew with many instruments.
const ANSWER_BOUND: usize = 256 * 1024 * 1024;

/// The way to one service.
#[derive(Debug)]
pub struct Exchange {
    runtime: tokio::runtime::Runtime,
    host: String,
    port: u16,
    /// `host:port` as the URL has it.
    authority: String,
    /// None: what travels is not encrypted.
    tls: Option<Tls>,
    token: Option<String>,
}

/// How an encrypted connection is checked.
struct Tls {
    connector: tokio_native_tls::TlsConnector,
    /// The name that the certificate must bear.
    name: String,
}

impl std::fmt::Debug for Tls {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "TLS with {}", self.name)
    }
}

/// Where the service is and how it is spoken to.
#[derive(Debug)]
pub struct Way {
    pub url: Url,
    /// The name its certificate bears, where it is not the URL's host.
    pub name: Option<String>,
    /// PEM of the authority that signed its certificate; without it the system's authorities.
    pub authority: Option<PathBuf>,
    /// PEM of the service's own certificate, which is trusted beside them if it signed itself.
    pub own_certificate: Option<PathBuf>,
    /// File of the token that is sent.
    pub token: Option<PathBuf>,
}

/// What came back.
#[derive(Debug)]
pub struct Answer {
    pub status: StatusCode,
    pub body: Bytes,
}

impl Exchange {
    pub fn with(way: &Way) -> Result<Self, Failure> {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(|error| Failure::new(Kind::Io, format!("cannot start: {error}")))?;
        let url = &way.url;
        let host = url.host_str().unwrap_or_default().trim_matches(['[', ']']);
        let tls = if url.scheme() == "https" {
            Some(Tls {
                connector: connector(way)?,
                name: way.name.clone().unwrap_or_else(|| host.to_owned()),
            })
        } else {
            None
        };
        Ok(Self {
            runtime,
            host: host.to_owned(),
            port: url.port_or_known_default().unwrap_or(80),
            authority: url[Position::BeforeHost..Position::AfterPort].to_owned(),
            tls,
            token: way.token.as_deref().map(token).transpose()?,
        })
    }

    /// The service's address as messages name it.
    pub fn origin(&self) -> String {
        let scheme = if self.tls.is_some() { "https" } else { "http" };
        format!("{scheme}://{}", self.authority)
    }

    /// Sends a request, with `body` as JSON, and waits for the whole answer.
    pub fn send(
        &self,
        method: &Method,
        path: &str,
        body: Option<Vec<u8>>,
    ) -> Result<Answer, Failure> {
        self.runtime.block_on(async {
            let stream = self.connect().await?;
            let exchanged = async {
                match &self.tls {
                    None => self.converse(stream, method, path, body).await,
                    Some(tls) => {
                        let stream = tls
                            .connector
                            .connect(&tls.name, stream)
                            .await
                            .map_err(|error| self.untrusted(&error))?;
                        self.converse(stream, method, path, body).await
                    }
                }
            };
            time::timeout(ANSWER_TIMEOUT, exchanged)
                .await
                .unwrap_or_else(|_| {
                    let limit = ANSWER_TIMEOUT.as_secs();
                    Err(self.unreachable(&format!("no answer within {limit} s")))
                })
        })
    }

    async fn connect(&self) -> Result<TcpStream, Failure> {
        let connecting = TcpStream::connect((self.host.as_str(), self.port));
        match time::timeout(CONNECT_TIMEOUT, connecting).await {
            Ok(Ok(stream)) => Ok(stream),
            Ok(Err(error)) => Err(self.unreachable(&error.to_string())),
            Err(_) => {
                let limit = CONNECT_TIMEOUT.as_secs();
                Err(self.unreachable(&format!("no connection within {limit} s")))
            }
        }
    }

    async fn converse<S>(
        &self,
        stream: S,
        method: &Method,
        path: &str,
        body: Option<Vec<u8>>,
    ) -> Result<Answer, Failure>
    where
        S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
    {
        let broken = |error: &dyn std::fmt::Display| self.unreachable(&error.to_string());
        let (mut sender, connection) = http1::handshake(TokioIo::new(stream))
            .await
            .map_err(|error| broken(&error))?;
        // It ends with the answer, or with the runtime; its error shows in the answer.
        tokio::spawn(connection);
        let request = self.request(method, path, body)?;
        let answer = sender
            .send_request(request)
            .await
            .map_err(|error| broken(&error))?;
        let status = answer.status();
        let body = Limited::new(answer.into_body(), ANSWER_BOUND)
            .collect()
            .await
            .map_err(|error| broken(&error))?
            .to_bytes();
        Ok(Answer { status, body })
    }

    fn request(
        &self,
        method: &Method,
        path: &str,
        body: Option<Vec<u8>>,
    ) -> Result<Request<Full<Bytes>>, Failure> {
        let mut request = Request::builder()
            .method(method)
            .uri(path)
            .header(HOST, &self.authority);
        if let Some(token) = &self.token {
            request = request.header(AUTHORIZATION, format!("Bearer {token}"));
        }
        if body.is_some() {
            request = request.header(CONTENT_TYPE, "application/json");
        }
        request
            .body(Full::new(body.unwrap_or_default().into()))
            .map_err(|error| {
                Failure::new(Kind::Usage, format!("{path} cannot be asked for: {error}"))
            })
    }

    fn untrusted(&self, error: &native_tls::Error) -> Failure {
        Failure::new(
            Kind::Unavailable,
            format!(
                "no encrypted connection to {}: {error}; where a private authority signed its certificate, name that \
                 one with --ca-file, and check that the certificate bears the name",
                self.origin()
            ),
        )
    }

    fn unreachable(&self, why: &str) -> Failure {
        Failure::new(
            Kind::Unavailable,
            format!(
                "no lauterd answers at {} ({why}); is lauterd running? Start it, or say where it is with --config or \
                 --url",
                self.origin()
            ),
        )
    }
}

/// With an authority of its own the connection trusts that one and no other.
fn connector(way: &Way) -> Result<tokio_native_tls::TlsConnector, Failure> {
    let mut builder = native_tls::TlsConnector::builder();
    builder.min_protocol_version(Some(native_tls::Protocol::Tlsv12));
    let wrong = |error: &native_tls::Error| {
        Failure::new(
            Kind::Configuration,
            format!("the authority's certificate cannot be used: {error}"),
        )
    };
    // Whoever may not read it must do with the authorities.
    let own = way
        .own_certificate
        .as_ref()
        .and_then(|path| fs::read(path).ok());
    let own = own.and_then(|pem| native_tls::Certificate::stack_from_pem(&pem).ok());
    for certificate in own.into_iter().flatten() {
        builder.add_root_certificate(certificate);
    }
    if let Some(path) = &way.authority {
        let pem = fs::read(path)
            .map_err(|error| Failure::new(Kind::NoInput, format!("{}: {error}", path.display())))?;
        builder.disable_built_in_roots(true);
        for certificate in
            native_tls::Certificate::stack_from_pem(&pem).map_err(|error| wrong(&error))?
        {
            builder.add_root_certificate(certificate);
        }
    }
    Ok(builder.build().map_err(|error| wrong(&error))?.into())
}

fn token(path: &Path) -> Result<String, Failure> {
    let text = fs::read_to_string(path)
        .map_err(|error| Failure::new(Kind::NoInput, format!("{}: {error}", path.display())))?;
    let token = text.trim();
    if token.is_empty() || !token.bytes().all(|byte| byte.is_ascii_graphic()) {
        return Err(Failure::new(
            Kind::Data,
            format!("{}: needed is one token and nothing else", path.display()),
        ));
    }
    Ok(token.to_owned())
}

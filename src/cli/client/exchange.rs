//! One HTTP request and its answer, bounded in time and size.

use std::time::Duration;

use http_body_util::{BodyExt as _, Full, Limited};
use hyper::body::Bytes;
use hyper::client::conn::http1;
use hyper::header::{CONTENT_TYPE, HOST};
use hyper::{Method, Request, StatusCode};
use hyper_util::rt::TokioIo;
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
}

/// What came back.
#[derive(Debug)]
pub struct Answer {
    pub status: StatusCode,
    pub body: Bytes,
}

impl Exchange {
    pub fn with(url: &Url) -> Result<Self, Failure> {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(|error| Failure::new(Kind::Io, format!("cannot start: {error}")))?;
        let host = url.host_str().unwrap_or_default();
        Ok(Self {
            runtime,
            host: host.trim_matches(['[', ']']).to_owned(),
            port: url.port_or_known_default().unwrap_or(80),
            authority: url[Position::BeforeHost..Position::AfterPort].to_owned(),
        })
    }

    /// The service's address as messages name it.
    pub fn origin(&self) -> String {
        format!("http://{}", self.authority)
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
            time::timeout(ANSWER_TIMEOUT, self.converse(stream, method, path, body))
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

    async fn converse(
        &self,
        stream: TcpStream,
        method: &Method,
        path: &str,
        body: Option<Vec<u8>>,
    ) -> Result<Answer, Failure> {
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
        if body.is_some() {
            request = request.header(CONTENT_TYPE, "application/json");
        }
        request
            .body(Full::new(body.unwrap_or_default().into()))
            .map_err(|error| {
                Failure::new(Kind::Usage, format!("{path} cannot be asked for: {error}"))
            })
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

//! What both MQTT adapters need to reach a broker.
//!
//! Owns how a connection is built from `[mqtt]` (address, credentials, TLS, limits), what a failed connection
//! means, and how long to wait before the next one. It knows neither readings nor messages: the adapters
//! that read instruments and that publish share this file and nothing else.
//!
//! Every connection is built afresh and asks for a clean session. State that outlives a connection is then in
//! one place only, the program's own: the instruments' subscriptions are renewed after each acceptance, and the
//! publisher's window is sent again from its oldest unacknowledged row. A session kept by the broker would also
//! hand over, after an outage, a backlog of old readings as if they were measured now.

use std::io;
use std::net::Ipv6Addr;
use std::path::PathBuf;
use std::time::Duration;

use rumqttc::tokio_native_tls::native_tls;
use rumqttc::{
    AsyncClient, Broker, ConnectReturnCode, ConnectionError, EventLoop, LastWill, MqttOptions,
    TlsConfiguration, Transport,
};

use crate::config::model::Mqtt;

/// The tuning of broker connections.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parameters {
    /// Mean of the first wait after a failed connection, s; 0.1–10. Chosen: one operator's blink.
    pub first_wait_s: f64,
    /// Longest wait between two attempts, s; 5–300. Chosen: a repaired broker is found within half a minute.
    pub longest_wait_s: f64,
    /// A connection that lasted this long starts the waits anew, s; 5–300. Chosen: two programs with the same
    /// client id throw each other out at once, and must not do so at full speed.
    pub steady_after_s: f64,
    /// Limit on connecting, and on writing to a broker that does not read, s; 2–60. Chosen.
    pub connect_timeout_s: u64,
    /// Largest packet either way, bytes; 64 Ki–16 Mi. Chosen: the library's 10 KiB is less than one gateway's
    /// collected readings, and a larger packet costs the whole connection.
    pub packet_limit_bytes: usize,
    /// Requests handled before the socket is flushed; 1–64. Chosen.
    pub request_batch: usize,
}

pub const PARAMETERS: Parameters = Parameters {
    first_wait_s: 0.5,
    longest_wait_s: 30.0,
    steady_after_s: 20.0,
    connect_timeout_s: 5,
    packet_limit_bytes: 1024 * 1024,
    request_batch: 16,
};

/// Whether waiting helps.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
pub enum FaultKind {
    /// The broker refuses user name, password or rights: a person has to act.
    Unauthorised,
    /// Something in `[mqtt]` cannot work: a person has to act.
    Configuration,
    /// The broker or the way to it is down; trying again may help.
    Transient,
}

/// Why there is no connection, in words for the log and the alarm's evidence.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Fault {
    pub kind: FaultKind,
    pub detail: String,
}

impl Fault {
    pub fn transient(detail: impl Into<String>) -> Self {
        Self {
            kind: FaultKind::Transient,
            detail: detail.into(),
        }
    }

    /// True when no amount of waiting will help: a configuration alarm.
    pub fn needs_a_person(&self) -> bool {
        self.kind != FaultKind::Transient
    }
}

/// A connection that cannot even be attempted.
#[derive(Debug, thiserror::Error)]
pub enum PrepareError {
    #[error("mqtt.ca_file: {path}: {source}; name a readable PEM file")]
    UnreadableAuthority { path: PathBuf, source: io::Error },
    #[error("mqtt.ca_file: {path}: {source}; it must hold certificates in PEM form")]
    BadAuthority {
        path: PathBuf,
        source: native_tls::Error,
    },
    #[error("mqtt.ca_file: {path}: no certificate in it; it must hold certificates in PEM form")]
    EmptyAuthority { path: PathBuf },
    #[error("mqtt.tls: the system's TLS library cannot start: {0}")]
    Tls(#[from] native_tls::Error),
}

impl From<PrepareError> for Fault {
    fn from(error: PrepareError) -> Self {
        Self {
            kind: FaultKind::Configuration,
            detail: error.to_string(),
        }
    }
}

/// What distinguishes one adapter's connection from the other's.
#[derive(Debug)]
pub struct Line {
    pub client_id: String,
    pub last_will: Option<LastWill>,
    /// Requests that may wait for the event loop.
    pub requests: usize,
    /// Largest number of unacknowledged publishes.
    pub in_flight: u16,
}

/// A client and its event loop, not yet connected: the first `poll` connects. The authority's file is read each
/// time, so that a renewed certificate needs no restart.
pub async fn open(mqtt: &Mqtt, line: Line) -> Result<(AsyncClient, EventLoop), PrepareError> {
    let transport = if mqtt.tls {
        Transport::tls_with_config(TlsConfiguration::NativeConnector(
            tls_connector(mqtt).await?,
        ))
    } else {
        Transport::tcp()
    };
    let requests = line.requests;
    let (client, mut event_loop) = AsyncClient::builder(options(mqtt, line, transport))
        .capacity(requests)
        .build();
    event_loop
        .network_options
        .set_connection_timeout(PARAMETERS.connect_timeout_s)
        // Else an alarm that follows a reading waits for the acknowledgement of its packet, which a receiver may hold
        // back 40 ms and more (RFC 1122, section 4.2.3.2; RFC 896).
        .set_tcp_nodelay(true);
    Ok((client, event_loop))
}

fn options(mqtt: &Mqtt, line: Line, transport: Transport) -> MqttOptions {
    let host = if mqtt.host.parse::<Ipv6Addr>().is_ok() {
        format!("[{}]", mqtt.host)
    } else {
        mqtt.host.clone()
    };
    let mut options = MqttOptions::new(line.client_id, Broker::tcp(host, mqtt.port));
    options
        .set_transport(transport)
        .set_keep_alive(keep_alive_s(mqtt))
        .set_clean_session(true)
        .set_inflight(line.in_flight)
        .set_max_request_batch(PARAMETERS.request_batch)
        .set_max_packet_size(PARAMETERS.packet_limit_bytes, PARAMETERS.packet_limit_bytes);
    match (&mqtt.username, &mqtt.password) {
        (Some(username), Some(password)) => {
            options.set_credentials(username.clone(), password.0.clone());
        }
        (Some(username), None) => {
            options.set_username(username.clone());
        }
        (None, _) => {}
    }
    if let Some(last_will) = line.last_will {
        options.set_last_will(last_will);
    }
    options
}

fn keep_alive_s(mqtt: &Mqtt) -> u16 {
    mqtt.keep_alive.as_secs().clamp(1, u64::from(u16::MAX)) as u16
}

/// Longest time a working event loop stays silent: it sends a ping every keep-alive, and fails when the last
/// one was not answered. Beyond this it hangs in a write that has no limit of its own.
pub fn silence_limit(mqtt: &Mqtt) -> Duration {
    Duration::from_secs(2 * u64::from(keep_alive_s(mqtt)) + PARAMETERS.connect_timeout_s)
}

/// With an authority of its own the connection trusts that one and no other.
async fn tls_connector(mqtt: &Mqtt) -> Result<native_tls::TlsConnector, PrepareError> {
    let mut builder = native_tls::TlsConnector::builder();
    if let Some(path) = &mqtt.ca_file {
        let pem =
            tokio::fs::read(path)
                .await
                .map_err(|source| PrepareError::UnreadableAuthority {
                    path: path.clone(),
                    source,
                })?;
        let certificates = native_tls::Certificate::stack_from_pem(&pem).map_err(|source| {
            PrepareError::BadAuthority {
                path: path.clone(),
                source,
            }
        })?;
        if certificates.is_empty() {
            return Err(PrepareError::EmptyAuthority { path: path.clone() });
        }
        builder.disable_built_in_roots(true);
        for certificate in certificates {
            builder.add_root_certificate(certificate);
        }
    }
    Ok(builder.build()?)
}

/// What a failed connection means and what to do about it.
pub fn classify(error: &ConnectionError, mqtt: &Mqtt) -> Fault {
    let address = format!("{}:{}", mqtt.host, mqtt.port);
    let (kind, detail) = match error {
        ConnectionError::ConnectionRefused(code) => refusal(*code, &address),
        ConnectionError::Tls(error) => (
            FaultKind::Transient,
            format!(
                "{address}: TLS: {error}; check mqtt.ca_file, the broker's certificate and both clocks"
            ),
        ),
        ConnectionError::NetworkTimeout => (
            FaultKind::Transient,
            format!(
                "{address}: no answer within {} s; check mqtt.host, mqtt.port and the network",
                PARAMETERS.connect_timeout_s
            ),
        ),
        other => (FaultKind::Transient, format!("{address}: {other}")),
    };
    Fault { kind, detail }
}

fn refusal(code: ConnectReturnCode, address: &str) -> (FaultKind, String) {
    match code {
        ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => (
            FaultKind::Unauthorised,
            format!(
                "{address}: the broker refuses this user name and password; check mqtt.username, the \
                 password's file and the broker's list of users"
            ),
        ),
        ConnectReturnCode::BadClientId => (
            FaultKind::Configuration,
            format!("{address}: the broker refuses the client id; check mqtt.client_id"),
        ),
        ConnectReturnCode::RefusedProtocolVersion => (
            FaultKind::Configuration,
            format!("{address}: the broker does not speak MQTT 3.1.1"),
        ),
        ConnectReturnCode::ServiceUnavailable | ConnectReturnCode::Success => (
            FaultKind::Transient,
            format!("{address}: the broker is not available"),
        ),
    }
}

/// Growing, jittered waits between attempts, so that a returning broker is not stormed by all its clients.
#[derive(Clone, Debug, Default)]
pub struct BackOff {
    failures: u32,
}

impl BackOff {
    /// The wait after one more failed or lost connection that had lasted `lasted_s` (0 if it never came up).
    pub fn after(&mut self, lasted_s: f64) -> Duration {
        if lasted_s >= PARAMETERS.steady_after_s {
            self.failures = 0;
        }
        let wait = wait_s(self.failures, fastrand::f64());
        self.failures = self.failures.saturating_add(1);
        Duration::from_secs_f64(wait)
    }
}

/// `jitter` from 0 to 1 spreads the wait over half to one and a half times its mean.
fn wait_s(failures: u32, jitter: f64) -> f64 {
    let doublings = i32::try_from(failures.min(20)).unwrap_or(20);
    let mean = (PARAMETERS.first_wait_s * 2f64.powi(doublings)).min(PARAMETERS.longest_wait_s);
    (mean * (0.5 + jitter)).min(PARAMETERS.longest_wait_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::model::Secret;
    use proptest::prelude::*;

    fn mqtt() -> Mqtt {
        Mqtt {
            host: "broker.invalid".to_owned(),
            port: 1883,
            client_id: "lauterd-tun-1".to_owned(),
            username: Some("tun-1".to_owned()),
            password: Some(Secret("hush".to_owned())),
            tls: false,
            ca_file: None,
            keep_alive: Duration::from_secs(20),
            publish: true,
            reading_every: Duration::from_secs(1),
            overview: false,
            commands: false,
        }
    }

    #[test]
    fn refused_credentials_need_a_person_and_a_closed_port_does_not() {
        let refused = ConnectionError::ConnectionRefused(ConnectReturnCode::NotAuthorized);
        let fault = classify(&refused, &mqtt());
        assert_eq!(fault.kind, FaultKind::Unauthorised);
        assert!(fault.needs_a_person());
        assert!(fault.detail.contains("mqtt.username"), "{}", fault.detail);
        assert!(!fault.detail.contains("hush"));

        let wrong = ConnectionError::ConnectionRefused(ConnectReturnCode::BadUserNamePassword);
        assert_eq!(classify(&wrong, &mqtt()).kind, FaultKind::Unauthorised);

        let closed = ConnectionError::Io(io::ErrorKind::ConnectionRefused.into());
        assert!(!classify(&closed, &mqtt()).needs_a_person());
    }

    #[tokio::test]
    async fn a_missing_authority_file_is_named_with_its_key() {
        let mut mqtt = mqtt();
        mqtt.tls = true;
        mqtt.ca_file = Some(PathBuf::from("/nowhere/authority.pem"));
        let line = Line {
            client_id: mqtt.client_id.clone(),
            last_will: None,
            requests: 4,
            in_flight: 4,
        };
        let fault = Fault::from(open(&mqtt, line).await.err().expect("no such file"));
        assert_eq!(fault.kind, FaultKind::Configuration);
        assert!(
            fault
                .detail
                .starts_with("mqtt.ca_file: /nowhere/authority.pem")
        );
    }

    #[test]
    fn a_lasting_connection_starts_the_waits_anew() {
        let mut back_off = BackOff::default();
        for _ in 0..10 {
            back_off.after(0.0);
        }
        let wait = back_off.after(PARAMETERS.steady_after_s);
        assert!(wait.as_secs_f64() <= 1.5 * PARAMETERS.first_wait_s);
    }

    proptest! {
        #[test]
        fn waits_grow_but_stay_within_their_bounds(failures in 0u32..1000, jitter in 0.0f64..1.0) {
            let wait = wait_s(failures, jitter);
            prop_assert!(wait >= 0.5 * PARAMETERS.first_wait_s);
            prop_assert!(wait <= PARAMETERS.longest_wait_s);
            prop_assert!(wait_s(failures + 1, jitter) >= wait);
        }
    }
}

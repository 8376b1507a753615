//! Which broker is meant, as the command line says it.

use std::path::PathBuf;
use std::time::Duration;

use clap::Args;

use crate::config;
use crate::config::model::{Mqtt, Secret};
use crate::exit::{Failure, Kind};

/// How the broker is reached
#[derive(Clone, Debug, Default, Args)]
pub struct BrokerOptions {
    /// The broker; without it that of --config
    #[arg(long, value_name = "HOST:PORT")]
    pub broker: Option<String>,
    /// User name at the broker
    #[arg(long, value_name = "NAME", requires = "broker")]
    user: Option<String>,
    /// File with the user's password, in one line
    #[arg(long, value_name = "FILE", requires = "user")]
    password_file: Option<PathBuf>,
    /// Encrypts the connection
    #[arg(long, requires = "broker")]
    tls: bool,
    /// PEM file of the authority that signed the broker's certificate; without it the system's are trusted
    #[arg(long, value_name = "FILE", requires = "tls")]
    ca_file: Option<PathBuf>,
}

impl BrokerOptions {
    /// The broker that is named, or else that of the configuration; None where neither names one.
    pub fn settings(&self, configured: Option<&Mqtt>) -> Result<Option<Mqtt>, Failure> {
        let Some(broker) = &self.broker else {
            return Ok(configured.cloned());
        };
        let (host, port) = split(broker).ok_or_else(|| {
            Failure::new(
                Kind::Usage,
                format!("--broker {broker}: give HOST:PORT, for example 192.0.2.20:1883"),
            )
        })?;
        let password = self.password_file.as_ref().map(|path| {
            let text = std::fs::read_to_string(path).map_err(|error| {
                let path = path.display();
                Failure::new(Kind::NoInput, format!("{path}: cannot be read: {error}"))
            })?;
            Ok::<_, Failure>(Secret(text.trim_end_matches(['\r', '\n']).to_owned()))
        });
        Ok(Some(Mqtt {
            host,
            port,
            client_id: "lauterd".to_owned(),
            username: self.user.clone(),
            password: password.transpose()?,
            tls: self.tls,
            ca_file: self.ca_file.clone(),
            keep_alive: Duration::from_secs(20),
            publish: true,
            reading_every: Duration::from_secs(1),
            commands: false,
            overview: false,
        }))
    }

    /// As [`settings`](Self::settings), from the file of a configuration.
    pub fn of_file(&self, file: Option<&std::path::Path>) -> Result<Mqtt, Failure> {
        let configuration = match file {
            // Its secrets are needed only where its own broker is meant.
            Some(path) if self.broker.is_none() => Some(config::load(path)?),
            _ => None,
        };
        let configured = configuration.as_ref().and_then(|file| file.mqtt.as_ref());
        self.settings(configured)?.ok_or_else(|| {
            let words =
                "say which broker: --broker HOST:PORT, or --config with a file that has [mqtt]";
            Failure::new(Kind::Usage, words)
        })
    }
}

/// Host and port; a host in brackets is an IPv6 address.
fn split(text: &str) -> Option<(String, u16)> {
    let (host, port) = text.rsplit_once(':')?;
    let host = host.trim_start_matches('[').trim_end_matches(']');
    (!host.is_empty()).then_some((host.to_owned(), port.parse().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_broker_is_a_host_and_a_port() {
        let host = |text| split(text).map(|(host, port)| format!("{host} {port}"));
        assert_eq!(host("192.0.2.20:1883").as_deref(), Some("192.0.2.20 1883"));
        assert_eq!(
            host("[2001:db8::1]:8883").as_deref(),
            Some("2001:db8::1 8883")
        );
        for wrong in ["192.0.2.20", ":1883", "host:", "host:70000"] {
            assert_eq!(split(wrong), None, "{wrong}");
        }
    }
}

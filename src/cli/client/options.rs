//! Where the service is: the options every command that asks it has.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::PathBuf;

use clap::Args;
use url::Url;

use super::Client;
use super::exchange::{Exchange, Way};
use crate::config::{self, Configuration};
use crate::exit::{Failure, Kind};
use crate::web::wire::ServedTun;

/// Where a service listens that was not told otherwise.
const DEFAULT_URL: &str = "http://127.0.0.1:8780";

/// Where the running service is
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Service")]
pub struct ServiceOptions {
    /// The service's configuration file: its [web] listen, site and tun are used
    #[arg(long, global = true, value_name = "FILE", conflicts_with = "url")]
    config: Option<PathBuf>,
    /// Address of the service [default: http://127.0.0.1:8780]
    #[arg(long, global = true, value_name = "URL", value_parser = url)]
    url: Option<Url>,
    /// File with the token this command is known by [default: lauterd/token in the configuration directory of the
    /// user, if it is there]
    #[arg(long, global = true, value_name = "FILE")]
    token_file: Option<PathBuf>,
    /// PEM file of the authority that signed the service's certificate [default: the system's authorities; with
    /// --config also the certificate named there]
    #[arg(long, global = true, value_name = "FILE")]
    ca_file: Option<PathBuf>,
    /// The tun, when the service serves several
    #[arg(long, global = true, value_name = "SITE/TUN", value_parser = tun)]
    tun: Option<ServedTun>,
}

impl ServiceOptions {
    /// The configuration, if the options name one.
    pub fn configuration(&self) -> Result<Option<Configuration>, Failure> {
        let file = self.config.as_ref();
        Ok(file.map(|file| config::load_offline(file)).transpose()?)
    }

    /// The service; nothing is sent yet.
    pub fn client(&self) -> Result<Client, Failure> {
        let (mut way, configured) = match (&self.config, &self.url) {
            (Some(file), _) => {
                let (way, tun) = of_configuration(&config::load_offline(file)?)?;
                (way, Some(tun))
            }
            (None, Some(url)) => (Way::to(url.clone()), None),
            (None, None) => (Way::to(parsed(DEFAULT_URL)?), None),
        };
        if let Some(file) = &self.ca_file {
            way.authority = Some(file.clone());
            way.own_certificate = None;
        }
        if let Some(file) = &self.token_file {
            way.token = Some(file.clone());
        }
        Ok(Client {
            exchange: Exchange::with(&way)?,
            named: self.tun.clone().or(configured),
        })
    }
}

impl Way {
    fn to(url: Url) -> Self {
        Self {
            url,
            name: None,
            authority: None,
            own_certificate: None,
            token: own_token(),
        }
    }
}

/// The token a person or program has set up for all commands.
fn own_token() -> Option<PathBuf> {
    let directory = match std::env::var_os("XDG_CONFIG_HOME") {
        Some(directory) if !directory.is_empty() => PathBuf::from(directory),
        _ => PathBuf::from(std::env::var_os("HOME")?).join(".config"),
    };
    Some(directory.join("lauterd/token")).filter(|file| file.is_file())
}

pub(super) fn of_configuration(configuration: &Configuration) -> Result<(Way, ServedTun), Failure> {
    let web = &configuration.web;
    if !web.enabled {
        return Err(Failure::new(
            Kind::Configuration,
            format!(
                "{}: web.enabled is false; the commands reach the service through it, so set it to true and restart \
                 the service",
                configuration.file.display()
            ),
        ));
    }
    let address = reachable(web.listen);
    let tun = ServedTun {
        site: configuration.site.clone(),
        tun: configuration.tun.name.clone(),
    };
    let scheme = if web.certificate.is_some() {
        "https"
    } else {
        "http"
    };
    let way = Way {
        name: web.host_name.clone(),
        own_certificate: web
            .certificate
            .as_ref()
            .map(|certificate| certificate.chain.clone()),
        ..Way::to(parsed(&format!("{scheme}://{address}"))?)
    };
    Ok((way, tun))
}

/// Who listens on every address is reached on the loopback.
fn reachable(listen: SocketAddr) -> SocketAddr {
    let ip = match listen.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => Ipv4Addr::LOCALHOST.into(),
        IpAddr::V6(ip) if ip.is_unspecified() => Ipv6Addr::LOCALHOST.into(),
        ip => ip,
    };
    SocketAddr::new(ip, listen.port())
}

fn parsed(text: &str) -> Result<Url, Failure> {
    url(text).map_err(|message| Failure::new(Kind::Usage, format!("{text}: {message}")))
}

fn url(text: &str) -> Result<Url, String> {
    let url = Url::parse(text)
        .map_err(|error| format!("{error}; needed is an address such as {DEFAULT_URL}"))?;
    let plain = url.path() == "/" && url.query().is_none() && url.fragment().is_none();
    let scheme = matches!(url.scheme(), "http" | "https");
    if !scheme || !url.has_host() || !url.username().is_empty() || !plain {
        return Err(format!(
            "needed is http or https, a host and a port, such as {DEFAULT_URL}"
        ));
    }
    Ok(url)
}

fn tun(text: &str) -> Result<ServedTun, String> {
    match text.split_once('/') {
        Some((site, tun)) if !site.is_empty() && !tun.is_empty() && !tun.contains('/') => {
            Ok(ServedTun {
                site: site.to_owned(),
                tun: tun.to_owned(),
            })
        }
        _ => Err("needed is SITE/TUN, such as north-yard/tun-1".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_http_or_https_with_host_and_port_and_nothing_else() {
        for text in [
            "http://127.0.0.1:8780",
            "http://[::1]:80/",
            "http://brewhouse",
            "https://brewhouse:8780",
        ] {
            assert!(url(text).is_ok(), "{text}");
        }
        for text in [
            "127.0.0.1:8780",
            "ftp://x",
            "http://x/api",
            "http://u@x",
            "http://x?y",
            "",
        ] {
            assert!(url(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_tun_is_named_with_its_site() {
        let named = tun("north-yard/tun-1").unwrap();
        assert_eq!(
            (named.site.as_str(), named.tun.as_str()),
            ("north-yard", "tun-1")
        );
        for text in ["tun-1", "/tun-1", "a/", "a/b/c", ""] {
            assert!(tun(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_service_on_every_address_is_reached_on_the_loopback() {
        for (listen, expected) in [
            ("0.0.0.0:8780", "127.0.0.1:8780"),
            ("[::]:8780", "[::1]:8780"),
            ("192.0.2.5:80", "192.0.2.5:80"),
        ] {
            assert_eq!(reachable(listen.parse().unwrap()).to_string(), expected);
        }
    }
}

//! The page and who may reach it.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::time::Duration;

use super::super::Surroundings;
use super::super::faults::Faults;
use super::super::key_path::KeyPath;
use super::super::model::{Certificate, DecimalMark, Display, Language, Web};
use super::super::tables::{RootTable, WebTable};

pub fn web(root: &RootTable, surroundings: &Surroundings, faults: &mut Faults) -> Option<Web> {
    let at = KeyPath::default().key("web");
    let table = root.web.as_ref()?;
    let certificate = certificate(table, surroundings, &at, faults);
    let listen: SocketAddr = table.listen.as_ref()?.parse().ok()?;
    if table.users_file.is_some() && certificate.is_none() && !listen.ip().is_loopback() {
        let message = "is given, and the page can be reached from the network: passwords and tokens would cross it \
                       in the clear; give certificate_file and key_file too, or listen on the loopback";
        faults.add(&at.key("users_file"), message);
    }
    Some(Web {
        enabled: table.enabled?,
        listen,
        host_name: table.host_name.clone(),
        users_file: table.users_file.as_ref().map(Into::into),
        url: url(table, listen, certificate.is_some()),
        fleet: fleet(root, table.fleet?, faults),
        certificate,
        session: Duration::from_secs_f64(3600.0 * table.session_h?),
        watch_session: Duration::from_secs_f64(3600.0 * table.watch_session_h?),
        display: display(table)?,
    })
}

fn fleet(root: &RootTable, fleet: bool, faults: &mut Faults) -> bool {
    if fleet && root.mqtt.is_none() {
        let message = "needs the table [mqtt]: the broker tells of the tuns";
        faults.add(&KeyPath::default().key("web").key("fleet"), message);
    }
    fleet
}

/// The given one, or what follows from the name and port; None where the page is for this machine alone.
fn url(table: &WebTable, listen: SocketAddr, encrypted: bool) -> Option<String> {
    if let Some(url) = &table.url {
        return Some(url.trim_end_matches('/').to_owned());
    }
    let scheme = if encrypted { "https" } else { "http" };
    let host = match &table.host_name {
        Some(name) => name.clone(),
        None if listen.ip().is_loopback() || listen.ip().is_unspecified() => return None,
        None if listen.is_ipv6() => format!("[{}]", listen.ip()),
        None => listen.ip().to_string(),
    };
    Some(format!("{scheme}://{host}:{}", listen.port()))
}

fn display(web: &WebTable) -> Option<Display> {
    let language = web.language?;
    let usual = match language {
        Language::English => DecimalMark::Point,
        Language::German => DecimalMark::Comma,
    };
    Some(Display {
        language,
        gravity: web.gravity?,
        volume: web.volume?,
        decimal: web.decimal.unwrap_or(usual),
    })
}

fn certificate(
    table: &WebTable,
    surroundings: &Surroundings,
    at: &KeyPath,
    faults: &mut Faults,
) -> Option<Certificate> {
    let key: Option<PathBuf> = match (&table.key_file, &table.key_credential) {
        (Some(_), Some(_)) => {
            let message = "key_file is given too; give one of them";
            faults.add(&at.key("key_credential"), message);
            None
        }
        (Some(file), None) => Some(file.into()),
        // Where it is not known, the service says so when it starts.
        (None, Some(credential)) => Some(
            surroundings
                .credentials_directory
                .clone()
                .unwrap_or_default()
                .join(credential),
        ),
        (None, None) => None,
    };
    match (&table.certificate_file, key) {
        (Some(_), None) => {
            let message = "has no private key: give key_file or key_credential too";
            faults.add(&at.key("certificate_file"), message);
            None
        }
        (None, Some(_)) => {
            let message = "is missing; a private key needs its certificate";
            faults.add(&at.key("certificate_file"), message);
            None
        }
        (Some(chain), Some(key)) => Some(Certificate {
            chain: chain.into(),
            key,
        }),
        (None, None) => None,
    }
}

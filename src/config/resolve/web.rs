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
        certificate,
        session: Duration::from_secs_f64(3600.0 * table.session_h?),
        watch_session: Duration::from_secs_f64(3600.0 * table.watch_session_h?),
        display: display(table)?,
    })
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

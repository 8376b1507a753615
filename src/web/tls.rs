//! What encrypts the connections: the certificate, through the system's TLS library.
//!
//! Owns the reading of the certificate's files, at the start and again when they change, so that a renewed
//! certificate needs no restart. Must not know what travels.

use std::fs;
use std::path::Path;
use std::sync::{Arc, PoisonError, RwLock};
use std::time::SystemTime;

use native_tls::{Identity, Protocol};
use openssl::pkey::PKey;
use openssl::x509::X509;
use tokio::time::{self, MissedTickBehavior};
use tokio_native_tls::TlsAcceptor;
use tokio_util::sync::CancellationToken;

use super::parameters::CERTIFICATE_EVERY;
use crate::config::model::Certificate;
use crate::exit::{Failure, Kind};

/// The certificate in use. Clones share it.
#[derive(Clone)]
pub struct Tls {
    certificate: Certificate,
    acceptor: Arc<RwLock<TlsAcceptor>>,
}

impl std::fmt::Debug for Tls {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "TLS with {}", self.certificate.chain.display())
    }
}

impl Tls {
    pub fn of(certificate: &Certificate) -> Result<Self, Failure> {
        let acceptor = read(certificate)?;
        Ok(Self {
            certificate: certificate.clone(),
            acceptor: Arc::new(RwLock::new(acceptor)),
        })
    }

    pub fn acceptor(&self) -> TlsAcceptor {
        self.acceptor
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// Looks at the files now and then, and takes what has changed. A wrong certificate does not replace a right one.
    pub async fn renew(self, stop: CancellationToken) {
        let mut seen = changed(&self.certificate);
        let mut every = time::interval(CERTIFICATE_EVERY);
        every.set_missed_tick_behavior(MissedTickBehavior::Delay);
        while stop.run_until_cancelled(every.tick()).await.is_some() {
            let now = changed(&self.certificate);
            if now == seen {
                continue;
            }
            match read(&self.certificate) {
                Ok(acceptor) => {
                    tracing::info!("the page's certificate was renewed");
                    *self
                        .acceptor
                        .write()
                        .unwrap_or_else(PoisonError::into_inner) = acceptor;
                }
                Err(error) => tracing::error!("the page keeps its old certificate: {error}"),
            }
            seen = now;
        }
    }
}

fn changed(certificate: &Certificate) -> [Option<SystemTime>; 2] {
    [&certificate.chain, &certificate.key].map(|path| {
        fs::metadata(path)
            .and_then(|metadata| metadata.modified())
            .ok()
    })
}

fn read(certificate: &Certificate) -> Result<TlsAcceptor, Failure> {
    let file = |path: &Path, key: &str| {
        fs::read(path).map_err(|error| {
            let shown = path.display();
            Failure::new(
                Kind::Configuration,
                format!("web.{key}: {shown} cannot be read: {error}"),
            )
        })
    };
    let chain = file(&certificate.chain, "certificate_file")?;
    let key = file(&certificate.key, "key_file")?;
    let wrong = |error: native_tls::Error| {
        Failure::new(
            Kind::Configuration,
            format!(
                "web.certificate_file: {} and {} are no certificate with its private key in PEM form, the key in \
                 PKCS #8 ({error}); openssl pkcs8 -topk8 -nodes makes that form of other keys",
                certificate.chain.display(),
                certificate.key.display()
            ),
        )
    };
    let identity = Identity::from_pkcs8(&chain, &key).map_err(wrong)?;
    if !belong_together(&chain, &key) {
        return Err(Failure::new(
            Kind::Configuration,
            format!(
                "web.key_file: {} is the key of another certificate than {}",
                certificate.key.display(),
                certificate.chain.display()
            ),
        ));
    }
    let acceptor = native_tls::TlsAcceptor::builder(identity)
        .min_protocol_version(Some(Protocol::Tlsv12))
        .build()
        .map_err(wrong)?;
    Ok(acceptor.into())
}

/// The library takes a key of another certificate and fails each connection.
fn belong_together(chain: &[u8], key: &[u8]) -> bool {
    let own = X509::from_pem(chain).and_then(|certificate| certificate.public_key());
    let key = PKey::private_key_from_pem(key);
    matches!((own, key), (Ok(own), Ok(key)) if own.public_eq(&key))
}

//! The HTTP interface: how people and the command line reach the running service.
//!
//! Owns the listener, the rules every request must keep (`guard`) the JSON interface below `/api/v1` (`api`,
//! its bodies in `wire`), the page (`page`) and the event streams (`events`, fed by `live`). A request that changes a brew goes to the tun's own task and its answer comes back;
//! what is past comes from the record. Nothing here knows an instrument or a publisher. Who may do what is `access`'
//! to say; `identity` reads from a request who sends it, `guard` lets nobody change anything who may not.
//!
//! A page that changes something must send the session's own value in the header X-Lauterd-Csrf. It finds the value
//! as `csrf` of `GET /api/v1/session`, and a handler that writes a page as that of the `Extension<Caller>`.

pub mod acts;
mod api;
mod csrf;
mod events;
mod guard;
mod identity;
mod in_language;
mod in_time;
mod listener;
mod live;
mod metrics;
mod page;
mod parameters;
mod places;
mod plain;
pub mod problem;
mod sign_in;
mod tls;
pub mod wire;

pub use api::openapi;
pub use page::tun_path;

use std::io::ErrorKind;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;

use tokio::net::TcpListener;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use crate::access::Access;
use crate::config::model::Web;
use crate::exit::{Failure, Kind};
use crate::fleet::Listening;
use crate::runtime::request::TunHandle;
use crate::store::Store;
use api::Service;
use live::Live;
use parameters::{STREAMS_BOUND, STREAMS_OF_ADDRESS};
use places::Places;
use tls::Tls;

/// Takes the address. Must be called inside the runtime that will serve it.
///
/// Fails with `Unavailable` when another program holds the address, with `Configuration` when this machine
/// cannot listen on it.
pub fn bind(listen: SocketAddr) -> Result<TcpListener, Failure> {
    std::net::TcpListener::bind(listen)
        .and_then(|listener| {
            listener.set_nonblocking(true)?;
            TcpListener::from_std(listener)
        })
        .map_err(|error| match error.kind() {
            ErrorKind::AddrInUse => Failure::new(
                Kind::Unavailable,
                format!(
                    "{listen} is in use by another program, perhaps another lauterd; stop that one, or set listen \
                     in [web] to another port"
                ),
            ),
            ErrorKind::AddrNotAvailable => Failure::new(
                Kind::Configuration,
                format!(
                    "{listen} is not an address of this machine; set listen in [web] to one that is, such as \
                     127.0.0.1:8780"
                ),
            ),
            ErrorKind::PermissionDenied => Failure::new(
                Kind::Configuration,
                format!(
                    "{listen} may not be listened on by this user; set listen in [web] to a port from 1024 up"
                ),
            ),
            _ => Failure::new(
                Kind::Unavailable,
                format!("{listen} cannot be listened on: {error}"),
            ),
        })
}

/// The door of one address: who may come in, and whether what travels is encrypted.
#[derive(Clone, Debug)]
pub struct Entrance {
    pub access: Arc<Access>,
    /// The name people reach it by, beside its addresses.
    pub host_name: Option<String>,
    /// Every tun behind the broker, where the page of all tuns is served.
    pub fleet: Option<Listening>,
    tls: Option<Tls>,
}

impl Entrance {
    /// Nobody signs in: this machine may act, others may watch.
    pub fn open() -> Self {
        Self {
            access: Arc::new(Access::open()),
            host_name: None,
            fleet: None,
            tls: None,
        }
    }

    /// As `[web]` has it.
    pub fn of(web: &Web) -> Result<Self, Failure> {
        let access = match &web.users_file {
            Some(file) => Access::of_users(file.clone(), web.session)
                .map_err(|error| {
                    Failure::new(Kind::Configuration, format!("web.users_file: {error}"))
                })?
                .with_watch_session(web.watch_session),
            None => Access::open(),
        };
        Ok(Self {
            access: Arc::new(access),
            host_name: web.host_name.clone(),
            fleet: None,
            tls: web.certificate.as_ref().map(Tls::of).transpose()?,
        })
    }

    /// Keeps over a restart who is signed in at this address, in a directory of the service.
    #[must_use]
    pub fn keeping_sessions_in(self, directory: &Path, listen: SocketAddr) -> Self {
        let address = listen.to_string().replace([':', '[', ']', '%'], "-");
        let file = directory.join(format!("sessions-{address}.json"));
        // Nobody else holds it yet.
        let access = match Arc::try_unwrap(self.access) {
            Ok(access) => Arc::new(access.keeping_sessions_in(file)),
            Err(shared) => shared,
        };
        Self { access, ..self }
    }

    pub fn is_encrypted(&self) -> bool {
        self.tls.is_some()
    }
}

/// Answers requests for `tuns` until `stop`; the task ends when the last answer under way has been given, or
/// shortly after.
pub fn serve(
    listener: TcpListener,
    tuns: Vec<TunHandle>,
    store: Store,
    entrance: Entrance,
    stop: CancellationToken,
) -> JoinHandle<()> {
    if let Ok(listen) = listener.local_addr()
        && !listen.ip().is_loopback()
        && !entrance.access.has_users()
    {
        tracing::warn!(
            %listen,
            "whoever reaches the web interface may watch; only this machine may act. To let others, make users \
             (lauterd user add) and name their file in [web] users_file"
        );
    }
    let tls = entrance.tls.clone();
    if let Some(tls) = &tls {
        tokio::spawn(tls.clone().renew(stop.clone()));
    }
    let live = tuns
        .iter()
        .map(|handle| Live::start(handle.clone(), store.clone(), stop.clone()))
        .collect();
    let service = Arc::new(Service {
        tuns,
        store,
        entrance,
        live,
        streams: Places::new(STREAMS_BOUND, STREAMS_OF_ADDRESS),
        turns: Arc::default(),
        stop: stop.clone(),
    });
    tokio::spawn(listener::run(listener, tls, api::router(service), stop))
}

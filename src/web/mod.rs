//! The HTTP interface: how people and the command line reach the running service.
//!
//! Owns the listener, the rules every request must keep (`guard`), the JSON interface below `/api/v1` (`api`, its
//! bodies in `wire`), the page (`page`) and the event streams (`events`, fed by `live`). A request that changes a brew goes to the tun's own task and its answer comes back;
//! what is past comes from the record. Nothing here knows an instrument or a publisher, and nothing asks for a
//! password: whoever reaches the address may operate, so it is the loopback address unless configured otherwise.

mod api;
mod events;
mod guard;
mod listener;
mod live;
mod page;
mod parameters;
mod problem;
pub mod wire;

use std::io::ErrorKind;
use std::net::SocketAddr;
use std::sync::Arc;

use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use crate::exit::{Failure, Kind};
use crate::runtime::request::TunHandle;
use crate::store::Store;
use api::Service;
use live::Live;
use parameters::STREAMS_BOUND;

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

/// Answers requests for `tuns` until `stop`; the task ends when the last answer under way has been given, or
/// shortly after.
pub fn serve(
    listener: TcpListener,
    tuns: Vec<TunHandle>,
    store: Store,
    stop: CancellationToken,
) -> JoinHandle<()> {
    if let Ok(listen) = listener.local_addr()
        && !listen.ip().is_loopback()
    {
        tracing::warn!(
            %listen,
            "the web interface can be reached from the network and asks for no password: whoever reaches it can \
             start and end brews and operate alarms; keep it on the brewhouse's own network"
        );
    }
    let live = tuns
        .iter()
        .map(|handle| Live::start(handle.clone(), store.clone(), stop.clone()))
        .collect();
    let service = Arc::new(Service {
        tuns,
        store,
        live,
        streams: Arc::new(Semaphore::new(STREAMS_BOUND)),
        stop: stop.clone(),
    });
    tokio::spawn(listener::run(listener, api::router(service), stop))
}

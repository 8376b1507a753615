//! Sockets that the service manager has opened beforehand and hands over (LISTEN_FDS).
//!
//! Owns them for the life of the process, so that a reload finds them again: each start gets copies, and who calls
//! between two starts waits instead of being refused. Must not know what is served on them. With such a socket the
//! page may stand at a port below 1024, which the service itself has no right to take.

use std::collections::BTreeSet;
use std::io;
use std::net::SocketAddr;
use std::net::TcpListener as Plain;
use std::sync::Arc;

use listenfd::ListenFd;
use tokio::net::TcpListener;

use crate::exit::{Failure, Kind};
use crate::web;

/// The sockets that came with the process, each with its address.
#[derive(Clone, Debug, Default)]
pub struct HandedOver {
    sockets: Arc<Vec<(SocketAddr, Plain)>>,
}

impl HandedOver {
    /// Takes them out of the environment. To be called once, before there are threads; without a service manager
    /// there are none.
    pub fn take() -> Result<Self, Failure> {
        let mut given = ListenFd::from_env();
        let taken: io::Result<Vec<_>> = (0..given.len())
            .filter_map(|place| given.take_tcp_listener(place).transpose())
            .map(|socket| {
                let socket = socket?;
                Ok((socket.local_addr()?, socket))
            })
            .collect();
        let sockets = taken.map_err(|error| {
            Failure::new(
                Kind::Configuration,
                format!(
                    "a socket that the service manager hands over is no listening TCP socket ({error}); \
                     lauterd.socket may have ListenStream= with an address and a port only"
                ),
            )
        })?;
        Ok(Self {
            sockets: Arc::new(sockets),
        })
    }

    /// A listener at this address: of the socket that was handed over, or of one that is opened now. Must be called inside
    /// the runtime that serves it.
    pub fn bound(&self, listen: SocketAddr) -> Result<TcpListener, Failure> {
        self.listener(listen).unwrap_or_else(|| web::bind(listen))
    }

    /// A copy of the socket at this address, if it was handed over.
    fn listener(&self, listen: SocketAddr) -> Option<Result<TcpListener, Failure>> {
        let (_, socket) = self
            .sockets
            .iter()
            .find(|(address, _)| *address == listen)?;
        let copy = socket.try_clone().and_then(|copy| {
            copy.set_nonblocking(true)?;
            TcpListener::from_std(copy)
        });
        Some(copy.map_err(|error| {
            Failure::new(
                Kind::Io,
                format!("the socket for {listen} that was handed over cannot be used: {error}"),
            )
        }))
    }

    /// What is handed over must be served: callers would wait for ever at a socket that nobody answers.
    pub fn check(&self, listens: impl Iterator<Item = SocketAddr>) -> Result<(), Failure> {
        let faults = self.unserved(&listens.collect());
        if faults.is_empty() {
            return Ok(());
        }
        Err(Failure::new(Kind::Configuration, faults.join("\n")))
    }

    fn unserved(&self, listens: &BTreeSet<SocketAddr>) -> Vec<String> {
        self.sockets
            .iter()
            .filter(|(address, _)| !listens.contains(address))
            .map(|(address, _)| {
                format!(
                    "web.listen: the service manager hands over a socket at {address}, and no configuration file \
                     listens there; set listen in [web] to \"{address}\", or ListenStream= in lauterd.socket to the \
                     address in [web]"
                )
            })
            .collect()
    }

    /// As they would be handed over.
    #[cfg(test)]
    fn of(sockets: Vec<Plain>) -> io::Result<Self> {
        let with_address = |socket: Plain| Ok((socket.local_addr()?, socket));
        let sockets: io::Result<Vec<_>> = sockets.into_iter().map(with_address).collect();
        sockets.map(|sockets| Self {
            sockets: Arc::new(sockets),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn is_held(listen: SocketAddr) -> bool {
        Plain::bind(listen).is_err_and(|error| error.kind() == io::ErrorKind::AddrInUse)
    }

    fn one() -> (SocketAddr, HandedOver) {
        let socket = Plain::bind("127.0.0.1:0").unwrap();
        let address = socket.local_addr().unwrap();
        (address, HandedOver::of(vec![socket]).unwrap())
    }

    #[tokio::test]
    async fn a_socket_outlives_the_listener_that_was_made_of_it() {
        let (address, given) = one();
        drop(given.listener(address).unwrap().unwrap());
        assert!(is_held(address));
        let again = given.listener(address).unwrap().unwrap();
        let (called, accepted) =
            tokio::join!(tokio::net::TcpStream::connect(address), again.accept());
        assert!(called.is_ok() && accepted.is_ok());
    }

    #[tokio::test]
    async fn another_address_has_no_socket_and_a_socket_without_listen_is_a_fault() {
        let (address, given) = one();
        let other: SocketAddr = "127.0.0.1:9".parse().unwrap();
        assert!(given.listener(other).is_none());
        assert_eq!(given.unserved(&[address].into()), Vec::<String>::new());
        let faults = given.unserved(&[other].into());
        assert_eq!(faults.len(), 1);
        assert!(faults[0].contains(&address.to_string()), "{faults:?}");
    }
}

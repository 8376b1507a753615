//! The web addresses: what stands behind each, what the files of several tuns must agree on where they share one, and the
//! list of all tuns that is shown there.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::net::SocketAddr;

use tokio::net::TcpListener;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use super::request::TunHandle;
use super::sockets::HandedOver;
use crate::config::Configuration;
use crate::exit::Failure;
use crate::fleet;
use crate::store::Store;
use crate::web::Entrance;

/// One address has one door: whoever comes in there reaches all its tuns.
pub fn two_at_one_address(configurations: &[Configuration]) -> Vec<String> {
    let mut known: BTreeMap<SocketAddr, &Configuration> = BTreeMap::new();
    let mut faults = Vec::new();
    for configuration in configurations
        .iter()
        .filter(|configuration| configuration.web.enabled)
    {
        let (web, first) = (&configuration.web, known.entry(configuration.web.listen));
        let first = *first.or_insert(configuration);
        let same = (
            &web.users_file,
            &web.certificate,
            &web.host_name,
            web.session,
            web.watch_session,
        ) == (
            &first.web.users_file,
            &first.web.certificate,
            &first.web.host_name,
            first.web.session,
            first.web.watch_session,
        );
        if !same {
            faults.push(format!(
                "{}: web: has the same listen as {}, but another users_file, certificate, host_name, session_h or \
                 watch_session_h; make them the same or listen on another address",
                configuration.file.display(),
                first.file.display()
            ));
        }
    }
    faults
}

/// One address serves one record: its tuns must keep theirs in the same directory.
pub fn two_records_behind_one_address(configurations: &[Configuration]) -> Vec<String> {
    let mut known: BTreeMap<SocketAddr, &Configuration> = BTreeMap::new();
    let mut faults = Vec::new();
    for configuration in configurations
        .iter()
        .filter(|configuration| configuration.web.enabled)
    {
        let first = *known
            .entry(configuration.web.listen)
            .or_insert(configuration);
        if first.store.directory != configuration.store.directory {
            faults.push(format!(
                "{}: store.directory: is {}, but {} has the same web.listen and keeps its record in {}; give both \
                 files the same directory or different addresses",
                configuration.file.display(),
                configuration.store.directory.display(),
                first.file.display(),
                first.store.directory.display()
            ));
        }
    }
    faults
}

/// Listens to all tuns behind a broker, once for each address that shows them.
pub fn open_fleets(
    configurations: &[Configuration],
    desks: &mut BTreeMap<SocketAddr, Desk>,
    stop: &CancellationToken,
) -> Vec<JoinHandle<()>> {
    let mut tasks = Vec::new();
    for configuration in configurations.iter().filter(|given| given.web.fleet) {
        let desk = desks.get_mut(&configuration.web.listen);
        let desk = desk.filter(|desk| desk.entrance.fleet.is_none());
        if let (Some(desk), Some(mqtt)) = (desk, configuration.mqtt.clone()) {
            let (task, listening) = fleet::start(mqtt, stop.clone());
            tasks.push(task);
            desk.entrance.fleet = Some(listening);
        }
    }
    tasks
}

/// One web address: its listener, and the tuns and the record behind it.
pub struct Desk {
    pub listener: TcpListener,
    pub entrance: Entrance,
    pub tuns: Vec<TunHandle>,
    pub store: Option<Store>,
}

/// Binds every address once, unless its socket was handed over.
pub fn desks(
    configurations: &[Configuration],
    handed_over: &HandedOver,
) -> Result<BTreeMap<SocketAddr, Desk>, Failure> {
    let mut desks = BTreeMap::new();
    let with_page = || configurations.iter().filter(|each| each.web.enabled);
    handed_over.check(with_page().map(|each| each.web.listen))?;
    for configuration in with_page() {
        let address = configuration.web.listen;
        if let Entry::Vacant(place) = desks.entry(address) {
            place.insert(Desk {
                listener: handed_over.bound(address)?,
                entrance: Entrance::of(&configuration.web)?
                    .keeping_sessions_in(&configuration.store.directory, address),
                tuns: Vec::new(),
                store: None,
            });
        }
    }
    Ok(desks)
}

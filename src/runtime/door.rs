//! What the files of several tuns must agree on where they share an address.

use std::collections::BTreeMap;
use std::net::SocketAddr;

use crate::config::Configuration;

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

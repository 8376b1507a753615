//! What every part of the run-off page is drawn from, and the list of the parts.

use std::collections::BTreeMap;

use lauter_core::supervisor::ConditionedReading;
use maud::Markup;
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};

use super::{actions, alarms, believed, glance, stop_tile, stopped};
use crate::config::Configuration;
use crate::display::Voice;
use crate::report::table_rows;
use crate::runtime::request::{TunHandle, TunStatus};
use crate::web::live::{Look, Notebook};
use crate::web::wire::BASE;

/// What stays as it is in a path segment: the unreserved characters of RFC 3986, section 2.3.
const SEGMENT: &AsciiSet = &NON_ALPHANUMERIC
    .remove(b'-')
    .remove(b'.')
    .remove(b'_')
    .remove(b'~');

/// One segment of an address.
pub fn segment(text: &str) -> String {
    utf8_percent_encode(text, SEGMENT).to_string()
}

/// The tun as it is shown.
#[derive(Clone, Copy, Debug)]
pub struct View<'a> {
    pub status: &'a TunStatus,
    pub notebook: &'a Notebook,
    pub configuration: &'a Configuration,
    pub voice: Voice,
}

impl<'a> View<'a> {
    pub fn new(handle: &'a TunHandle, look: &'a Look) -> Self {
        Self {
            status: &look.status,
            notebook: &look.notebook,
            configuration: &handle.configuration,
            voice: Voice::new(handle.configuration.web.display),
        }
    }

    /// An address of the tun's pages.
    pub fn path(&self, below: &str) -> String {
        page_path(&self.status.site, &self.status.tun, below)
    }

    /// The first instrument that measures a quantity, by its name in the configuration.
    pub fn reading_of(&self, measures: &str) -> Option<&ConditionedReading> {
        let named = self.configuration.instruments.iter().find(|configured| {
            serde_json::to_value(configured.instrument.measures)
                .is_ok_and(|name| name.as_str() == Some(measures))
        })?;
        self.status
            .readings
            .iter()
            .find(|reading| reading.instrument == named.instrument.id)
    }
}

/// An address of a tun's pages.
pub fn page_path(site: &str, tun: &str, below: &str) -> String {
    let own = format!("/tuns/{}/{}", segment(site), segment(tun));
    if below.is_empty() {
        own
    } else {
        format!("{own}/{below}")
    }
}

/// Where a tun's page is below the service's own address.
pub fn tun_path(site: &str, tun: &str) -> String {
    page_path(site, tun, "")
}

/// An address of the tun in the JSON interface.
pub fn api_path(site: &str, tun: &str, below: &str) -> String {
    format!("{BASE}/tuns/{}/{}/{below}", segment(site), segment(tun))
}

/// Every part of the run-off page that changes while it is looked at, by the id of its element.
pub fn parts(view: &View<'_>) -> BTreeMap<&'static str, String> {
    let drawn: [(&'static str, Markup); 16] = [
        ("part-next", glance::next(view)),
        ("part-phase", glance::phase(view)),
        ("part-stop", stop_tile::stop(view)),
        ("part-kettle", glance::kettle(view)),
        ("part-runnings", glance::runnings(view)),
        ("part-acidity", glance::acidity(view)),
        ("part-flow", glance::flow(view)),
        ("part-bed", glance::bed(view)),
        ("part-instruments", believed::instruments(view)),
        ("part-if-stopped", stopped::if_stopped(view)),
        ("part-alarms", alarms::panel(view)),
        (
            "part-table",
            table_rows(view.voice, &view.notebook.table, &view.notebook.samples),
        ),
        ("part-notes", actions::notes(view)),
        ("part-samples", actions::samples(view)),
        ("part-actions", actions::panel(view)),
        ("part-brew", actions::brew_line(view)),
    ];
    drawn
        .into_iter()
        .map(|(id, markup)| (id, markup.into_string()))
        .collect()
}

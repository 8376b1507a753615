//! The page at the tun: server-drawn HTML that works without a network beyond this service, kept fresh by an event
//! stream.
//!
//! Owns what is shown and where. It asks the tun and the record through the same doors as the JSON interface, and
//! whatever it changes goes through that interface. It decides nothing about the brew.

mod actions;
mod alarms;
mod assets;
mod believed;
mod brews;
mod dialogs;
mod fleet;
mod footing;
mod gauge;
mod glance;
mod instrument;
mod instruments;
mod links;
mod next_step;
mod pace;
mod routes;
mod runoff;
mod shell;
mod start;
mod stop_tile;
mod stopped;
mod symbols;
mod tun;
mod view;

pub use brews::crush_of;
pub use fleet::parts as fleet_parts;
pub use instruments::parts as instrument_parts;
pub use routes::{router, trouble};
pub use runoff::Drawings;
pub use view::{View, parts, tun_path};

#[cfg(test)]
mod tests;

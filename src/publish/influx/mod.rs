//! Publishing to a time-series database that takes InfluxDB's v2 write call.
//!
//! Owns the mapping of outputs to points, and their delivery: what is tried again, what is cut in half, what is
//! set aside. Rows come from the runtime with the ids of its outbox and go back as acknowledged ids; this module
//! knows neither the store nor another publisher.
//!
//! Everything the client crate leaves open is closed here: it has no timeout, drops a path in the URL, panics on
//! a bad URL, and writes control characters and backslashes as they come. It also hides the server's
//! `Retry-After`, so a throttled publisher waits longer of its own accord.

mod batch;
mod endpoint;
mod health;
mod lines;
mod parameters;
mod points;
mod publisher;
mod verdict;
mod waiting;

pub use batch::Row;
pub use endpoint::{Endpoint, EndpointError};
pub use health::{Health, SetAside, State};
pub use lines::{Field, Point, PointFault};
pub use parameters::DeliveryParameters;
pub use points::{Source, point};
pub use publisher::{ACKNOWLEDGEMENTS_BOUND, Ends, Publisher, Receipt, connect};
pub use waiting::{Feed, ROWS_BOUND};

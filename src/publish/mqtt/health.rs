//! What can be said about the publisher at any moment. It decides nothing.

use crate::broker::Fault;

/// Counts since the start.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MqttPublishState {
    pub connected: bool,
    /// Why there is no connection; none while there is one.
    pub fault: Option<Fault>,
    /// Connections the broker accepted.
    pub connections: u64,
    /// Connections lost while rows were under way, which were then published again.
    pub resets: u64,
    /// Rows published again after such a loss.
    pub repeated: u64,
    /// Rows published and not yet acknowledged.
    pub in_flight: usize,
    /// Messages handed to the connection, repeats included.
    pub published: u64,
    /// Rows the broker acknowledged.
    pub acknowledged: u64,
    /// Live messages that came while there was no connection or it did not keep up.
    pub dropped: u64,
    /// Rows set aside because no broker would take them.
    pub unpublishable: u64,
}

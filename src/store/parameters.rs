//! The store's tuning constants.

use std::time::Duration;

/// Bounds and spacings of the store. None of them changes what the supervisor sees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StoreParameters {
    /// Rows one publisher of one tun may have waiting, 1000 or more. Beyond it the oldest readings are thinned.
    /// 200 000 rows are about 80 MB: half a day of readings from twelve instruments every 5 s and their
    /// InfluxDB points. Own choice.
    pub outbox_rows: u64,
    /// Least time between two recorded run-off states, 0 s or more. They serve the page's curves only: a
    /// replay needs none of them. Own choice.
    pub runoff_every: Duration,
    /// Rows removed in one slice of the retention, 1 or more. 2000 rows keep the thread busy for some
    /// milliseconds, so that an alarm never waits behind it. Own choice.
    pub retention_rows: u32,
    /// Rows that make a block of packed readings, from 1 to 65536. 4096 rows of ten instruments are seven minutes; packing
    /// them keeps the thread busy for some ten milliseconds. Own choice.
    pub packed_rows: u32,
    /// Files up to this size are checked before the service starts, bytes; larger ones while it runs. 32 MB take about
    /// a tenth of a second. Own choice.
    pub checked_bytes: u64,
    /// How long packing rests after a slice that could not be written, 1 s or more. It begins again at once when the disk was
    /// full and is not any more. A slice is tried once a minute: too little to be in a full disk's way. Own choice.
    pub pack_again: Duration,
    /// Time between two looks whether the record's file is still the one in its directory, 0 s or more. What is written in
    /// between is not lost as long as the machine runs. Two calls of the system each. Own choice.
    pub looked_after: Duration,
    /// How long to wait for a reader of the same file that holds a lock. Own choice.
    pub busy_timeout: Duration,
}

impl Default for StoreParameters {
    fn default() -> Self {
        Self {
            outbox_rows: 200_000,
            runoff_every: Duration::from_secs(10),
            retention_rows: 2_000,
            packed_rows: 4_096,
            checked_bytes: 32 << 20,
            pack_again: Duration::from_secs(60),
            looked_after: Duration::from_secs(10),
            busy_timeout: Duration::from_secs(5),
        }
    }
}

//! Bounds of signing in. All are own choices unless a source is named.

/// Shortest password, characters. NIST SP 800-63B asks for at least 8 (from memory).
pub const SHORTEST_PASSWORD: usize = 10;
/// Longest password that is looked at, bytes: a longer one only costs time.
pub const LONGEST_PASSWORD: usize = 256;

/// How guessing is slowed and what is remembered.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parameters {
    /// Failures from one address before it must wait; 3 to 10. A wet hand slips some times.
    pub failures_of_address: u32,
    /// Failures for one name from anywhere before all must wait; 10 to 100. More, so that a stranger cannot lock a
    /// colleague out by a slip or two.
    pub failures_of_name: u32,
    /// First wait, s; it doubles with each further failure. 1 to 10.
    pub first_wait_s: f64,
    /// Longest wait, s; 60 to 3600.
    pub longest_wait_s: f64,
    /// Failures older than this are forgotten, s; 300 to 86400.
    pub forgotten_after_s: f64,
    /// Addresses and names remembered; 256 to 65536. Beyond it the oldest is forgotten.
    pub remembered: usize,
    /// Sessions at a time; 16 to 4096. Beyond it the oldest ends.
    pub sessions: usize,
    /// Passwords hashed at a time; each takes 19 MiB. 1 to 8.
    pub hashes_at_once: usize,
}

pub const PARAMETERS: Parameters = Parameters {
    failures_of_address: 5,
    failures_of_name: 20,
    first_wait_s: 2.0,
    longest_wait_s: 300.0,
    forgotten_after_s: 900.0,
    remembered: 4096,
    sessions: 256,
    hashes_at_once: 2,
};

//! How delivery fares, for the page, the log and the alarm.

/// What the publisher is doing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum State {
    /// Nothing has been sent yet.
    #[default]
    Idle,
    /// The last request was taken.
    Delivering,
    /// The last request failed in a way that passes; it is tried again.
    Retrying { reason: String },
    /// A person must mend something; it is tried again, seldom. Worth an alarm.
    Refused { reason: String },
}

/// A point that the server would not take, alone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetAside {
    pub id: i64,
    pub line: String,
    pub reason: String,
}

#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Health {
    pub state: State,
    /// Points the server has taken.
    pub delivered: u64,
    /// Requests that failed and were tried again.
    pub retried: u64,
    /// Points set aside: acknowledged without having been written.
    pub set_aside: u64,
    /// The latest of them, shortened.
    pub last_set_aside: Option<SetAside>,
}

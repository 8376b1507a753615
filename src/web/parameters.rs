//! Bounds of the web interface. All are own choices; none of them changes what the supervisor sees.

use std::time::Duration;

/// Connections that are kept as long as they like. A brewhouse has a handful of screens.
pub const CONNECTIONS_BOUND: usize = 128;

/// Of them, those from one address: some are left for everybody else. A proxy's screens all come from its address.
pub const CONNECTIONS_OF_ADDRESS: usize = 96;

/// Connections beyond these bounds that are served briefly: one request, soon, and no event stream. Whoever holds all other
/// places does not keep a person from acting, nor a watchdog from asking whether the service lives.
pub const BRIEF_BOUND: usize = 64;
pub const BRIEF_OF_ADDRESS: usize = 48;

/// Within this time the request's head must have come on a brief connection, and then its body; and within the last, the
/// answer been taken.
pub const BRIEF_HEAD_TIMEOUT: Duration = Duration::from_secs(2);
pub const BRIEF_BODY_TIMEOUT: Duration = Duration::from_secs(2);
pub const BRIEF_TIMEOUT: Duration = Duration::from_secs(15);

/// Event streams at a time: each holds a connection for as long as its screen is open, and some must be left for
/// everything else.
pub const STREAMS_BOUND: usize = 96;
pub const STREAMS_OF_ADDRESS: usize = 72;

/// Largest request body, bytes. The largest request is a plan of some hundred bytes.
pub const BODY_BOUND: usize = 64 * 1024;

/// Within this time a request's head must have come; an idle connection is closed after it too.
pub const HEAD_TIMEOUT: Duration = Duration::from_secs(20);

/// Within this time a request's body must have come whole after its head. The largest is some kilobytes, which the
/// slowest wireless network carries in a second.
pub const BODY_TIMEOUT: Duration = Duration::from_secs(10);

/// Within this time a client must take something of what it is sent, or it is gone: a tablet that was carried out of
/// reach, or somebody who holds places.
pub const TAKE_TIMEOUT: Duration = Duration::from_secs(20);

/// Within this time a request must be answered once it has come. A long brew's export from a slow disk takes some
/// seconds.
pub const REQUEST_TIMEOUT: Duration = Duration::from_secs(30);

/// Within this time the tun's own task must answer; it does so in milliseconds unless the record is blocked.
pub const TUN_TIMEOUT: Duration = Duration::from_secs(10);

/// How long answers under way may take once the service stops.
pub const STOP_TIMEOUT: Duration = Duration::from_secs(5);

/// Pause after a connection could not be accepted, for instance because the process has too many files open.
pub const ACCEPT_PAUSE: Duration = Duration::from_millis(200);

/// Brews listed when the request does not say how many.
pub const BREWS_LISTED: usize = 100;

/// Within this time a client must have agreed on the encryption; a tablet does so in a fraction of it.
pub const HANDSHAKE_TIMEOUT: Duration = Duration::from_secs(10);

/// Room for a request's line and headers, bytes. Browsers send about one thousand.
pub const HEAD_BOUND: usize = 32 * 1024;

/// How often the certificate's files are looked at: a renewed one needs no restart.
pub const CERTIFICATE_EVERY: Duration = Duration::from_secs(60);

//! The web interface on an ephemeral port, with a real record and a tun's task of test code, asked over plain
//! sockets and through the built binary.

#[path = "web/brewhouse.rs"]
mod brewhouse;
#[path = "web/calibration.rs"]
mod calibration;
#[path = "web/command_line.rs"]
mod command_line;
#[path = "web/commands.rs"]
mod commands;
#[path = "web/connections.rs"]
mod connections;
#[path = "web/guard.rs"]
mod guard;
#[path = "web/http.rs"]
mod http;
#[path = "web/invented.rs"]
mod invented;
#[path = "web/metrics.rs"]
mod metrics;
#[path = "web/operating.rs"]
mod operating;
#[path = "web/page.rs"]
mod page;
#[path = "web/people.rs"]
mod people;
#[path = "web/profile.rs"]
mod profile;
#[path = "web/reaching.rs"]
mod reaching;
#[path = "web/record.rs"]
mod record;
#[path = "web/samples.rs"]
mod samples;
#[path = "web/services.rs"]
mod services;
#[path = "web/signing_in.rs"]
mod signing_in;
#[path = "web/tls.rs"]
mod tls;
#[path = "web/users.rs"]
mod users;

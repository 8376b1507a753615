//! Links against devices that misbehave.
//!
//! Each test scripts a device by what it does with each request; the links run as in the service, with
//! shorter pauses. Waits end when the awaited thing happens; their limits only keep a broken build from
//! hanging.

mod device;
mod garbage;
mod refusals;
mod rtu;
mod tcp;
mod watched;

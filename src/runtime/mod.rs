//! The running service: the only room from which both sides are seen.

pub mod request;

//! The shell around `lauter-core`: configuration, clocks, instruments, publishers, store and commands.

pub mod access;
pub mod brew_record;
pub mod broker;
pub mod certificate;
pub mod charts;
pub mod cli;
pub mod clock;
pub mod command;
pub mod commission;
pub mod config;
pub mod display;
pub mod engine;
pub mod exit;
pub mod ingest;
pub mod logging;
pub mod publish;
pub mod replay;
pub mod report;
pub mod runtime;
pub mod store;
pub mod web;

//! The record of a brew for the next morning: one self-contained HTML page that prints well, and CSV and JSON
//! beside it.
//!
//! Owns what a report holds. Charts come from `charts`, figures are written by `display`; it knows the record's
//! words and no web.

mod alarms;
mod data;
mod html;
mod table;

pub use data::{csv, json};
pub use html::{Report, STYLE, html};
pub use table::{rows as table_rows, sampled, told_sample};

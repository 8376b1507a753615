//! The record: SQLite on its own thread.

//! The examples, edited, and what is wrong with them then.

use std::path::Path;

use lauterd::config::{self, ConfigErrors, Configuration, Surroundings};

pub const MINIMAL: &str = include_str!("../../config/minimal.toml");
pub const COMPLETE: &str = include_str!("../../config/lauterd.toml");

pub fn parse(text: &str) -> Result<Configuration, ConfigErrors> {
    config::parse(
        Path::new("tun.toml"),
        text.to_owned(),
        &Surroundings::none(),
    )
}

/// `base` with the first `old` of each edit replaced by its `new`.
pub fn edited(base: &str, edits: &[(&str, &str)]) -> String {
    edits.iter().fold(base.to_owned(), |text, (old, new)| {
        assert!(text.contains(old), "the example no longer holds {old:?}");
        text.replacen(old, new, 1)
    })
}

/// What is wrong with the text, as "key: message".
pub fn faults(text: &str) -> Vec<String> {
    let errors = parse(text).expect_err("must be refused");
    let line = |error: &config::ConfigError| format!("{}: {}", error.key, error.message);
    errors.errors.iter().map(line).collect()
}

/// Asserts the one fault of the minimal example after `edits`.
#[track_caller]
pub fn minimal_with(edits: &[(&str, &str)], fault: &str) {
    assert_eq!(faults(&edited(MINIMAL, edits)), [fault]);
}

/// Asserts the one fault of the complete example after `edits`.
#[track_caller]
pub fn complete_with(edits: &[(&str, &str)], fault: &str) {
    assert_eq!(faults(&edited(COMPLETE, edits)), [fault]);
}

/// Asserts the one fault of the minimal example with one more instrument, which has the index 2.
#[track_caller]
pub fn instrument_with(lines: &str, fault: &str) {
    assert_eq!(faults(&with_instrument(lines)), [fault]);
}

pub fn with_instrument(lines: &str) -> String {
    format!("{MINIMAL}\n[[instrument]]\n{lines}\n")
}

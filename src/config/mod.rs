//! Configuration: reading it, finding everything wrong with it at once, and what the rest of the shell sees.
//!
//! A file goes through three steps. `document` reads it and lays the environment over it; `shape` checks each
//! value against the schema of `tables`; `resolve` checks what values mean together and gives the `model`.
//! Nobody outside this module sees a table, and nobody inside it knows an adapter.

mod check;
mod document;
mod environment;
mod error;
mod faults;
mod format;
mod key_path;
pub mod model;
mod plan;
mod resolve;
pub mod schema;
mod shape;
mod slips;
mod tables;

use std::path::{Path, PathBuf};

pub use check::clashes;
pub use error::{ConfigError, ConfigErrors, Place};
pub use format::{is_host_and_port, is_identifier};
pub use model::Configuration;
pub use plan::{load_plan, parse_plan, plan_of_tree};
pub use resolve::spelt;
pub use shape::describe;

use crate::exit::Kind;
use document::Document;
use faults::{Faults, none_or_all};

/// What a configuration depends on beside its file.
#[derive(Clone, Debug)]
pub struct Surroundings {
    /// `LAUTERD_` environment variables.
    pub variables: Vec<(String, String)>,
    /// systemd's `$CREDENTIALS_DIRECTORY`.
    pub credentials_directory: Option<PathBuf>,
    pub secrets: Secrets,
}

/// Whether passwords and tokens are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Secrets {
    /// The service: each secret that is named must be there.
    Read,
    /// Replays and checks, which connect to nothing and often run where the secrets are not.
    Leave,
}

impl Surroundings {
    /// Those of this process.
    pub fn of_process(secrets: Secrets) -> Self {
        Self {
            variables: environment::of_process(),
            credentials_directory: std::env::var_os("CREDENTIALS_DIRECTORY").map(PathBuf::from),
            secrets,
        }
    }

    /// A file by itself: no variables, no secrets.
    pub fn none() -> Self {
        Self {
            variables: Vec::new(),
            credentials_directory: None,
            secrets: Secrets::Leave,
        }
    }
}

/// Reads a configuration with its secrets, as the service needs it.
pub fn load(path: &Path) -> Result<Configuration, ConfigErrors> {
    load_with(path, &Surroundings::of_process(Secrets::Read))
}

/// Reads a configuration without its secrets, for commands that connect to nothing.
pub fn load_offline(path: &Path) -> Result<Configuration, ConfigErrors> {
    load_with(path, &Surroundings::of_process(Secrets::Leave))
}

/// Reads one configuration for each tun of a service, and checks that they go together.
pub fn load_all(paths: &[PathBuf]) -> Result<Vec<Configuration>, ConfigErrors> {
    load_all_with(paths, &Surroundings::of_process(Secrets::Read))
}

/// As [`load_all`], in the given surroundings.
pub fn load_all_with(
    paths: &[PathBuf],
    surroundings: &Surroundings,
) -> Result<Vec<Configuration>, ConfigErrors> {
    let mut configurations = Vec::new();
    let mut failed: Option<ConfigErrors> = None;
    for path in paths {
        match load_with(path, surroundings) {
            Ok(configuration) => configurations.push(configuration),
            Err(errors) => {
                failed = Some(match failed {
                    Some(others) => others.and(errors),
                    None => errors,
                });
            }
        }
    }
    let clashes = none_or_all(Kind::Configuration, clashes(&configurations));
    match (failed, clashes) {
        (None, Ok(())) => Ok(configurations),
        (Some(errors), Ok(())) | (None, Err(errors)) => Err(errors),
        (Some(errors), Err(clashes)) => Err(errors.and(clashes)),
    }
}

/// Reads a configuration in the given surroundings.
pub fn load_with(path: &Path, surroundings: &Surroundings) -> Result<Configuration, ConfigErrors> {
    resolved(Document::read(path, Kind::Configuration)?, surroundings)
}

/// As [`load_with`], for text that stands for the contents of `path`.
pub fn parse(
    path: &Path,
    text: String,
    surroundings: &Surroundings,
) -> Result<Configuration, ConfigErrors> {
    resolved(
        Document::parse(path, text, Kind::Configuration)?,
        surroundings,
    )
}

fn resolved(
    document: Document,
    surroundings: &Surroundings,
) -> Result<Configuration, ConfigErrors> {
    let schema = schema::configuration();
    let (overrides, mut errors) =
        environment::overrides(&schema, document.tree(), &surroundings.variables);
    let document = document.overridden(&overrides)?;
    let mut tree = document.tree().clone();
    let mut faults = Faults::default();
    shape::check(&schema, &mut tree, &mut faults);
    let root: tables::RootTable = serde_json::from_value(tree).map_err(|error| {
        ConfigErrors::of_file(Kind::Configuration, document.file(), error.to_string())
    })?;
    let configuration = resolve::configuration(document.file(), &root, surroundings, &mut faults);
    errors.splice(0..0, faults.located(&document));
    none_or_all(Kind::Configuration, errors)?;
    configuration.ok_or_else(|| {
        let message =
            "could not be resolved, and no key is known to be at fault; please report this file";
        ConfigErrors::of_file(Kind::Configuration, document.file(), message)
    })
}

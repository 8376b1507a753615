//! Passwords and tokens, read from a file of their own or from a systemd credential.
//!
//! Never takes one from the configuration itself, which is copied, versioned and shown; never puts one in a
//! message.

use std::path::PathBuf;

use super::super::faults::Faults;
use super::super::key_path::KeyPath;
use super::super::model::Secret;
use super::super::{Secrets, Surroundings};

/// Where a secret is said to be: `<name>_file` and `<name>_credential` below `at`.
#[derive(Debug)]
pub struct Reference<'a> {
    pub name: &'static str,
    pub file: Option<&'a String>,
    pub credential: Option<&'a String>,
    pub at: &'a KeyPath,
}

impl Reference<'_> {
    pub fn is_given(&self) -> bool {
        self.file.is_some() || self.credential.is_some()
    }

    /// The secret, if one is named and secrets are to be read.
    pub fn read(&self, surroundings: &Surroundings, faults: &mut Faults) -> Option<Secret> {
        let file_key = format!("{}_file", self.name);
        let credential_key = format!("{}_credential", self.name);
        let (key, path) = match (self.file, self.credential) {
            (Some(_), Some(_)) => {
                let message = format!("{file_key} is given too; give one of them");
                faults.add(&self.at.key(&credential_key), message);
                return None;
            }
            (None, None) => return None,
            (Some(file), None) => (file_key, Some(PathBuf::from(file))),
            (None, Some(credential)) => {
                let directory = surroundings.credentials_directory.as_ref();
                (
                    credential_key,
                    directory.map(|directory| directory.join(credential)),
                )
            }
        };
        if surroundings.secrets == Secrets::Leave {
            return None;
        }
        let outcome = match path {
            Some(path) => contents(&path),
            None => Err(format!(
                "there are no credentials here; the service's unit needs LoadCredential={}:/path/of/the/{}",
                self.credential.map_or("", String::as_str),
                self.name
            )),
        };
        match outcome {
            Ok(secret) => Some(secret),
            Err(message) => {
                faults.add(&self.at.key(&key), message);
                None
            }
        }
    }
}

fn contents(path: &std::path::Path) -> Result<Secret, String> {
    let shown = path.display();
    let text = std::fs::read_to_string(path)
        .map_err(|error| format!("{shown} cannot be read: {error}"))?;
    let secret = text.trim_end_matches(['\r', '\n']);
    if secret.is_empty() {
        return Err(format!(
            "{shown} is empty; it must hold the secret on one line"
        ));
    }
    if secret.chars().any(char::is_control) {
        return Err(format!(
            "{shown} holds more than one line; it must hold the secret alone"
        ));
    }
    Ok(Secret(secret.to_owned()))
}

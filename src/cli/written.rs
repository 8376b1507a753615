//! A document of the service, written to a file or to standard output.
//!
//! Owns which of its forms is meant, and the writing. Must not know what the document is.

use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};

use crate::exit::{Failure, Kind};

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    Html,
    Csv,
    Json,
}

impl Format {
    /// As the interface calls it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Html => "html",
            Self::Csv => "csv",
            Self::Json => "json",
        }
    }

    /// What is asked for; else what the file's name ends in; else HTML.
    pub fn meant(asked: Option<Self>, output: &Output) -> Self {
        let file = output.output.as_deref();
        let extension = file.and_then(Path::extension).and_then(|it| it.to_str());
        let by_name = extension.and_then(|it| Self::from_str(it, true).ok());
        asked.or(by_name).unwrap_or(Self::Html)
    }
}

#[derive(Clone, Debug, Default, Args)]
pub struct Output {
    /// File to write; without it standard output
    #[arg(long, value_name = "FILE")]
    output: Option<PathBuf>,
}

impl Output {
    pub fn write(&self, contents: &[u8]) -> Result<(), Failure> {
        let (what, written) = match &self.output {
            Some(file) => (file.display().to_string(), fs::write(file, contents)),
            None => (
                "standard output".to_owned(),
                io::stdout().write_all(contents),
            ),
        };
        written.map_err(|error| {
            let words = format!("{what}: {error}; check --output and the room on its disk");
            Failure::new(Kind::Io, words)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_form_is_what_is_asked_for_or_what_the_files_name_ends_in() {
        let to = |file: &str| Output {
            output: Some(PathBuf::from(file)),
        };
        for (asked, output, meant) in [
            (None, Output::default(), Format::Html),
            (None, to("certificate"), Format::Html),
            (None, to("certificate-12.csv"), Format::Csv),
            (None, to("CERTIFICATE.JSON"), Format::Json),
            (Some(Format::Html), to("table.csv"), Format::Html),
        ] {
            assert_eq!(Format::meant(asked, &output), meant, "{output:?}");
        }
    }
}

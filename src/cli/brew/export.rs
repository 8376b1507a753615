//! `lauterd brew export`: a brew's record as files, which `lauterd replay` accepts.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use clap::Args;

use crate::cli::client::{Client, tun_path};
use crate::cli::text::print;
use crate::exit::{Failure, Kind};
use crate::store::export_files;
use crate::web::wire::ExportFiles;

/// Writes a brew's record into a directory: plan, readings, samples, corrections, gaps, table, alarms and lines
///
/// Files of the same names are replaced. Where readings are missing since their block in the record is damaged, the files are
/// written without them, the stretch is named, and the exit code is 74. `lauterd replay --plan plan.toml --data RUN.csv --samples samples.csv
/// --corrections corrections.jsonl --gaps gaps.csv` runs them again. Notes and rakings that people reported are not among them;
/// `lauterd report` has those.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd brew export 2026-0412 --into brew-2026-0412
  lauterd brew export 2026-0412 --into brew-2026-0412 --tun north-yard/tun-1")]
pub struct Arguments {
    /// The brew's id
    #[arg(value_name = "BREW")]
    brew: String,
    /// Directory for the files; made if it is not there
    #[arg(long, value_name = "DIR")]
    into: PathBuf,
}

pub fn run(arguments: &Arguments, client: &Client) -> Result<(), Failure> {
    let tun = client.tun()?;
    let below = |segments: &[&str]| {
        let mut all = vec!["brews", arguments.brew.as_str(), "export"];
        all.extend(segments);
        tun_path(&tun, &all)
    };
    let listed: ExportFiles = client.get(&below(&[]))?;
    let directory = arguments.into.as_path();
    fs::create_dir_all(directory).map_err(|error| failed(directory, &error))?;
    let mut page = String::new();
    for name in &listed.files {
        // Where it is written must not be for the other side to say.
        if !is_plain_name(name) {
            let message = format!(
                "the service names a file {name:?}, which is no plain name; nothing more is written"
            );
            return Err(Failure::new(Kind::Data, message));
        }
        let contents = client.download(&below(&[name]))?;
        let path = directory.join(name);
        fs::write(&path, &contents).map_err(|error| failed(&path, &error))?;
        let _ = writeln!(page, "{}  {} bytes", path.display(), contents.len());
    }
    if !listed.files.iter().any(|name| name == export_files::RUN) {
        let _ = writeln!(
            page,
            "no {}: the readings of this brew are past the time they are kept, so it cannot be replayed",
            export_files::RUN
        );
    }
    print(&page)?;
    if listed.missing.is_empty() {
        return Ok(());
    }
    let message = format!(
        "the files are not the whole brew, since blocks of its readings are damaged: {}. An earlier copy of the record may have \
         them (lauterd backup --restore)",
        listed.missing.join("; ")
    );
    Err(Failure::new(Kind::Io, message))
}

fn is_plain_name(name: &str) -> bool {
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_');
    !name.is_empty() && !name.starts_with('.') && name.chars().all(plain)
}

fn failed(path: &Path, error: &std::io::Error) -> Failure {
    Failure::new(
        Kind::Io,
        format!(
            "{}: {error}; check --into and the room on its disk",
            path.display()
        ),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_service_cannot_say_where_a_file_goes() {
        assert!(is_plain_name(export_files::RUN) && is_plain_name(export_files::LINES));
        for name in [
            "",
            "..",
            ".hidden",
            "../RUN.csv",
            "/etc/x",
            "a\\b",
            "a b",
            "a\0",
        ] {
            assert!(!is_plain_name(name), "{name:?}");
        }
    }
}

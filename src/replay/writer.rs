//! Where the lines of a replay go.
//!
//! Owns that a file of results is whole or is not there: it is written beside its place and moved into it at the end, so
//! that neither a broken recording nor somebody's Ctrl-C leaves half of one, or takes a good one away.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use lauter_core::supervisor::{Dated, Output};

use super::Results;
use crate::exit::{Failure, Kind};

/// What the name of an unfinished file ends in.
const UNFINISHED: &str = ".part";

/// Lines of JSON, if anybody is to read them.
pub(super) struct Writer {
    sink: Option<BufWriter<Box<dyn Write>>>,
    name: String,
    unfinished: Option<Unfinished>,
}

/// A file that is not in its place yet; without `moved` it is removed.
struct Unfinished {
    file: PathBuf,
    place: PathBuf,
}

impl Unfinished {
    /// Beside what is to stand at `path` later, or where a link there leads; None where something stands that is no file,
    /// such as a pipe.
    fn beside(path: &Path) -> Option<Self> {
        if path.exists() && !path.is_file() {
            return None;
        }
        let place = path.canonicalize().unwrap_or_else(|_| path.to_owned());
        let mut name = place.file_name()?.to_owned();
        name.push(UNFINISHED);
        let file = place.with_file_name(name);
        Some(Self { file, place })
    }

    fn moved(self) -> io::Result<()> {
        fs::rename(&self.file, &self.place)
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        // It may have been moved, or its directory may be gone.
        let _ = fs::remove_file(&self.file);
    }
}

impl Writer {
    pub fn open(results: &Results) -> Result<Self, Failure> {
        let (sink, name, unfinished): (Option<Box<dyn Write>>, _, _) = match results {
            Results::File(path) => {
                let name = path.display().to_string();
                let unfinished = Unfinished::beside(path);
                let written = unfinished.as_ref().map_or(path, |it| &it.file);
                let file = File::create(written).map_err(|error| {
                    Failure::new(
                        Kind::Io,
                        format!("{name}: cannot be written: {error}; name a file in a directory that can be written to"),
                    )
                })?;
                (Some(Box::new(file)), name, unfinished)
            }
            Results::StandardOutput => (
                Some(Box::new(io::stdout())),
                "standard output".to_owned(),
                None,
            ),
            Results::Nowhere => (None, String::new(), None),
        };
        let sink = sink.map(BufWriter::new);
        Ok(Self {
            sink,
            name,
            unfinished,
        })
    }

    pub fn write(&mut self, dated: &Dated) -> Result<(), Failure> {
        let (Output::Line(line), Some(sink)) = (&dated.output, &mut self.sink) else {
            return Ok(());
        };
        let written = serde_json::to_writer(&mut *sink, line)
            .map_err(io::Error::from)
            .and_then(|()| sink.write_all(b"\n"));
        written.map_err(|error| self.failed(&error))
    }

    pub fn close(mut self) -> Result<(), Failure> {
        let flushed = self.sink.as_mut().map_or(Ok(()), Write::flush);
        let unfinished = self.unfinished.take();
        flushed
            .and_then(|()| unfinished.map_or(Ok(()), Unfinished::moved))
            .map_err(|error| self.failed(&error))
    }

    fn failed(&self, error: &io::Error) -> Failure {
        let not_whole = match self.unfinished {
            Some(_) => "",
            None => "; what was written is not the whole",
        };
        let name = &self.name;
        Failure::new(
            Kind::Io,
            format!("{name}: cannot be written: {error}{not_whole}"),
        )
    }
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::symlink;

    use super::*;

    #[test]
    fn a_link_stays_a_link_and_what_is_no_file_is_written_to_as_it_is() {
        let directory = tempfile::tempdir().expect("a directory");
        let (link, file) = (directory.path().join("link"), directory.path().join("file"));
        fs::write(&file, "earlier").expect("written");
        symlink(&file, &link).expect("a link");
        let results = Results::File(link.clone());
        Writer::open(&results)
            .and_then(Writer::close)
            .expect("written");
        assert!(link.is_symlink());
        assert_eq!(fs::read_to_string(&file).expect("a file"), "");
        assert!(Unfinished::beside(Path::new("/dev/null")).is_none());
    }
}

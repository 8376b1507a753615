//! The rows that all benches leave for the one table that benches/all prints at its end.
//!
//! Owns the limits and the file `benches/rows.tsv` in the target directory; benches/rows.py owns its form too, for the
//! benches in Python, and prints it. A bench replaces the rows that it left the last time.

use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Once;

use super::is_tiny;

/// What is asked of a figure or of a ratio.
#[derive(Clone, Copy)]
pub enum Limit {
    AtLeast(f64),
    AtMost(f64),
    /// Nothing: with a word on what the figure is for.
    Counted(&'static str),
}

impl fmt::Display for Limit {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::AtLeast(least) => write!(formatter, "at least {}", in_millions(*least)),
            Self::AtMost(most) => write!(formatter, "at most {most}"),
            Self::Counted(word) => formatter.write_str(word),
        }
    }
}

fn in_millions(value: f64) -> String {
    if value >= 1e6 {
        format!("{} million", value / 1e6)
    } else {
        value.to_string()
    }
}

impl Limit {
    /// Whether it is met. The figures of a tiny run mean nothing.
    fn verdict(self, value: f64) -> &'static str {
        let met = match self {
            Self::Counted(_) => return "",
            _ if is_tiny() => return "tiny",
            Self::AtLeast(least) => value >= least,
            Self::AtMost(most) => value <= most,
        };
        if met { "met" } else { "MISSED" }
    }
}

/// One row of the table.
#[derive(Clone, Copy)]
pub struct Row<'a> {
    /// What several rows have in common.
    pub group: &'a str,
    pub name: &'a str,
    /// The figure as it is printed.
    pub figure: &'a str,
    pub unit: &'a str,
    /// A ratio, and to what.
    pub ratio: Option<(f64, &'a str)>,
    pub limit: Limit,
}

impl Row<'_> {
    /// Leaves the row; `judged` is what the limit is asked of.
    pub fn leave(&self, judged: f64) {
        let (ratio, to) = match self.ratio {
            Some((ratio, to)) => (format!("{ratio:.2}"), to),
            None => (String::new(), ""),
        };
        let limit = match self.limit {
            Limit::Counted(_) => String::new(),
            limit => limit.to_string(),
        };
        append(&[
            self.group,
            self.name,
            self.figure,
            self.unit,
            &ratio,
            to,
            &limit,
            self.limit.verdict(judged),
        ]);
    }
}

/// Names what was not measured because it is not there.
pub fn left_out(name: &str, why: &str) {
    println!("\n{name}: {why}, left out");
    append(&["", name, "", "", "", "", "", &format!("left out: {why}")]);
}

fn target() -> &'static Path {
    let temporary = Path::new(env!("CARGO_TARGET_TMPDIR"));
    temporary.parent().expect("it lies in the target directory")
}

fn append(columns: &[&str]) {
    static BEGUN: Once = Once::new();
    let bench = env!("CARGO_CRATE_NAME");
    let path = file();
    let mut text = fs::read_to_string(&path).unwrap_or_default();
    BEGUN.call_once(|| {
        let mut others: Vec<&str> = text.lines().collect();
        others.retain(|row| row.split('\t').next() != Some(bench));
        text = others.iter().flat_map(|row| [*row, "\n"]).collect();
    });
    text.extend([bench, "\t", &columns.join("\t"), "\n"]);
    fs::write(&path, text).expect("the rows are written");
}

fn file() -> PathBuf {
    let directory = target().join("benches");
    fs::create_dir_all(&directory).expect("a directory for the rows");
    directory.join("rows.tsv")
}

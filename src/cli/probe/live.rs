//! Readings as they change: drawn anew in place on a terminal, one line a look where there is none.

use std::fmt::Write as _;
use std::io::{IsTerminal as _, Write as _};

use super::print;
use crate::exit::Failure;

/// Rows on a terminal, so that they fit one screen.
const MOST_ROWS: usize = 20;
/// Readings on one line where there is no terminal.
const MOST_WORDS: usize = 4;

#[derive(Debug)]
pub struct Live {
    is_terminal: bool,
    drawn: usize,
}

impl Live {
    pub fn new() -> Self {
        Self {
            is_terminal: std::io::stdout().is_terminal(),
            drawn: 0,
        }
    }

    /// `rows`: what a reading is called and what it shows now.
    pub fn show(&mut self, second: u32, rows: &[(String, String)]) -> Result<(), Failure> {
        let text = if self.is_terminal {
            let before = std::mem::replace(&mut self.drawn, rows.len().min(MOST_ROWS) + 1);
            drawn(second, rows, before)
        } else {
            line(second, rows)
        };
        print(&text)?;
        // A terminal that has gone is found at the next line.
        let _ = std::io::stdout().flush();
        Ok(())
    }
}

fn drawn(second: u32, rows: &[(String, String)], before: usize) -> String {
    let mut text = String::new();
    if before > 0 {
        // Up to the first row drawn before, and clear from there.
        let _ = write!(text, "\x1b[{before}A\x1b[J");
    }
    let _ = writeln!(text, "after {second} s");
    for (name, value) in rows.iter().take(MOST_ROWS) {
        let _ = writeln!(text, "{name}  {value}");
    }
    text
}

fn line(second: u32, rows: &[(String, String)]) -> String {
    let words: Vec<String> = rows
        .iter()
        .take(MOST_WORDS)
        .map(|(name, value)| format!("{}: {value}", name.trim()))
        .collect();
    let more = rows.len().saturating_sub(MOST_WORDS);
    let more = if more > 0 {
        format!("; {more} more")
    } else {
        String::new()
    };
    format!("{second:>4} s  {}{more}\n", words.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(count: usize) -> Vec<(String, String)> {
        (1..=count)
            .map(|number| (format!(" no {number}"), "1048.5".to_owned()))
            .collect()
    }

    #[test]
    fn a_terminal_is_drawn_over_and_keeps_to_one_screen() {
        let first = drawn(1, &rows(3), 0);
        assert!(!first.contains('\x1b'));
        assert_eq!(first.lines().count(), 4);
        let next = drawn(2, &rows(100), 4);
        assert!(next.starts_with("\x1b[4A\x1b[J"), "{next:?}");
        assert_eq!(next.lines().count(), MOST_ROWS + 1);
    }

    #[test]
    fn without_a_terminal_a_look_is_one_plain_line() {
        let text = line(3, &rows(6));
        assert_eq!(text.lines().count(), 1);
        assert!(
            text.starts_with("   3 s  no 1: 1048.5; no 2: 1048.5"),
            "{text}"
        );
        assert!(text.ends_with("; 2 more\n"), "{text}");
        assert!(!text.contains('\x1b'));
    }
}

//! Asking somebody at the terminal, line by line.

use std::io::BufRead;

use super::applied::number;
use crate::cli::text::print;
use crate::exit::{Failure, Kind};

/// Where answers come from.
pub struct Terminal<R> {
    input: R,
}

impl<R: BufRead> Terminal<R> {
    pub fn new(input: R) -> Self {
        Self { input }
    }

    /// One line without its end.
    pub fn line(&mut self, question: &str) -> Result<String, Failure> {
        print(&format!("{question} "))?;
        flush();
        let mut text = String::new();
        let read = self
            .input
            .read_line(&mut text)
            .map_err(|error| Failure::new(Kind::Io, format!("standard input: {error}")))?;
        if read == 0 {
            return Err(Failure::new(
                Kind::Usage,
                "the answers ended before the check did",
            ));
        }
        Ok(text.trim().to_owned())
    }

    /// A number; an empty line is `usual`, where there is one. Asks again until it is one.
    pub fn number(&mut self, question: &str, usual: Option<f64>) -> Result<f64, Failure> {
        let shown = usual.map_or_else(|| question.to_owned(), |it| format!("{question} [{it}]"));
        loop {
            let text = self.line(&shown)?;
            match (text.is_empty(), usual) {
                (true, Some(usual)) => return Ok(usual),
                (true, None) => print("  A number is needed, with a point for the decimals.\n")?,
                (false, _) => match number(&text) {
                    Ok(value) => return Ok(value),
                    Err(_) => print("  A number is needed, with a point for the decimals.\n")?,
                },
            }
        }
    }

    /// As `number`. One that is not usual must be confirmed: it may be a slip, or belong to another question.
    pub fn number_within(
        &mut self,
        question: &str,
        usual: Option<f64>,
        within: (f64, f64),
    ) -> Result<f64, Failure> {
        loop {
            let value = self.number(question, usual)?;
            if self.believes(value, within)? {
                return Ok(value);
            }
        }
    }

    /// Whether a value is usual, or confirmed.
    pub fn believes(&mut self, value: f64, (low, high): (f64, f64)) -> Result<bool, Failure> {
        if (low..=high).contains(&value) {
            return Ok(true);
        }
        let question = format!("  {value} lies outside {low} to {high}. Is it right?");
        self.yes(&question, false)
    }

    pub fn yes(&mut self, question: &str, usual: bool) -> Result<bool, Failure> {
        let shown = if usual { "[Y/n]" } else { "[y/N]" };
        loop {
            let text = self.line(&format!("{question} {shown}"))?.to_lowercase();
            match text.as_str() {
                "" => return Ok(usual),
                "y" | "yes" => return Ok(true),
                "n" | "no" => return Ok(false),
                _ => print("  Please answer y or n.\n")?,
            }
        }
    }
}

/// The question must be seen before it is answered; what cannot be shown is told by the next print.
fn flush() {
    use std::io::Write as _;
    let _ = std::io::stdout().flush();
}

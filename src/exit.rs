//! Exit codes, after the convention of BSD sysexits.
//!
//! Owns which kind of failure ends the program with which code, so that scripts can tell them apart.

use std::fmt;
use std::process::ExitCode;

/// Why the program ends without having done its work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Usage,
    /// A data file is wrong: file and line are in the message.
    Data,
    NoInput,
    Unavailable,
    /// The program itself is at fault.
    Software,
    Io,
    Configuration,
}

impl Kind {
    pub fn code(self) -> u8 {
        match self {
            Self::Usage => 64,
            Self::Data => 65,
            Self::NoInput => 66,
            Self::Unavailable => 69,
            Self::Software => 70,
            Self::Io => 74,
            Self::Configuration => 78,
        }
    }
}

/// A failure as the user reads it: what is at fault and what to do.
#[derive(Clone, Debug)]
pub struct Failure {
    pub kind: Kind,
    pub message: String,
}

impl Failure {
    pub fn new(kind: Kind, message: impl Into<String>) -> Self {
        Self {
            kind,
            message: message.into(),
        }
    }

    pub fn exit_code(&self) -> ExitCode {
        ExitCode::from(self.kind.code())
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Failure {}

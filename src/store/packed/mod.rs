//! Rows of readings as blocks: column by column, without the loss of a bit.
//!
//! Owns the form of a block and its checksum. Knows neither SQLite nor what a status or a unit means: names are words of
//! a block's own dictionary. What cannot be read back is `Damage` and never a panic, whatever stands on the disk.

mod bits;
mod block;
mod integers;
mod moments;
mod numbers;
mod row;

pub use block::Block;
pub use row::{Names, Row, TICK};

/// Why a block cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Damage {
    #[error("its checksum does not fit")]
    Checksum,
    #[error("it ends too early")]
    Short,
    #[error("its content makes no sense")]
    Senseless,
    #[error("its form is {0}, which this program does not know")]
    Form(u8),
}

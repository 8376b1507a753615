//! A row of the record as a block holds it: the same shape for readings, ticks and conditioned readings.

/// In place of an instrument: only time went on.
pub const TICK: i64 = -1;

/// How many numbers a row has at most.
pub const NUMBERS: usize = 4;

#[derive(Clone, Copy, Debug)]
pub struct Row {
    pub seq: i64,
    pub at_us: i64,
    /// Its index in the brew's header, or `TICK`.
    pub instrument: i64,
    /// Codes of a `Names`.
    pub status: u16,
    pub cause: u16,
    pub unit: u16,
    pub age_us: i64,
    pub numbers: [Option<f64>; NUMBERS],
}

impl Row {
    fn number_bits(&self) -> [Option<u64>; NUMBERS] {
        self.numbers.map(|number| number.map(f64::to_bits))
    }
}

/// To the bit: 0 and −0 differ, and every number is itself.
impl PartialEq for Row {
    fn eq(&self, other: &Self) -> bool {
        let fields = |row: &Self| {
            (
                (row.seq, row.at_us, row.instrument, row.age_us),
                (row.status, row.cause, row.unit),
                row.number_bits(),
            )
        };
        fields(self) == fields(other)
    }
}

/// The words of a block. A code is a word's place, counted from one; nought is no word.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Names(Vec<String>);

impl Names {
    /// The most words of a block: there are not half as many causes, statuses and units.
    pub const MOST: usize = 250;
    /// The longest word, bytes.
    pub const LONGEST: usize = 250;

    /// The word's code; it is entered if it is new. None where there are too many, or it is too long.
    pub fn code(&mut self, name: Option<&str>) -> Option<u16> {
        let Some(name) = name else {
            return Some(0);
        };
        if let Some(place) = self.0.iter().position(|known| known == name) {
            return Some(place as u16 + 1);
        }
        if self.0.len() == Self::MOST || name.len() > Self::LONGEST {
            return None;
        }
        self.0.push(name.to_owned());
        Some(self.0.len() as u16)
    }

    pub fn words(&self) -> &[String] {
        &self.0
    }

    pub(super) fn from_words(words: Vec<String>) -> Self {
        Self(words)
    }
}

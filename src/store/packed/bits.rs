//! Bits, one after another, the highest first.
//!
//! Knows nothing of what they mean. Reading beyond the end is damage and never a panic: the bytes come from a disk.

use super::Damage;

#[derive(Debug, Default)]
pub struct BitWriter {
    bytes: Vec<u8>,
    /// The last `held` bits of it are not among the bytes yet; fewer than eight between calls.
    pending: u64,
    held: u32,
}

impl BitWriter {
    /// Goes on behind `bytes`.
    pub fn behind(bytes: Vec<u8>) -> Self {
        Self {
            bytes,
            ..Self::default()
        }
    }

    /// The lowest `count` bits of `bits`; those above must be nought.
    pub fn put(&mut self, bits: u64, count: u32) {
        if count > 32 {
            self.put(bits >> 32, count - 32);
            self.put(bits & 0xffff_ffff, 32);
            return;
        }
        self.pending = (self.pending << count) | bits;
        self.held += count;
        while self.held >= 8 {
            self.held -= 8;
            self.bytes.push((self.pending >> self.held) as u8);
        }
    }

    /// Fills the last byte with noughts.
    pub fn finish(mut self) -> Vec<u8> {
        if self.held > 0 {
            self.put(0, 8 - self.held);
        }
        self.bytes
    }
}

#[derive(Debug)]
pub struct BitReader<'a> {
    bytes: &'a [u8],
    /// In bits.
    position: usize,
}

impl<'a> BitReader<'a> {
    pub fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, position: 0 }
    }

    /// The next bits at the top of a word: 57 at least, noughts beyond the end.
    fn ahead(&self) -> u64 {
        let from = self.position / 8;
        let word = match self.bytes.get(from..from + 8) {
            Some(eight) => eight
                .iter()
                .fold(0_u64, |word, byte| (word << 8) | u64::from(*byte)),
            None => (from..from + 8).fold(0_u64, |word, at| {
                (word << 8) | u64::from(self.bytes.get(at).copied().unwrap_or(0))
            }),
        };
        word << (self.position % 8)
    }

    fn skip(&mut self, count: u32) -> Result<(), Damage> {
        self.position += count as usize;
        if self.position > 8 * self.bytes.len() {
            return Err(Damage::Short);
        }
        Ok(())
    }

    pub fn get(&mut self, count: u32) -> Result<u64, Damage> {
        if count == 0 {
            return Ok(0);
        }
        if count > 32 {
            let high = self.get(count - 32)?;
            return Ok((high << 32) | self.get(32)?);
        }
        let bits = self.ahead() >> (64 - count);
        self.skip(count)?;
        Ok(bits)
    }

    /// How many noughts come before the next one, `most` at most. The one is taken as well; with `most` noughts none is.
    pub fn noughts(&mut self, most: u32) -> Result<u32, Damage> {
        let noughts = self.ahead().leading_zeros();
        if noughts >= most {
            self.skip(most)?;
            return Ok(most);
        }
        self.skip(noughts + 1)?;
        Ok(noughts)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bits_come_back_as_they_were_put_and_none_beyond_the_end() {
        let mut writer = BitWriter::default();
        for count in 1..=64 {
            writer.put(u64::MAX >> (64 - count), count);
            writer.put(1, count);
        }
        writer.put(0, 0);
        let bytes = writer.finish();
        let mut reader = BitReader::new(&bytes);
        for count in 1..=64 {
            assert_eq!(reader.get(count), Ok(u64::MAX >> (64 - count)));
            assert_eq!(reader.get(count), Ok(1));
        }
        assert_eq!(reader.get(64), Err(Damage::Short));
    }

    #[test]
    fn noughts_are_counted_up_to_a_bound() {
        let mut writer = BitWriter::default();
        for (bits, count) in [(1, 1), (1, 5), (0, 32), (1, 32)] {
            writer.put(bits, count);
        }
        let bytes = writer.finish();
        let mut reader = BitReader::new(&bytes);
        let counted = [0; 4].map(|_| reader.noughts(32));
        assert_eq!(counted, [Ok(0), Ok(4), Ok(32), Ok(31)]);
        assert_eq!(BitReader::new(&[0]).noughts(32), Err(Damage::Short));
    }
}

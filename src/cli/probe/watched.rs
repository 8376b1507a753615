//! One plausible reading of registers, how it has moved while it was watched, and how it compares with the others.
//!
//! Owns which of several readings stands before another, when nothing tells them apart, and a reading's row. Must not read
//! registers.

use std::cmp::Ordering;

use super::shown;
use super::wanted::{Wanted, leaves_open};
use crate::commission::candidates::{Candidate, Rank, Way};
use crate::config;

/// A candidate and how it has moved while it was watched.
pub struct Watched {
    pub candidate: Candidate,
    least: f64,
    greatest: f64,
    /// The instrument of the file that has one of its registers: half of a neighbour's number, read together with half of
    /// this one, often lies within the range as well.
    described: Option<String>,
}

impl Watched {
    pub fn new(candidate: Candidate, described: &[(String, Way)]) -> Self {
        let owner = described
            .iter()
            .find(|(_, way)| way.overlaps(&candidate.way));
        Self {
            candidate,
            least: candidate.value,
            greatest: candidate.value,
            described: owner.map(|(id, _)| id.clone()),
        }
    }

    pub fn again(&mut self, registers: &[(u16, u16)], expected: Option<(f64, f64)>) {
        let Some(value) = self.candidate.way.value(registers) else {
            self.candidate.is_expected = false;
            return;
        };
        self.candidate.value = value;
        self.least = self.least.min(value);
        self.greatest = self.greatest.max(value);
        self.candidate.is_expected &=
            expected.is_some_and(|(low, high)| (low..=high).contains(&value));
    }

    /// The least is the best.
    pub fn merit(&self) -> (bool, bool, bool, Option<Rank>) {
        let marked = self.candidate.is_expected;
        (
            !marked,
            marked && self.described.is_some(),
            !self.has_moved(),
            marked.then_some(self.candidate.rank),
        )
    }

    /// Only of what is marked: the rest stands in the order of addresses.
    pub fn distance(&self, wanted: &Wanted) -> f64 {
        if self.candidate.is_expected {
            wanted.distance(self.candidate.value)
        } else {
            0.0
        }
    }

    fn has_moved(&self) -> bool {
        self.least < self.greatest
    }
}

/// How many readings fit as well as the first and say something else: another number, or the same in other registers. The
/// same number of registers that overlap stands there once, and its commonest way to be read is listed first.
pub fn equals(found: &[Watched], wanted: &Wanted) -> usize {
    let Some(first) = found.first() else {
        return 0;
    };
    let (way, value) = (first.candidate.way, first.candidate.value);
    let says_the_same = |other: &Candidate| {
        other.value.partial_cmp(&value) == Some(Ordering::Equal) && other.way.overlaps(&way)
    };
    let nearest = first.distance(wanted);
    let others = found
        .iter()
        .take_while(|other| other.merit() == first.merit())
        .filter(|other| leaves_open(nearest, other.distance(wanted)))
        .filter(|other| !says_the_same(&other.candidate));
    1 + others.count()
}

/// What is worth a look while it is watched: the marked ones, or what moves where nothing is marked.
pub fn moving(found: &[Watched]) -> Vec<(String, String)> {
    let any_marked = found.iter().any(|watched| watched.candidate.is_expected);
    (1..)
        .zip(found)
        .filter(|(_, watched)| {
            if any_marked {
                watched.candidate.is_expected
            } else {
                watched.has_moved()
            }
        })
        .map(|(_, watched)| {
            let way = watched.candidate.way;
            let name = format!(
                "{:>5} {:<3} {}",
                way.address,
                config::spelt(way.value_type),
                config::spelt(way.byte_order)
            );
            (name, shown(watched.candidate.value))
        })
        .collect()
}

/// Place, type and number, behind the number in the list.
pub fn row(watched: &Watched) -> String {
    let way = watched.candidate.way;
    let moved = if watched.has_moved() {
        format!(
            "  moved from {} to {}",
            shown(watched.least),
            shown(watched.greatest)
        )
    } else {
        String::new()
    };
    let mark = if watched.candidate.is_expected {
        '*'
    } else {
        ' '
    };
    let described = watched
        .described
        .as_ref()
        .map_or_else(String::new, |id| format!("  shares registers with {id}"));
    format!(
        "{mark}  {:>7}  {:>6}  {:<4}  {:<5}  {:<5}  {}{moved}{described}",
        way.address,
        u32::from(way.address) + 1,
        config::spelt(way.value_type),
        config::spelt(way.byte_order),
        way.scale,
        shown(watched.candidate.value)
    )
}

#[cfg(test)]
mod tests {
    use clap::Parser as _;

    use super::*;
    use crate::commission::candidates::candidates;
    use crate::config::model::{ByteOrder, ValueType};

    #[derive(clap::Parser)]
    struct Line {
        #[command(flatten)]
        wanted: Wanted,
    }

    #[test]
    fn half_of_a_neighbour_that_the_file_describes_is_no_doubt() {
        // 1048.5 and 74.375 as floats are 44 83 10 00 and 42 94 C0 00 (IEEE 754). The second's first word, read with the
        // first's last, is 74.03.
        let registers: Vec<(u16, u16)> = (100..).zip([0x4483, 0x1000, 0x4294, 0xC000]).collect();
        let wanted = Line::parse_from(["probe", "--expect", "70..80"]).wanted;
        let ordered = |described: &[(String, Way)]| {
            let found = candidates(&registers, wanted.expected(), None);
            let mut found: Vec<Watched> = found
                .into_iter()
                .map(|candidate| Watched::new(candidate, described))
                .collect();
            found.sort_by_key(Watched::merit);
            (found[0].candidate.way.address, equals(&found, &wanted))
        };
        assert_eq!(ordered(&[]).1, 2);
        let density = Way {
            address: 100,
            value_type: ValueType::F32,
            byte_order: ByteOrder::Abcd,
            scale: 1.0,
        };
        assert_eq!(ordered(&[("density".to_owned(), density)]), (102, 1));
    }
}

//! The last readings of one instrument, with their median and their deviation from it.
//!
//! Owns the sorted copy of the window, kept up from reading to reading: a reading replaces the oldest one in a pass
//! without a branch, and the middle of the deviations is found without sorting them. The readings lie in the window
//! itself, which so needs no allocation. It does not know what a spike is.

use serde::{Deserialize, Serialize};

use super::outlier::Timed;

/// Readings that a window can hold; the largest `spike_window`.
const CAPACITY: usize = 31;
/// Places of the sorted copy: unused ones hold infinity, and the last always does.
const PLACES: usize = CAPACITY + 1;

/// The last readings, in the order in which they came.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(from = "Kept", into = "Kept")]
pub(super) struct Window {
    size: usize,
    /// A ring: the oldest is at `first`, the others follow it, beyond the last place from the beginning.
    readings: [Timed; PLACES],
    first: usize,
    count: usize,
    sorted: [f64; PLACES],
}

/// By what it holds: where in the ring it begins says nothing.
impl PartialEq for Window {
    fn eq(&self, other: &Self) -> bool {
        self.size == other.size && self.readings().eq(other.readings())
    }
}

/// What is stored of a window: the sorted copy follows from it.
#[derive(Serialize, Deserialize)]
struct Kept {
    size: usize,
    readings: Vec<Timed>,
}

impl From<Window> for Kept {
    fn from(window: Window) -> Self {
        Self {
            size: window.size,
            readings: window.readings().copied().collect(),
        }
    }
}

impl From<Kept> for Window {
    fn from(kept: Kept) -> Self {
        let mut window = Self::new(kept.size);
        for reading in kept.readings {
            window.push(reading);
        }
        window
    }
}

impl Window {
    /// A window of `size` readings, at most as many as it can hold.
    pub fn new(size: usize) -> Self {
        let size = size.clamp(1, CAPACITY);
        Self {
            size,
            readings: [Timed::default(); PLACES],
            first: 0,
            count: 0,
            sorted: [f64::INFINITY; PLACES],
        }
    }

    /// Takes a reading with a finite value; the oldest one goes when the window is full.
    #[inline]
    pub fn push(&mut self, reading: Timed) {
        let oldest = if self.count == self.size {
            let oldest = self.readings[self.first].value;
            self.first = (self.first + 1) % PLACES;
            oldest
        } else {
            self.count += 1;
            f64::INFINITY
        };
        self.readings[(self.first + self.count - 1) % PLACES] = reading;
        // Few places are passed over faster than many, and their number is known to the compiler.
        match self.size {
            0..=7 => exchange::<8>(&mut self.sorted, oldest, reading.value),
            8..=15 => exchange::<16>(&mut self.sorted, oldest, reading.value),
            _ => exchange::<PLACES>(&mut self.sorted, oldest, reading.value),
        }
    }

    pub fn len(&self) -> usize {
        self.count
    }

    /// Oldest first.
    fn readings(&self) -> impl DoubleEndedIterator<Item = &Timed> {
        (0..self.count).map(|index| &self.readings[(self.first + index) % PLACES])
    }

    /// The last `count` readings, the newest first.
    pub fn newest(&self, count: usize) -> impl Iterator<Item = &Timed> {
        self.readings().rev().take(count)
    }

    /// The reading at `index`, counted from the oldest.
    pub fn get(&self, index: usize) -> Option<&Timed> {
        self.readings().nth(index)
    }

    /// The median and the median of the absolute deviations from it.
    #[inline]
    pub fn median_and_deviation(&self) -> (f64, f64) {
        match self.count {
            5 => odd::<5>(&self.sorted),
            7 => odd::<7>(&self.sorted),
            9 => odd::<9>(&self.sorted),
            15 => odd::<15>(&self.sorted),
            count => any(&self.sorted[..count]),
        }
    }
}

/// Takes one value out of the first `N` sorted places, infinity for none, and puts another in. Every place is worked out
/// from the places before and none from another's result, which would have to wait for it.
#[inline]
fn exchange<const N: usize>(sorted: &mut [f64; PLACES], out: f64, value: f64) {
    let Some((places, _)) = sorted.split_first_chunk_mut::<N>() else {
        return;
    };
    let before = *places;
    // Smaller ones stay, the others move down into its place.
    let rest = |place: usize| {
        let stays = before[place] < out;
        if stays {
            before[place]
        } else {
            before[place + 1]
        }
    };
    places[0] = smaller(rest(0), value);
    // The last place is beyond every window.
    #[expect(
        clippy::needless_range_loop,
        reason = "by an iterator it is not vectorised"
    )]
    for place in 1..N - 1 {
        places[place] = larger(rest(place - 1), smaller(rest(place), value));
    }
}

/// One machine instruction each, for there is no NaN in conditioning.
#[inline]
pub(super) fn smaller(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}

#[inline]
pub(super) fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

#[inline]
pub(super) fn between(value: f64, least: f64, most: f64) -> f64 {
    smaller(larger(value, least), most)
}

/// Of an odd number of sorted values. The deviations on either side of the median are sorted as well: the middle one of
/// all is the smallest, over every way to take half of them from both sides, of the larger of the two taken last.
#[inline]
fn odd<const N: usize>(sorted: &[f64; PLACES]) -> (f64, f64) {
    let half = N / 2;
    let median = sorted[half];
    let mut deviation = f64::INFINITY;
    for first in 0..=half {
        let reach = larger(median - sorted[first], sorted[first + half] - median);
        deviation = smaller(deviation, reach);
    }
    (median, deviation)
}

fn any(sorted: &[f64]) -> (f64, f64) {
    let median = middle(sorted);
    let mut deviations = [0.0; CAPACITY];
    let deviations = &mut deviations[..sorted.len()];
    for (deviation, value) in deviations.iter_mut().zip(sorted) {
        *deviation = (value - median).abs();
    }
    (median, super::median(deviations))
}

/// The middle of sorted values; of an even count the mean of the two.
fn middle(sorted: &[f64]) -> f64 {
    let half = sorted.len() / 2;
    if sorted.len() % 2 == 1 {
        sorted[half]
    } else {
        f64::midpoint(sorted[half - 1], sorted[half])
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::conditioning::median;
    use crate::reading::Moment;

    fn by_sorting(readings: &[f64]) -> (f64, f64) {
        let middle = median(&mut readings.to_vec());
        let deviations: Vec<f64> = readings
            .iter()
            .map(|value| (value - middle).abs())
            .collect();
        (middle, median(&mut deviations.clone()))
    }

    proptest! {
        /// Values on a coarse grid, so that many are equal.
        #[test]
        fn median_and_deviation_are_to_the_bit_those_of_sorting(
            half in 1..=15_usize,
            values in prop::collection::vec(-40..40_i32, 1..120),
        ) {
            let size = 2 * half + 1;
            let values: Vec<f64> = values.iter().map(|value| 0.1 * f64::from(*value)).collect();
            let mut window = Window::new(size);
            for (second, value) in values.iter().enumerate() {
                let at = Moment::from_seconds(second as f64);
                window.push(Timed { at, value: *value });
                let last = &values[(second + 1).saturating_sub(size)..=second];
                prop_assert_eq!(window.len(), last.len());
                prop_assert_eq!(window.median_and_deviation(), by_sorting(last));
            }
            let kept = serde_json::to_string(&window).unwrap();
            prop_assert_eq!(serde_json::from_str::<Window>(&kept).unwrap(), window);
        }
    }
}

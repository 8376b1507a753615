//! How an axis runs, and how many numbers stand on it.
//!
//! Owns the choice of a range and of labels that tell values apart. It draws nothing.

use plotters::coord::ranged1d::Ranged;
use plotters::coord::types::RangedCoordf64;

/// How one axis runs and how its numbers are written.
pub struct Axis<'a> {
    pub from: f64,
    pub to: f64,
    pub title: String,
    pub number: &'a dyn Fn(f64) -> String,
}

/// The range and the number of labels with which an axis never writes the same number twice; it widens if it must.
pub fn legible(axis: &Axis<'_>, most: usize) -> ([f64; 2], usize) {
    let (middle, mut half) = (
        f64::midpoint(axis.from, axis.to),
        (axis.to - axis.from).abs() / 2.0,
    );
    let mut range = [axis.from, axis.to];
    for _ in 0..16 {
        let ticks = RangedCoordf64::from(range[0]..range[1]);
        let distinct = |count: &usize| {
            let points = ticks.key_points(*count);
            let labels: Vec<String> = points.iter().map(|at| (axis.number)(*at)).collect();
            labels.len() > 1 && labels.windows(2).all(|pair| pair[0] != pair[1])
        };
        if let Some(count) = (2..=most).rev().find(distinct) {
            return (range, count);
        }
        half = (2.0 * half).max(1e-4);
        range = [middle - half, middle + half];
    }
    (range, 2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_axis_never_writes_the_same_number_twice() {
        let tenths = |value: f64| format!("{value:.1}");
        for (from, to) in [
            (5.38, 5.44),
            (5.4, 5.4),
            (0.0, 0.3),
            (5.1, 6.25),
            (0.0, 4500.0),
        ] {
            let axis = Axis {
                from,
                to,
                title: String::new(),
                number: &tenths,
            };
            let (range, count) = legible(&axis, 9);
            assert!(range[0] <= from && to <= range[1]);
            let points = RangedCoordf64::from(range[0]..range[1]).key_points(count);
            let labels: Vec<String> = points.iter().map(|at| tenths(*at)).collect();
            let mut once = labels.clone();
            once.dedup();
            assert_eq!(labels, once, "{from} to {to}");
            assert!(labels.len() > 1, "{from} to {to}");
        }
    }
}

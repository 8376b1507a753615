//! A point's reading, taken from the running service over some seconds or typed in.
//!
//! Owns how many readings make one, what becomes of one that does not come, and their scatter. Where they come from is
//! the caller's.

use lauter_core::calibration::{Applied, Direction, Point};

use crate::exit::Failure;

/// A reading before and after correction.
pub type Both = (f64, f64);

/// The mean of `wanted` readings, with the applied value to be set. `next` waits for a second and gives its reading, if
/// there is one; those that do not come are waited for, as long again in all. None when there are not enough even then.
pub fn taken(
    direction: Direction,
    wanted: usize,
    next: &mut dyn FnMut() -> Result<Option<Both>, Failure>,
) -> Result<Option<Point>, Failure> {
    let mut readings = Vec::new();
    for _ in 0..2 * wanted {
        if readings.len() < wanted {
            readings.extend(next()?);
        }
    }
    if readings.len() < wanted {
        return Ok(None);
    }
    let count = readings.len() as f64;
    let mean = |of: fn(&Both) -> f64| readings.iter().map(of).sum::<f64>() / count;
    let (measured, corrected) = (mean(|it| it.0), mean(|it| it.1));
    let squares = readings.iter().map(|it| (it.1 - corrected).powi(2));
    let many = wanted > 1;
    Ok(Some(Point {
        uncorrected: Some(measured),
        scatter: many.then(|| (squares.sum::<f64>() / (count - 1.0)).sqrt()),
        readings: many.then_some(wanted as u32),
        ..typed(direction, corrected)
    }))
}

/// A reading that somebody has read off, with the applied value to be set.
pub fn typed(direction: Direction, reading: f64) -> Point {
    Point {
        direction,
        applied: Applied::Value { value: 0.0 },
        reading,
        uncorrected: None,
        scatter: None,
        readings: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn from(seconds: &[Option<Both>], wanted: usize) -> Option<Point> {
        let mut seconds = seconds.iter();
        taken(Direction::Up, wanted, &mut || {
            Ok(*seconds.next().expect("no more is asked for"))
        })
        .expect("a connection")
    }

    #[test]
    fn a_second_without_a_reading_is_made_good_by_a_later_one() {
        let point = from(&[Some((1.0, 2.0)), None, Some((3.0, 6.0))], 2).expect("a point");
        assert_eq!((point.uncorrected, point.reading), (Some(2.0), 4.0));
        assert_eq!(point.scatter, Some(8.0_f64.sqrt()));
        assert_eq!(point.readings, Some(2));
    }

    #[test]
    fn an_instrument_that_gives_no_reading_is_given_up() {
        assert_eq!(from(&[None, Some((1.0, 1.0)), None, None], 2), None);
    }

    #[test]
    fn a_single_reading_has_no_scatter() {
        let point = from(&[Some((4.0, 4.0))], 1).expect("a point");
        assert_eq!((point.scatter, point.readings), (None, None));
    }
}

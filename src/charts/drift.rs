//! An instrument's errors from check to check.

use jiff::Timestamp;

use super::axis::Axis;
use super::ink::Ink;
use super::sheet::{ChartError, Panel, Side, Size, draw};
use crate::display::Voice;

/// The greatest errors of one check, each as a share of its tolerance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriftPoint {
    pub checked: Timestamp,
    pub as_found: Option<f64>,
    pub as_left: Option<f64>,
}

const DAY_S: f64 = 86_400.0;

/// Room beside the first and the last check, days: less would write the same date twice.
const LEAST_ROOM_DAYS: f64 = 5.0;

/// Errors beyond this stand at the edge with their figure, so that one of them does not flatten the others, % of the
/// tolerance.
const FURTHEST_PERCENT: f64 = 250.0;

/// Errors over time, with the tolerance. Checks whose tolerance has changed stay comparable.
pub fn drift(points: &[DriftPoint], voice: Voice, size: Size) -> Result<String, ChartError> {
    let words = voice.calibration_words();
    let day = |point: &DriftPoint| point.checked.as_second() as f64 / DAY_S;
    let percent = |share: f64| 100.0 * share;
    let days = || points.iter().map(day);
    let (from, to) = (
        days().fold(f64::INFINITY, f64::min),
        days().fold(f64::NEG_INFINITY, f64::max),
    );
    let (from, to) = if from <= to { (from, to) } else { (0.0, 1.0) };
    let room = (0.04 * (to - from)).max(LEAST_ROOM_DAYS);
    let errors = points
        .iter()
        .flat_map(|point| [point.as_found, point.as_left])
        .flatten()
        .map(|share| percent(share).abs());
    let far = 1.1 * errors.fold(110.0, f64::max).min(FURTHEST_PERCENT);
    let date = |day: f64| {
        let time = Timestamp::from_second((day * DAY_S) as i64);
        time.map_or_else(
            |_| String::new(),
            |time| time.strftime("%y-%m-%d").to_string(),
        )
    };
    let whole = |value| voice.number(value, 0);
    let x = Axis {
        from: from - room,
        to: to + room,
        title: String::new(),
        number: &date,
    };
    let y = Axis {
        from: -far,
        to: far,
        title: words.share_of_tolerance.to_owned(),
        number: &whole,
    };
    draw(size, words.drift, words.drift_says, &[1.0], |_, space| {
        space.with(&x, &y, |panel| {
            for limit in [-100.0, 100.0] {
                panel.broken(&[(x.from, limit), (x.to, limit)], Ink::Limit)?;
            }
            let found: Vec<_> = points
                .iter()
                .map(|point| Some((day(point), within(percent(point.as_found?)))))
                .collect();
            panel.curve(&found, Ink::Sample, (words.as_found, "%", 0))?;
            for point in points {
                for (share, ink, hollow) in [
                    (point.as_found, Ink::Sample, true),
                    (point.as_left, Ink::Kettle, false),
                ] {
                    if let Some(share) = share {
                        mark(panel, (day(point), percent(share)), (ink, hollow), voice)?;
                    }
                }
            }
            Ok(())
        })
    })
}

fn within(percent: f64) -> f64 {
    percent.clamp(-FURTHEST_PERCENT, FURTHEST_PERCENT)
}

fn mark(
    panel: &mut Panel<'_>,
    (day, percent): (f64, f64),
    (ink, hollow): (Ink, bool),
    voice: Voice,
) -> Result<(), ChartError> {
    let shown = within(percent);
    panel.dot((day, shown), ink, hollow)?;
    if shown.to_bits() != percent.to_bits() {
        let figure = format!("{} %", voice.number(percent, 0));
        panel.label((day, shown), &figure, ink, Side::Left)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::display::Display;

    #[test]
    fn every_check_has_its_marks_and_no_check_is_no_fault() {
        let size = Size {
            width: 720,
            height: 260,
        };
        let voice = Voice::new(Display::default());
        let check = |days: i64, as_left| DriftPoint {
            checked: Timestamp::from_second(1_760_000_000 + days * 86_400).unwrap(),
            as_found: Some(0.3 + 0.01 * days as f64),
            as_left,
        };
        let drawn = drift(&[check(0, None), check(90, Some(0.1))], voice, size).unwrap();
        assert_eq!(drawn.matches("<circle").count(), 3);
        assert!(drawn.contains("b-limit"));
        assert!(drift(&[], voice, size).is_ok());
        let broken = drift(&[check(0, Some(-18.3))], voice, size).unwrap();
        assert!(broken.contains("−1830 %"), "its figure stands at the edge");
    }
}

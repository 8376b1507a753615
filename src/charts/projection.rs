//! The stop-point as it was projected over the brew, against where it came.

use super::axis::Axis;
use super::ink::Ink;
use super::sheet::{ChartError, Side, Size, draw};
use super::thinned;
use crate::brew_record::BrewRecord;
use crate::display::Voice;

/// Projected stop-point and its band over kettle volume; the line is what was called.
pub fn stop_point_course(
    record: &BrewRecord,
    voice: Voice,
    size: Size,
) -> Result<String, ChartError> {
    let words = voice.words;
    let lines: Vec<_> = record
        .projections
        .iter()
        .filter_map(|line| Some((line.elapsed_s / 60.0, line.target?.volume_l)))
        .collect();
    let lines = thinned(&lines, 240);
    let called_l = record
        .brew
        .finished
        .as_ref()
        .and_then(|finished| finished.summary.as_ref())
        .and_then(|summary| summary.stop_volume_l);
    let volumes = || {
        let bands = lines.iter().flat_map(|(_, band)| [band.p5, band.p95]);
        bands.chain(called_l).map(|l| voice.volume_value(l))
    };
    let (low, high) = (
        volumes().fold(f64::INFINITY, f64::min),
        volumes().fold(0.0, f64::max),
    );
    let (low, high) = if low < high { (low, high) } else { (0.0, 1.0) };
    let room = 0.1 * (high - low);
    let whole = |value| voice.number(value, 0);
    let volume = |value| voice.number(value, voice.volume_digits());
    let x = Axis {
        from: 0.0,
        to: 1.03 * lines.last().map_or(90.0, |(minutes, _)| *minutes).max(1.0),
        title: words.minutes_of_brew.to_owned(),
        number: &whole,
    };
    let y = Axis {
        from: low - room,
        to: high + room,
        title: format!("{}, {}", words.stop_point, voice.volume_unit()),
        number: &volume,
    };
    draw(
        size,
        words.stop_chart,
        words.stop_chart_says,
        &[1.0],
        |_, space| {
            space.with(&x, &y, |panel| {
                for (from_s, to_s) in record.channel_doubts() {
                    let (from, to) = (from_s / 60.0, (to_s / 60.0).min(x.to));
                    panel.area((from, y.from), (to, y.to), Ink::Limit, 0.15)?;
                    panel.label((from, y.to), words.in_doubt, Ink::Limit, Side::Below)?;
                }
                let band: Vec<_> = lines
                    .iter()
                    .map(|(minutes, band)| {
                        let value = |l| voice.volume_value(l);
                        (*minutes, value(band.p5), value(band.p95))
                    })
                    .collect();
                if band.len() > 1 {
                    panel.fan(&band, Ink::Kettle)?;
                }
                let middle: Vec<_> = lines
                    .iter()
                    .map(|(minutes, band)| Some((*minutes, voice.volume_value(band.p50))))
                    .collect();
                let read = (words.stop_point, voice.volume_unit(), voice.volume_digits());
                panel.curve(&middle, Ink::Kettle, read)?;
                if let Some(called_l) = called_l {
                    let called = voice.volume_value(called_l);
                    panel.line(&[(0.0, called), (x.to, called)], Ink::Stop)?;
                    let text = format!("{} {}", words.stop, voice.volume_with_unit(called_l));
                    panel.label((0.0, called), &text, Ink::Stop, Side::Above)?;
                }
                Ok(())
            })
        },
    )
}

//! The mill's gap against what the brews that followed gave.

use super::axis::Axis;
use super::ink::Ink;
use super::sheet::{ChartError, Size, draw};
use crate::display::Voice;

/// One entry of the crush log and the brews up to the next one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CrushPoint {
    pub gap_mm: f64,
    /// Extract in the kettle per kg of grist, of one brew.
    pub extract_yield: Option<f64>,
    pub resistance_per_m: Option<f64>,
}

/// Yield above, resistance beneath, over the mill's gap: each dot a brew.
pub fn crush_course(points: &[CrushPoint], voice: Voice, size: Size) -> Result<String, ChartError> {
    let words = voice.words;
    let yields: Vec<(f64, f64)> = points
        .iter()
        .filter_map(|point| Some((point.gap_mm, 100.0 * point.extract_yield?)))
        .collect();
    let resistances: Vec<(f64, f64)> = points
        .iter()
        .filter_map(|point| Some((point.gap_mm, 1e-9 * point.resistance_per_m?)))
        .collect();
    let range = |values: &mut dyn Iterator<Item = f64>, room: f64| {
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        });
        if low.is_finite() {
            (low - room, high + room)
        } else {
            (0.0, 1.0)
        }
    };
    let (from_mm, to_mm) = range(&mut points.iter().map(|point| point.gap_mm), 0.1);
    let (hundredths, tenths) = (
        |value| voice.number(value, 2),
        |value| voice.number(value, 1),
    );
    let (low_yield, high_yield) = range(&mut yields.iter().map(|(_, y)| *y), 1.0);
    let (_, high_resistance) = range(&mut resistances.iter().map(|(_, y)| *y), 1.0);
    let axes = [
        Axis {
            from: low_yield,
            to: high_yield,
            title: format!("{}, %", words.extract_yield),
            number: &tenths,
        },
        Axis {
            from: 0.0,
            to: 1.1 * high_resistance,
            title: format!("{}, 10⁹/m", words.bed_resistance),
            number: &tenths,
        },
    ];
    draw(
        size,
        words.crush_chart,
        words.crush_chart_says,
        &[1.0, 1.0],
        |index, space| {
            let x = Axis {
                from: from_mm,
                to: to_mm,
                title: if index == 0 {
                    String::new()
                } else {
                    format!("{}, mm", words.mill_gap)
                },
                number: &hundredths,
            };
            let (dots, ink) = if index == 0 {
                (&yields, Ink::Kettle)
            } else {
                (&resistances, Ink::Resistance)
            };
            space.with(&x, &axes[index], |panel| {
                for at in dots {
                    panel.dot(*at, ink, false)?;
                }
                Ok(())
            })
        },
    )
}

//! Charts as SVG: one piece of code for the page, the report and the command line.
//!
//! Owns what is drawn where. Colours are classes (`ink`), plotters is known to `sheet` and `axis` alone, figures are written
//! by `display`. It reads nothing and knows no web.

mod acidity;
mod axis;
mod bed;
mod brews;
mod crush;
mod drift;
mod ink;
mod projection;
mod runoff;
mod sheet;

pub use acidity::acidity;
pub use bed::bed;
pub use brews::{Comparison, compared};
pub use crush::{CrushPoint, crush_course};
pub use drift::{DriftPoint, drift};
pub use projection::stop_point_course;
pub use runoff::{Scene, gravity};
pub use sheet::{ChartError, Size};

/// The colours of the classes, for a drawing or a report that stands by itself; the page has the same names.
pub const STYLE: &str = include_str!("charts.css");

/// A drawing that bears its own colours.
pub fn alone(svg: &str) -> String {
    svg.replacen("<title>", &format!("<style>{STYLE}</style><title>"), 1)
}

/// At most `most` points, evenly spread, the last among them.
fn thinned<T: Copy>(points: &[T], most: usize) -> Vec<T> {
    let every = points.len().div_ceil(most.max(1)).max(1);
    let mut kept: Vec<T> = points.iter().step_by(every).copied().collect();
    if let Some(last) = points.last()
        && !(points.len() - 1).is_multiple_of(every)
    {
        kept.push(*last);
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::thinned;

    #[test]
    fn thinning_keeps_both_ends() {
        let points: Vec<u32> = (0..1000).collect();
        let kept = thinned(&points, 300);
        assert!(kept.len() <= 301);
        assert_eq!((kept[0], kept[kept.len() - 1]), (0, 999));
        assert_eq!(thinned(&points[..3], 300), [0, 1, 2]);
        assert!(thinned::<u32>(&[], 300).is_empty());
    }
}

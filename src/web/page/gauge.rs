//! A straight scale with a pointer: where a value stands between its ends, and where it must not go.
//!
//! Decoration beside the figures: it says nothing that the words do not say as well. Positions are attributes,
//! since the page allows no inline style.

use maud::{Markup, html};

/// A stretch or a line on the scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Mark {
    /// What is forbidden or outside the limit.
    Beyond(f64, f64),
    /// The range of a forecast.
    Band(f64, f64),
    /// A target.
    Target(f64),
    /// Where the run-off is to stop.
    Stop(f64),
    /// Filled from the left.
    Filled(f64),
}

const WIDTH: f64 = 400.0;

/// A scale from `low` to `high`.
pub fn gauge(low: f64, high: f64, value: Option<f64>, marks: &[Mark]) -> Markup {
    let at = |value: f64| ((value - low) / (high - low).max(1e-9)).clamp(0.0, 1.0) * WIDTH;
    let text = |number: f64| format!("{number:.1}");
    let stretch = |from: f64, to: f64, class: &str, y: f64, height: f64| {
        let (from, to) = (at(from), at(to));
        html! { rect class=(class) x=(text(from)) y=(y) width=(text((to - from).max(0.0))) height=(height) {} }
    };
    html! {
        svg class="gauge" viewBox="0 0 400 28" preserveAspectRatio="none" aria-hidden="true" focusable="false" {
            rect class="g-track" x="0" y="9" width="400" height="10" {}
            @for mark in marks {
                @match *mark {
                    Mark::Beyond(from, to) => (stretch(from, to, "g-beyond", 9.0, 10.0)),
                    Mark::Band(from, to) => (stretch(from, to, "g-band", 5.0, 18.0)),
                    Mark::Filled(to) => (stretch(low, to, "g-filled", 9.0, 10.0)),
                    Mark::Target(value) => rect class="g-target" x=(text(at(value) - 1.5)) y="3" width="3" height="22" {},
                    Mark::Stop(value) => rect class="g-stop" x=(text(at(value) - 2.5)) y="1" width="5" height="26" {},
                }
            }
            @if let Some(value) = value {
                polygon class="g-pointer" points=(format!("{0:.1},14 {1:.1},1 {2:.1},1", at(value), at(value) - 8.0, at(value) + 8.0)) {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_beyond_the_scale_stays_on_it() {
        let drawn = gauge(0.0, 10.0, Some(40.0), &[Mark::Target(5.0)]).into_string();
        assert!(drawn.contains("points=\"400.0,14"), "{drawn}");
        assert!(drawn.contains("x=\"198.5\""), "{drawn}");
    }
}

//! Colours by meaning: what is drawn bears a class, and the page's or the report's style gives the class its
//! colour, so that light, dark and paper need one drawing.
//!
//! Owns the marking of what plotters draws (a colour that stands for a meaning) and its turning into classes.

use plotters::style::RGBColor;

/// What a mark stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ink {
    Frame,
    Grid,
    Text,
    Kettle,
    Runnings,
    Acidity,
    Pressure,
    Resistance,
    Target,
    Limit,
    Stop,
    Sample,
    /// One of several brews beside each other.
    Brew1,
    Brew2,
    Brew3,
    Brew4,
    Brew5,
}

impl Ink {
    pub const ALL: [Self; 17] = [
        Self::Frame,
        Self::Grid,
        Self::Text,
        Self::Kettle,
        Self::Runnings,
        Self::Acidity,
        Self::Pressure,
        Self::Resistance,
        Self::Target,
        Self::Limit,
        Self::Stop,
        Self::Sample,
        Self::Brew1,
        Self::Brew2,
        Self::Brew3,
        Self::Brew4,
        Self::Brew5,
    ];

    /// The brews of a comparison in their order.
    pub const BREWS: [Self; 5] = [
        Self::Brew1,
        Self::Brew2,
        Self::Brew3,
        Self::Brew4,
        Self::Brew5,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Self::Frame => "frame",
            Self::Grid => "grid",
            Self::Text => "text",
            Self::Kettle => "kettle",
            Self::Runnings => "runnings",
            Self::Acidity => "acidity",
            Self::Pressure => "pressure",
            Self::Resistance => "resistance",
            Self::Target => "target",
            Self::Limit => "limit",
            Self::Stop => "stop",
            Self::Sample => "sample",
            Self::Brew1 => "brew1",
            Self::Brew2 => "brew2",
            Self::Brew3 => "brew3",
            Self::Brew4 => "brew4",
            Self::Brew5 => "brew5",
        }
    }

    /// The colour that stands for it until [`classed`] has been at work. Broken lines are another meaning.
    pub(super) fn mark(self, broken: bool) -> RGBColor {
        let place = Self::ALL.iter().position(|ink| *ink == self).unwrap_or(0);
        RGBColor(1, u8::from(broken), place as u8)
    }
}

/// Turns every marked `fill` and `stroke` of a drawing into a class: `i-kettle` fills, `l-kettle` draws, `b-kettle`
/// draws broken.
pub(super) fn classed(drawing: &str) -> String {
    let mut text = drawing.replace(" opacity=\"1\"", "");
    for ink in Ink::ALL {
        for broken in [false, true] {
            let RGBColor(red, green, blue) = ink.mark(broken);
            let colour = format!("#{red:02X}{green:02X}{blue:02X}");
            let name = ink.name();
            let line = if broken { "b" } else { "l" };
            text = text
                .replace(
                    &format!("fill=\"{colour}\""),
                    &format!("class=\"i-{name}\""),
                )
                .replace(
                    &format!("stroke=\"{colour}\""),
                    &format!("class=\"{line}-{name}\""),
                );
        }
    }
    text.replace(" fill=\"none\"", "")
        .replace(" stroke=\"none\"", "")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mark_becomes_a_class_and_no_colour_is_left() {
        let drawn = r##"<polyline fill="none" opacity="1" stroke="#010003" stroke-width="2" points="1,2"/><text fill="#010002">x</text><line stroke="#010108"/>"##;
        assert_eq!(
            classed(drawn),
            r#"<polyline class="l-kettle" stroke-width="2" points="1,2"/><text class="i-text">x</text><line class="b-target"/>"#
        );
    }

    #[test]
    fn every_meaning_has_a_mark_of_its_own() {
        let mut marks: Vec<RGBColor> = Ink::ALL
            .into_iter()
            .flat_map(|ink| [ink.mark(false), ink.mark(true)])
            .collect();
        marks.sort_by_key(|RGBColor(red, green, blue)| (*red, *green, *blue));
        marks.dedup();
        assert_eq!(marks.len(), 2 * Ink::ALL.len());
    }
}

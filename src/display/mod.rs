//! How figures are written for people: units, digits, decimal mark and language, for the page, the charts and the
//! report alike.
//!
//! Owns the writing alone. Conversions are the core's; which figure stands where is the concern of those who ask.

#[macro_use]
mod pairs;
mod alarm_words;
mod asked;
mod calibration_words;
pub mod course;
pub mod fault_words;
pub mod fleet_words;
mod pattern;
pub mod refusals;
pub mod sign_in_words;
pub mod terms;
pub mod told;
mod words;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use lauter_core::units::apparent_specific_gravity_from_gravity;

pub use crate::config::model::Display;
use crate::config::model::{DecimalMark, GravityUnit, Language, VolumeUnit};
pub use calibration_words::{Words as CalibrationWords, hint_said};
pub use terms::{alarm_name, phase_name};
pub use words::Words;

/// What stands where there is no value.
pub const NONE: &str = "–";

/// Wort at which a difference of gravities is told in another unit, °P. Own choice: between first wort and floor.
const USUAL_P: f64 = 12.0;

/// Decimals of a volume that are shown as they were typed.
const TYPED_DIGITS: usize = 4;

/// One way of speaking.
#[derive(Clone, Copy, Debug)]
pub struct Voice {
    pub words: &'static Words,
    display: Display,
}

impl Voice {
    pub fn new(display: Display) -> Self {
        Self {
            words: words::of(display.language),
            display,
        }
    }

    /// A language with the decimal mark that goes with it, where nothing else is known.
    pub fn of_language(language: Language) -> Self {
        Self::new(Display {
            language,
            decimal: match language {
                Language::English => DecimalMark::Point,
                Language::German => DecimalMark::Comma,
            },
            ..Display::default()
        })
    }

    /// In the language that was asked for, and in the units of this page.
    #[must_use]
    pub fn in_language(self, language: Language) -> Self {
        if language == self.display.language {
            return self;
        }
        Self::new(Display {
            gravity: self.display.gravity,
            volume: self.display.volume,
            ..Self::of_language(language).display
        })
    }

    pub fn language(self) -> Language {
        self.display.language
    }

    /// The words about loop checks and corrections.
    pub fn calibration_words(self) -> &'static CalibrationWords {
        calibration_words::of(self.display.language)
    }

    /// As the attribute `lang` has it.
    pub fn tag(self) -> &'static str {
        match self.display.language {
            Language::English => "en",
            Language::German => "de",
        }
    }

    pub fn number(self, value: f64, digits: usize) -> String {
        let text = format!("{value:.digits$}");
        // Never −0.
        let zero = text.starts_with('-') && !text.contains(|c: char| ('1'..='9').contains(&c));
        let text = if zero { &text[1..] } else { &text };
        let text = text.replace('-', "−");
        match self.display.decimal {
            DecimalMark::Point => text,
            DecimalMark::Comma => text.replace('.', ","),
        }
    }

    pub fn or_none(value: Option<String>) -> String {
        value.unwrap_or_else(|| NONE.to_owned())
    }

    /// A gravity in the unit of the page, as a number for an axis.
    pub fn gravity_value(self, gravity_p: f64) -> f64 {
        match self.display.gravity {
            GravityUnit::Plato => gravity_p,
            GravityUnit::SpecificGravity => apparent_specific_gravity_from_gravity(gravity_p),
        }
    }

    /// What a degree Plato more is worth in the unit of the page. In specific gravities that depends a little on the wort.
    pub fn gravity_step(self) -> f64 {
        self.gravity_value(USUAL_P + 1.0) - self.gravity_value(USUAL_P)
    }

    pub fn gravity_digits(self) -> usize {
        match self.display.gravity {
            GravityUnit::Plato => 1,
            GravityUnit::SpecificGravity => 3,
        }
    }

    pub fn gravity(self, gravity_p: f64) -> String {
        self.number(self.gravity_value(gravity_p), self.gravity_digits())
    }

    /// With a digit more, for the table and the record.
    pub fn gravity_finely(self, gravity_p: f64) -> String {
        self.number(self.gravity_value(gravity_p), self.gravity_digits() + 1)
    }

    /// As somebody typed it: an instrument may show a digit more than is usual.
    pub fn gravity_as_typed(self, gravity_p: f64) -> String {
        let finely = self.gravity_finely(gravity_p);
        let shown = finely.strip_suffix('0').unwrap_or(&finely);
        match self.display.gravity {
            GravityUnit::Plato => format!("{shown} °P"),
            GravityUnit::SpecificGravity => format!("SG {shown}"),
        }
    }

    pub fn gravity_unit(self) -> &'static str {
        match self.display.gravity {
            GravityUnit::Plato => "°P",
            GravityUnit::SpecificGravity => "SG",
        }
    }

    pub fn gravity_with_unit(self, gravity_p: f64) -> String {
        match self.display.gravity {
            GravityUnit::Plato => format!("{} °P", self.gravity(gravity_p)),
            GravityUnit::SpecificGravity => format!("SG {}", self.gravity(gravity_p)),
        }
    }

    pub fn volume_value(self, volume_l: f64) -> f64 {
        match self.display.volume {
            VolumeUnit::L => volume_l,
            VolumeUnit::Hl => volume_l / 100.0,
        }
    }

    pub fn volume_digits(self) -> usize {
        match self.display.volume {
            VolumeUnit::L => 0,
            VolumeUnit::Hl => 1,
        }
    }

    pub fn volume(self, volume_l: f64) -> String {
        self.number(self.volume_value(volume_l), self.volume_digits())
    }

    pub fn volume_unit(self) -> &'static str {
        match self.display.volume {
            VolumeUnit::L => "L",
            VolumeUnit::Hl => "hL",
        }
    }

    /// As somebody typed it: a slip must not be rounded away.
    pub fn volume_as_typed(self, volume_l: f64) -> String {
        let value = self.volume_value(volume_l);
        let is_exact = |digits: &usize| {
            let shown = format!("{value:.digits$}").parse::<f64>();
            shown.is_ok_and(|shown| (shown - value).abs() < 1e-9)
        };
        let digits = (self.volume_digits()..TYPED_DIGITS).find(is_exact);
        let shown = self.number(value, digits.unwrap_or(TYPED_DIGITS));
        format!("{shown} {}", self.volume_unit())
    }

    pub fn volume_with_unit(self, volume_l: f64) -> String {
        format!("{} {}", self.volume(volume_l), self.volume_unit())
    }

    pub fn flow_value(self, flow_l_min: f64) -> f64 {
        match self.display.volume {
            VolumeUnit::L => flow_l_min,
            VolumeUnit::Hl => flow_l_min * 60.0 / 100.0,
        }
    }

    pub fn flow(self, flow_l_min: f64) -> String {
        self.number(self.flow_value(flow_l_min), 1)
    }

    /// Of a flow through each square metre of bed.
    pub fn flux_unit(self) -> &'static str {
        match self.display.volume {
            VolumeUnit::L => "L/min m²",
            VolumeUnit::Hl => "hL/h m²",
        }
    }

    pub fn flow_unit(self) -> &'static str {
        match self.display.volume {
            VolumeUnit::L => "L/min",
            VolumeUnit::Hl => "hL/h",
        }
    }

    pub fn ph(self, ph: f64) -> String {
        self.number(ph, 2)
    }

    pub fn minutes(self, seconds: f64) -> String {
        self.number(seconds / 60.0, 0)
    }

    /// Bed resistances are written in 10⁹/m.
    pub fn resistance(self, resistance_per_m: f64) -> String {
        self.number(resistance_per_m * 1e-9, 1)
    }

    pub fn percent(self, share: f64, digits: usize) -> String {
        self.number(100.0 * share, digits)
    }

    /// Hours and minutes on the brewery's clock.
    pub fn clock(self, time: Timestamp) -> String {
        time.to_zoned_datetime(TimeZone::system())
            .strftime("%H:%M")
            .to_string()
    }

    pub fn date(self, time: Timestamp) -> String {
        time.to_zoned_datetime(TimeZone::system())
            .strftime("%Y-%m-%d %H:%M")
            .to_string()
    }
}

/// A moment `seconds` later.
pub fn later(time: Timestamp, seconds: f64) -> Timestamp {
    let moved = time.as_microsecond() as f64 + 1e6 * seconds;
    Timestamp::from_microsecond(moved as i64).unwrap_or(time)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn voice(gravity: GravityUnit, volume: VolumeUnit, decimal: DecimalMark) -> Voice {
        Voice::new(Display {
            gravity,
            volume,
            decimal,
            ..Display::default()
        })
    }

    #[test]
    fn figures_are_written_in_the_units_and_with_the_mark_of_the_setting() {
        let metric = voice(GravityUnit::Plato, VolumeUnit::L, DecimalMark::Point);
        assert_eq!(metric.gravity_with_unit(12.44), "12.4 °P");
        assert_eq!(metric.volume_with_unit(4435.4), "4435 L");
        assert_eq!(metric.volume_as_typed(2.4), "2.4 L");
        assert_eq!(metric.volume_as_typed(2400.0), "2400 L");
        assert!((metric.gravity_step() - 1.0).abs() < 1e-9);
        let other = voice(
            GravityUnit::SpecificGravity,
            VolumeUnit::Hl,
            DecimalMark::Comma,
        );
        // 12 °P is SG 1.0484 (in air, 20/20), from the density tables the core is held against.
        assert_eq!(other.gravity_with_unit(12.0), "SG 1,048");
        assert_eq!(other.volume_with_unit(4435.4), "44,4 hL");
        assert_eq!(other.volume_as_typed(2.4), "0,024 hL");
        assert_eq!(other.volume_as_typed(2400.0), "24,0 hL");
        assert_eq!(other.flow(60.0), "36,0");
        // 13 °P is SG 1.0526, from the same tables.
        assert!((other.gravity_step() - 0.0042).abs() < 0.00005);
    }

    #[test]
    fn nothing_is_written_as_minus_nought() {
        let voice = Voice::new(Display::default());
        assert_eq!(voice.number(-0.04, 1), "0.0");
        assert_eq!(voice.number(-0.06, 1), "−0.1");
    }
}

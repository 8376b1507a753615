//! The answer of a calculation: figures with their units, the formula, its source, and a caution where apt.
//!
//! Owns how an answer looks, as text and as JSON. Must not know any calculation.

use std::fmt::Write as _;

use serde::Serialize;

/// One figure of an answer.
#[derive(Clone, Debug, Serialize)]
pub struct Figure {
    pub name: &'static str,
    pub value: f64,
    pub unit: &'static str,
    /// Places shown in text; JSON carries the value unrounded.
    #[serde(skip)]
    pub decimals: usize,
}

/// A calculation's result as the brewer reads it.
#[derive(Clone, Debug, Serialize)]
pub struct Answer {
    pub figures: Vec<Figure>,
    pub formula: &'static str,
    pub source: &'static str,
    pub caution: Option<&'static str>,
}

/// Source of every density in an answer.
pub const DENSITY_SOURCE: &str = "ICUMSA SPS-4 form, Bubník, Kadlec, Urban & Bruhns, Sugar Technologists Manual, \
                                  Bartens 1995, p. 164";

/// The same with the viscosity beside it.
pub const DENSITY_AND_VISCOSITY_SOURCE: &str = "density: ICUMSA SPS-4 form, Bubník et al., Sugar Technologists Manual, \
                                                Bartens 1995, p. 164; viscosity: IAPWS SR6-08(2011), Génotelle in Bubník \
                                                et al. (within 4.5 % of the CRC Handbook at 20 %)";

impl Answer {
    pub fn new(formula: &'static str, source: &'static str) -> Self {
        Self {
            figures: Vec::new(),
            formula,
            source,
            caution: None,
        }
    }

    #[must_use]
    pub fn figure(
        mut self,
        name: &'static str,
        value: f64,
        unit: &'static str,
        decimals: usize,
    ) -> Self {
        self.figures.push(Figure {
            name,
            value,
            unit,
            decimals,
        });
        self
    }

    #[must_use]
    pub fn caution(self, caution: &'static str) -> Self {
        Self {
            caution: Some(caution),
            ..self
        }
    }

    /// One line a figure, names aligned, then where it comes from.
    pub fn text(&self) -> String {
        let width = self.figures.iter().map(|f| f.name.chars().count()).max();
        let width = width.unwrap_or(0).max("formula".len());
        let mut text = String::new();
        for figure in &self.figures {
            let (name, value, decimals) = (figure.name, figure.value, figure.decimals);
            // Writing to a string cannot fail.
            let _ = writeln!(text, "{name:width$}  {value:.decimals$} {}", figure.unit);
        }
        let _ = writeln!(text, "{:width$}  {}", "formula", self.formula);
        let _ = write!(text, "{:width$}  {}", "source", self.source);
        if let Some(caution) = self.caution {
            let _ = write!(text, "\n{:width$}  {caution}", "caution");
        }
        text
    }

    pub fn json(&self) -> String {
        serde_json::json!(self).to_string()
    }
}

#[cfg(test)]
impl Answer {
    /// The figure of this name, for tests.
    pub fn value(&self, name: &str) -> f64 {
        let figure = self.figures.iter().find(|f| f.name == name);
        figure.unwrap_or_else(|| panic!("no figure `{name}`")).value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_shows_rounded_figures_with_units_and_their_source() {
        let text = Answer::new("a = b", "common practice, no source")
            .figure("flow", 61.111, "L/min", 1)
            .caution("slowly")
            .text();
        assert_eq!(
            text,
            "flow     61.1 L/min\nformula  a = b\nsource   common practice, no source\ncaution  slowly"
        );
    }

    #[test]
    fn json_carries_figures_unrounded() {
        let json = Answer::new("a = b", "s")
            .figure("flow", 61.111, "L/min", 1)
            .json();
        let value: serde_json::Value = serde_json::from_str(&json).unwrap();
        assert_eq!(value["figures"][0]["value"], 61.111);
        assert_eq!(value["figures"][0]["unit"], "L/min");
        assert!(value["caution"].is_null());
    }
}

//! What the engineer looks for: the instrument's quantity and unit, what it shows now, and its name in the table.

use std::fmt::Write as _;

use clap::Args;
use lauter_core::reading::Measures;
use lauter_core::units::Unit;
use serde::de::DeserializeOwned;

use crate::commission::expected::{usual, usual_unit};
use crate::config;

/// What is looked for
#[derive(Debug, Args)]
pub struct Wanted {
    /// What the instrument shows now, for example 1030..1060: readings within it are marked and stand first. Without
    /// it the usual range of --measures counts, if that is given
    #[arg(long, value_name = "LOW..HIGH", value_parser = range, allow_hyphen_values = true)]
    expect: Option<(f64, f64)>,
    /// Name of the instrument in the table to paste
    #[arg(long, value_name = "ID", default_value = "new_instrument")]
    pub id: String,
    /// What it measures: runnings-gravity, runoff-flow, kettle-volume and so on
    #[arg(long, value_name = "QUANTITY", value_parser = spelt::<Measures>)]
    measures: Option<Measures>,
    /// Unit of its readings; without it the usual one of the quantity
    #[arg(long, value_name = "UNIT", value_parser = spelt::<Unit>)]
    unit_of_value: Option<Unit>,
    /// Which of the listed readings the table to paste is for
    #[arg(long, value_name = "NUMBER", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..))]
    pick: u16,
    /// Lists the readings outside the expected range as well
    #[arg(long)]
    pub all: bool,
}

/// A word as the configuration spells it.
fn spelt<T: DeserializeOwned>(text: &str) -> Result<T, String> {
    serde_json::from_value(text.into()).map_err(|error| error.to_string())
}

fn range(text: &str) -> Result<(f64, f64), String> {
    let ends = text.split_once("..").and_then(|(low, high)| {
        let low: f64 = low.trim().parse().ok()?;
        let high: f64 = high.trim().parse().ok()?;
        (low.is_finite() && high.is_finite() && low <= high).then_some((low, high))
    });
    ends.ok_or_else(|| "give the least and the greatest value, for example 8..20".to_owned())
}

impl Wanted {
    pub fn measures(&self) -> Measures {
        self.measures.unwrap_or(Measures::RunningsGravity)
    }

    pub fn unit(&self) -> Unit {
        self.unit_of_value
            .unwrap_or_else(|| usual_unit(self.measures()))
    }

    /// Least and greatest that are expected, if anything tells.
    pub fn expected(&self) -> Option<(f64, f64)> {
        self.expect.or_else(|| usual(self.measures?, self.unit()))
    }

    pub fn number(&self) -> usize {
        usize::from(self.pick)
    }

    /// The head of the instrument's table. Its limits are left for who knows the instrument.
    pub fn table_head(&self) -> String {
        let mut head = format!(
            "[[instrument]]\nid = {:?}\nmeasures = \"{}\"\nunit = \"{}\"\n",
            self.id,
            config::spelt(self.measures()),
            config::spelt(self.unit())
        );
        if self.unit() == Unit::KilogramPerCubicMetre {
            head.push_str("# temperature = \"\"     # name the instrument that compensates it\n");
        }
        if self.unit() == Unit::Milliampere {
            head.push_str(
                "span = { unit = \"L\", at_4_ma = 0.0, at_20_ma = 100.0 }     # set it\n",
            );
        }
        if self.unit() != Unit::Bool {
            let (low, high) = self.expected().unwrap_or((0.0, 0.0));
            let _ = write!(
                head,
                "low = {low:?}     # physical limits: set them\nhigh = {high:?}\n"
            );
        }
        head
    }
}

#[cfg(test)]
mod tests {
    use super::range;

    #[test]
    fn a_range_is_two_numbers_in_order() {
        assert_eq!(range("8..20"), Ok((8.0, 20.0)));
        assert_eq!(range("-2.5..-1"), Ok((-2.5, -1.0)));
        for wrong in ["8", "20..8", "a..b", "1..nan", ".."] {
            assert!(range(wrong).is_err(), "{wrong}");
        }
    }
}

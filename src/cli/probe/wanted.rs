//! What the engineer looks for: the instrument's quantity and unit, what it shows now, and its name in the table.

use std::fmt::Write as _;
use std::path::PathBuf;

use clap::Args;
use lauter_core::reading::Measures;
use lauter_core::units::Unit;
use serde::de::DeserializeOwned;

use super::into::Unfinished;
use crate::commission::expected::{limits, must_reach, usual, usual_unit};
use crate::config;
use crate::exit::{Failure, Kind};

/// What is looked for
#[derive(Debug, Args)]
pub struct Wanted {
    /// What the instrument shows now, for example 1048.9, or 1030..1060 where it moves: readings within it, or within
    /// 2 % of it, are marked and stand first. Without it the usual range of --measures counts, if that is given
    #[arg(long, value_name = "VALUE|LOW..HIGH", value_parser = expectation, allow_hyphen_values = true)]
    expect: Option<Expectation>,
    /// Name of the instrument in the table to paste
    #[arg(long, value_name = "ID", default_value = "new_instrument", value_parser = identifier)]
    pub id: String,
    /// What it measures: runnings-gravity, runoff-flow, kettle-volume and so on
    #[arg(long, value_name = "QUANTITY", value_parser = spelt::<Measures>)]
    measures: Option<Measures>,
    /// Unit of its readings; without it the usual one of the quantity
    #[arg(long, value_name = "UNIT", value_parser = spelt::<Unit>)]
    unit_of_value: Option<Unit>,
    /// Name of the thermometer that compensates it: a density needs one, and a pH for limits at room temperature
    #[arg(long, value_name = "ID")]
    temperature: Option<String>,
    /// Which of the listed readings the table is for; without it the first, if none fits as well
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u16).range(1..))]
    pick: Option<u16>,
    /// Lists the readings outside the expected range as well
    #[arg(long)]
    pub all: bool,
    /// Adds the table to this configuration instead of printing it to be pasted; a file that is not there is begun
    #[arg(long, value_name = "FILE", requires_all = ["id", "measures"])]
    into: Option<PathBuf>,
}

/// What is expected: least and greatest, and what the instrument shows with its last digit.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Expectation {
    low: f64,
    high: f64,
    display: Option<(f64, f64)>,
}

/// Of two readings that fit, the nearer is the right one where the other is so many times as far from what the instrument
/// shows. Own choice: half of a neighbour's number, read together with half of this one, comes within 1 %.
const CLEARLY_NEARER: f64 = 3.0;

/// Whether the nearer of two readings, by their distances, cannot be told to be the right one.
pub fn leaves_open(nearer: f64, other: f64) -> bool {
    other <= CLEARLY_NEARER * nearer
}

/// How far what an instrument shows may lie from what its registers say a moment later. Own choice.
const SHOWN_WITHIN: f64 = 0.02;

/// A word as the configuration spells it.
fn spelt<T: DeserializeOwned>(text: &str) -> Result<T, String> {
    serde_json::from_value(text.into()).map_err(|error| error.to_string())
}

fn identifier(text: &str) -> Result<String, String> {
    if config::is_identifier(text) {
        return Ok(text.to_owned());
    }
    Err("give 1 to 64 of the characters A-Z, a-z, 0-9, '_' and '-'".to_owned())
}

fn expectation(text: &str) -> Result<Expectation, String> {
    let (low, high) = range(text)?;
    let decimals = text
        .trim()
        .split_once('.')
        .map_or(0, |(_, digits)| digits.len());
    let last_digit = 0.1_f64.powi(decimals.try_into().unwrap_or(i32::MAX));
    let display = text.trim().parse().ok().map(|shown| (shown, last_digit));
    Ok(Expectation { low, high, display })
}

fn range(text: &str) -> Result<(f64, f64), String> {
    let number = |text: &str| {
        let number: f64 = text.trim().parse().ok()?;
        number.is_finite().then_some(number)
    };
    let ends = match text.split_once("..") {
        Some((low, high)) => number(low).zip(number(high)),
        None => number(text).map(|shown| {
            let within = SHOWN_WITHIN * shown.abs();
            (shown - within, shown + within)
        }),
    };
    let ends = ends.filter(|(low, high)| low <= high);
    ends.ok_or_else(|| {
        "give what the instrument shows, for example 5.02, or the least and the greatest value, for example 8..20"
            .to_owned()
    })
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
        let told = self.expect.map(|expected| (expected.low, expected.high));
        told.or_else(|| usual(self.measures?, self.unit()))
    }

    /// How far a reading lies from what the instrument shows; not nearer than its last digit, and 0 where nobody told.
    pub fn distance(&self, value: f64) -> f64 {
        let display = self.expect.and_then(|expected| expected.display);
        display.map_or(0.0, |(shown, last_digit)| {
            (value - shown).abs().max(last_digit)
        })
    }

    /// What every instrument of the quantity must be able to show, if the quantity is told.
    pub fn must_reach(&self) -> Option<f64> {
        must_reach(self.measures?, self.unit())
    }

    pub fn number(&self) -> usize {
        usize::from(self.pick.unwrap_or(1))
    }

    /// Where several fit equally well, only a person can tell: what is read wrongly from now on is not to be found out later.
    pub fn settled(&self, equals: usize) -> Result<(), Failure> {
        if self.pick.is_some() || self.into.is_none() || equals < 2 {
            return Ok(());
        }
        let words = format!(
            "nothing was added: the first {equals} fit equally well. Let the instrument move and watch it (--watch), narrow \
             --expect or the range, or say which it is with --pick"
        );
        Err(Failure::new(Kind::Data, words))
    }

    /// The file to add the table to, if one is named and has room for it. Quantity and unit must fit each other.
    pub fn file(&self) -> Result<Option<Unfinished>, Failure> {
        let unit = self.unit();
        if let Some(measures) = self.measures
            && unit != Unit::Milliampere
            && unit.dimension() != measures.dimension()
        {
            let words = format!(
                "--unit-of-value {}: {} is not measured in it; usual is {}",
                unit.name(),
                config::spelt(measures),
                usual_unit(measures).name()
            );
            return Err(Failure::new(Kind::Usage, words));
        }
        let Some(path) = &self.into else {
            return Ok(None);
        };
        let file = Unfinished::open(path)?;
        file.must_lack(&self.id)?;
        Ok(Some(file))
    }

    /// What is said before the table of the reading that was picked, and what is done with it.
    pub fn hand_over(&self, tables: &str, into: Option<&Unfinished>) -> Result<String, Failure> {
        let number = self.number();
        let what_next =
            "Then hold it against a known value: a buffer, a weighed solution, a stopped flow.\n";
        let (Some(file), Some(path)) = (into, &self.into) else {
            return Ok(format!(
                "\nIf number {number} is right, paste:\n\n{tables}\n{what_next}"
            ));
        };
        file.add(tables)?;
        Ok(format!(
            "\nNumber {number} stands in {} now:\n\n{tables}\nIf it is not the right one, take it out and --pick another. \
             {what_next}",
            path.display()
        ))
    }

    /// Nothing was picked: that is a failure for who wanted it added.
    pub fn left_as_it_was(&self) -> Result<(), Failure> {
        let Some(path) = &self.into else {
            return Ok(());
        };
        let words = format!(
            "{}: nothing was added: there is no number {} to pick; look at the list without --into",
            path.display(),
            self.number()
        );
        Err(Failure::new(Kind::Data, words))
    }

    /// The head of the instrument's table. Its limits are left for who knows the instrument.
    pub fn table_head(&self) -> String {
        let mut head = format!(
            "[[instrument]]\nid = {:?}\nmeasures = \"{}\"\nunit = \"{}\"\n",
            self.id,
            config::spelt(self.measures()),
            config::spelt(self.unit())
        );
        if let Some(thermometer) = &self.temperature {
            let _ = writeln!(head, "temperature = {thermometer:?}");
        } else if self.unit() == Unit::KilogramPerCubicMetre {
            head.push_str("# temperature = \"\"     # name the instrument that compensates it\n");
        }
        if self.unit() == Unit::Milliampere {
            head.push_str(
                "span = { unit = \"L\", at_4_ma = 0.0, at_20_ma = 100.0 }     # set it\n",
            );
        }
        if self.unit() != Unit::Bool {
            let limits = limits(self.measures(), self.unit());
            let (low, high) = limits.or(self.expected()).unwrap_or((0.0, 0.0));
            let _ = write!(
                head,
                "low = {low:?}     # physical limits, wide: set those of the instrument\nhigh = {high:?}\n"
            );
        }
        head
    }
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        wanted: Wanted,
    }

    fn asked(words: &[&str]) -> Result<Wanted, clap::Error> {
        Line::try_parse_from(["probe"].iter().chain(words)).map(|line| line.wanted)
    }

    const FLOW: [&str; 6] = [
        "--id",
        "flow",
        "--measures",
        "runoff-flow",
        "--into",
        "tun.toml",
    ];

    #[test]
    fn of_several_that_fit_equally_well_none_is_added_until_somebody_picks() {
        let wanted = asked(&FLOW).unwrap();
        let refused = wanted.settled(3).expect_err("three fit");
        assert_eq!(refused.kind, Kind::Data);
        assert!(refused.message.contains("--pick"), "{refused}");
        wanted.settled(1).expect("one fits best");
        let picked = asked(&[&FLOW[..], &["--pick", "2"]].concat()).unwrap();
        picked.settled(3).expect("somebody picked");
        asked(&[]).unwrap().settled(3).expect("nothing is added");
    }

    #[test]
    fn an_id_that_no_configuration_takes_and_a_unit_of_another_quantity_are_refused() {
        assert!(asked(&["--id", "bad id/x"]).is_err());
        let wanted = asked(&[&FLOW[..], &["--unit-of-value", "degC"]].concat()).unwrap();
        let refused = wanted.file().expect_err("a flow in degC");
        assert_eq!(refused.kind, Kind::Usage);
        assert!(refused.message.contains("L/min"), "{refused}");
    }

    #[test]
    fn what_an_instrument_shows_stands_for_a_little_around_it() {
        for (shown, value) in [("5.0", 5.0), ("1048.9", 1048.9), ("-4", -4.0)] {
            let (low, high) = range(shown).unwrap();
            assert!(low < value && value < high, "{low} {high}");
            assert!(high - low < 0.05 * value.abs(), "{low} {high}");
        }
        assert_eq!(range("0"), Ok((0.0, 0.0)));
    }

    #[test]
    fn the_nearer_of_two_readings_is_clear_where_the_other_is_much_further_from_the_display() {
        let wanted = asked(&["--expect", "1048.9"]).unwrap();
        let open =
            |wanted: &Wanted, one, other| leaves_open(wanted.distance(one), wanted.distance(other));
        assert!(!open(&wanted, 1048.93, 1050.2));
        // Both round to what is shown, or nearly.
        assert!(open(&wanted, 1048.93, 1048.87));
        assert!(open(&wanted, 1049.4, 1048.1));
        let range = asked(&["--expect", "1000..1100"]).unwrap();
        assert!(open(&range, 1048.9, 1001.0));
    }

    #[test]
    fn a_range_is_two_numbers_in_order() {
        assert_eq!(range("8..20"), Ok((8.0, 20.0)));
        assert_eq!(range("-2.5..-1"), Ok((-2.5, -1.0)));
        for wrong in ["20..8", "a..b", "1..nan", ".."] {
            assert!(range(wrong).is_err(), "{wrong}");
        }
    }
}

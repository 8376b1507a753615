//! `calc ph`: a wort's pH in the line and in the laboratory.
//!
//! Owns the options; the temperature shift is the core's.

use clap::{Args, ValueEnum};
use lauter_core::units::{nernst_slope_mv_per_ph, ph_at_room, ph_in_process};

use super::answer::Answer;
use super::limits;
use crate::exit::Failure;

/// The words of the run-off plan's `ph_basis`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Basis {
    /// A sample cooled to 20 °C
    Room,
    /// As read in the line at --temperature-c
    Process,
}

/// pH of the same wort cooled to 20 °C and in the line
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd calc ph --ph 5.55 --basis process --temperature-c 76
  lauterd calc ph --ph 6.0 --basis room --temperature-c 76")]
pub struct Shift {
    /// The pH known
    #[arg(long, allow_negative_numbers = true)]
    ph: f64,
    /// Where that pH holds
    #[arg(long)]
    basis: Basis,
    /// Temperature in the line, °C
    #[arg(long, allow_negative_numbers = true)]
    temperature_c: f64,
}

impl Shift {
    pub fn answer(&self) -> Result<Answer, Failure> {
        let ph = limits::PH.check(self.ph)?;
        let temperature_c = limits::TEMPERATURE.check(self.temperature_c)?;
        let (room, process) = match self.basis {
            Basis::Room => (ph, ph_in_process(ph, temperature_c)),
            Basis::Process => (ph_at_room(ph, temperature_c), ph),
        };
        let slope = nernst_slope_mv_per_ph(temperature_c);
        Ok(Answer::new(
            "pH at 20 °C = pH in the line + 0.00777·(t − 20); slope = R·T·ln 10/F",
            "Briggs, Boulton, Brookes & Stevens, Brewing: Science and Practice, 2004; Nernst with CODATA 2018",
        )
        .figure("cooled to 20 °C", room, "pH", 2)
        .figure("in the line", process, "pH", 2)
        .figure("electrode slope", slope, "mV/pH in the line", 2)
        .caution(
            "An average over worts, good to about 0.05; a meter's own temperature compensation corrects the \
             slope only.",
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Briggs et al. 2004: 0.45 lower at 78 °C. 0.005: half the last digit.
    #[test]
    fn a_room_ceiling_is_lower_in_the_line() {
        let calculation = Shift {
            ph: 6.0,
            basis: Basis::Room,
            temperature_c: 78.0,
        };
        let answer = calculation.answer().unwrap();
        assert!((answer.value("in the line") - 5.55).abs() < 5e-3);
        assert!((answer.value("cooled to 20 °C") - 6.0).abs() < 1e-12);
    }
}

//! `calc convert` and `calc density`: one wort, in every unit a brewer meets it in.
//!
//! Owns the options of both; the conversions are the core's.

use clap::{Args, ValueEnum};
use lauter_core::units::{
    Unit, gravity_from_p, gravity_to_p, vacuum_specific_gravity_from_gravity, wort_density_kg_m3,
    wort_density_slope_kg_m3_per_p, wort_viscosity_mpa_s,
};

use super::answer::{Answer, DENSITY_AND_VISCOSITY_SOURCE, DENSITY_SOURCE};
use super::limits::{self, usage};
use crate::exit::Failure;

/// A unit of gravity, spelled as in the configuration.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum GravityUnit {
    /// % extract by mass
    #[value(name = "degP")]
    Plato,
    /// Apparent specific gravity 20/20 °C, in air
    #[value(name = "sg")]
    SpecificGravity,
    /// Density at --temperature-c
    #[value(name = "kg/m3")]
    Density,
    /// Refractometer reading at 20 °C
    #[value(name = "degBx")]
    Brix,
}

impl GravityUnit {
    fn unit(self) -> Unit {
        match self {
            Self::Plato => Unit::DegreePlato,
            Self::SpecificGravity => Unit::SpecificGravity,
            Self::Density => Unit::KilogramPerCubicMetre,
            Self::Brix => Unit::DegreeBrix,
        }
    }

    /// Name, unit and places of a figure.
    fn label(self) -> (&'static str, &'static str, usize) {
        match self {
            Self::Plato => ("gravity", "°P", 3),
            Self::SpecificGravity => ("specific gravity", "20/20 °C in air", 5),
            Self::Density => ("density", "kg/m³", 3),
            Self::Brix => ("refractometer", "°Bx", 3),
        }
    }
}

/// Converts a gravity between °P, specific gravity, density and refractive °Bx
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd calc convert 12 --from degP
  lauterd calc convert 1021.4 --from kg/m3 --temperature-c 75 --to degP
  lauterd calc convert 12.5 --from degBx --wort-factor 1.04")]
pub struct Convert {
    /// The gravity, in the unit named by --from
    #[arg(allow_negative_numbers = true)]
    value: f64,
    /// Unit of the value
    #[arg(long)]
    from: GravityUnit,
    /// Unit wanted; without it, all of them
    #[arg(long)]
    to: Option<GravityUnit>,
    /// Temperature of the wort, °C; needed for kg/m3
    #[arg(long, allow_negative_numbers = true)]
    temperature_c: Option<f64>,
    /// Refractometer °Bx over °P (common practice: about 1.04)
    #[arg(long, default_value_t = 1.04, allow_negative_numbers = true)]
    wort_factor: f64,
}

impl Convert {
    pub fn answer(&self) -> Result<Answer, Failure> {
        if let Some(temperature_c) = self.temperature_c {
            limits::TEMPERATURE.check(temperature_c)?;
        } else if [Some(self.from), self.to].contains(&Some(GravityUnit::Density)) {
            return Err(usage(
                "--temperature-c is missing; a density needs the temperature of the wort, 0 to 100 °C",
            ));
        }
        limits::WORT_FACTOR.check(self.wort_factor)?;
        let gravity_p = self.gravity_p()?;
        let mut answer = Answer::new(
            "°P = % extract by mass; ρ = ρw(t) + Σ a·w^j·((t − 20)/100)^i; \
             sg = (ρ20 − 1.2)/(ρw20 − 1.2); °Bx = °P × wort factor",
            DENSITY_SOURCE,
        );
        for unit in self.wanted() {
            let (name, symbol, decimals) = unit.label();
            let value =
                gravity_from_p(unit.unit(), gravity_p, self.temperature_c, self.wort_factor)
                    .map_err(|error| usage(error.to_string()))?;
            answer = answer.figure(name, value, symbol, decimals);
        }
        if self.to.is_none() {
            let vacuum = vacuum_specific_gravity_from_gravity(gravity_p);
            answer = answer.figure("in vacuum", vacuum, "20/20 °C (ratio of densities)", 5);
        }
        Ok(answer.caution(self.apt_caution()))
    }

    fn gravity_p(&self) -> Result<f64, Failure> {
        let unit = self.from.unit();
        gravity_to_p(unit, self.value, self.temperature_c, self.wort_factor)
            .map_err(|error| usage(format!("<VALUE> {} {}: {error}", self.value, unit.name())))
    }

    fn wanted(&self) -> Vec<GravityUnit> {
        match self.to {
            Some(unit) => vec![unit],
            None => GravityUnit::value_variants()
                .iter()
                .copied()
                .filter(|unit| *unit != GravityUnit::Density || self.temperature_c.is_some())
                .collect(),
        }
    }

    fn apt_caution(&self) -> &'static str {
        if self.from == GravityUnit::Brix || self.to == Some(GravityUnit::Brix) {
            "The wort factor is the brewery's own: compare the refractometer with a density meter."
        } else {
            "Brewers' sg is in air; a density meter's ratio is in vacuum, and mixing them up costs 0.015 °P."
        }
    }
}

/// Density and viscosity of wort at a temperature
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  lauterd calc density --gravity-p 12 --temperature-c 75")]
pub struct Density {
    /// Gravity, °P
    #[arg(long, allow_negative_numbers = true)]
    gravity_p: f64,
    /// Temperature, °C
    #[arg(long, allow_negative_numbers = true)]
    temperature_c: f64,
}

impl Density {
    pub fn answer(&self) -> Result<Answer, Failure> {
        let gravity_p = limits::GRAVITY.check(self.gravity_p)?;
        let temperature_c = limits::TEMPERATURE.check(self.temperature_c)?;
        let density = wort_density_kg_m3(gravity_p, temperature_c);
        let slope = wort_density_slope_kg_m3_per_p(gravity_p, temperature_c);
        let viscosity = wort_viscosity_mpa_s(gravity_p, temperature_c);
        let answer = Answer::new(
            "ρ = ρw(t) + Σ a·w^j·((t − 20)/100)^i; viscosity: water after IAPWS × sugar solution over water after \
             Génotelle",
            DENSITY_AND_VISCOSITY_SOURCE,
        )
        .figure("density", density, "kg/m³", 3)
        .figure("1 kg/m³ is", 1.0 / slope, "°P", 3)
        .figure("viscosity", viscosity, "mPa·s", 3);
        Ok(answer.caution(
            "The viscosity is that of sucrose; β-glucan and dextrins make real wort thicker.",
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn convert(value: f64, from: GravityUnit, temperature_c: Option<f64>) -> Convert {
        Convert {
            value,
            from,
            to: None,
            temperature_c,
            wort_factor: 1.04,
        }
    }

    /// *Sugar Technologists Manual* form: 12 °P at 75 °C is 1021.405 kg/m³. 0.001 °P: a quarter of the last digit.
    #[test]
    fn density_at_mash_temperature_converts_to_plato() {
        let answer = convert(1021.405, GravityUnit::Density, Some(75.0))
            .answer()
            .unwrap();
        assert!((answer.value("gravity") - 12.0).abs() < 1e-3);
        assert!((answer.value("refractometer") - 12.48).abs() < 2e-3);
    }

    #[test]
    fn density_is_left_out_when_no_temperature_is_given() {
        let answer = convert(12.0, GravityUnit::Plato, None).answer().unwrap();
        assert!(answer.figures.iter().all(|f| f.name != "density"));
        let failure = convert(1040.0, GravityUnit::Density, None)
            .answer()
            .unwrap_err();
        assert!(failure.message.contains("--temperature-c"), "{failure}");
    }

    #[test]
    fn a_gravity_no_wort_has_is_a_usage_error_with_the_range() {
        let failure = convert(1.4, GravityUnit::SpecificGravity, None)
            .answer()
            .unwrap_err();
        assert!(failure.message.contains("1.4"), "{failure}");
        assert!(failure.message.contains(" to "), "{failure}");
    }
}

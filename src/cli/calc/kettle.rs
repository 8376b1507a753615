//! `calc mix`, `dilute`, `contraction`, `flow`, `brew-length` and `extract`: balances around the kettle.
//!
//! Owns the options; the balances are the core's. Every volume is asked for with its temperature, because a
//! kettle-full at 75 °C is 2.4 % larger than the same wort at 20 °C.

use std::str::FromStr;

use clap::Args;
use lauter_core::units::{
    Wort, brew_length_l_per_kg, cooling_contraction, extract_kg_per_hl, extract_lb_per_us_barrel,
    extract_yield_percent, mix, runoff_flow_l_min, top_up,
};

use super::answer::{Answer, DENSITY_SOURCE};
use super::limits::{self, usage};
use crate::exit::Failure;

const KETTLE_CAUTION: &str =
    "Never fill a kettle on this figure alone; the hard-wired high-level trip stands.";

fn wort(volume_l: f64, gravity_p: f64, temperature_c: f64) -> Result<Wort, Failure> {
    Ok(Wort {
        volume_l: limits::VOLUME.check(volume_l)?,
        gravity_p: limits::GRAVITY.check(gravity_p)?,
        temperature_c: limits::TEMPERATURE.check(temperature_c)?,
    })
}

/// `VOLUME_L,GRAVITY_P,TEMPERATURE_C` as typed.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Portion(Wort);

impl FromStr for Portion {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let numbers: Result<Vec<f64>, _> = text.split(',').map(|n| n.trim().parse()).collect();
        match numbers.as_deref() {
            Ok(&[volume_l, gravity_p, temperature_c]) => Ok(Self(Wort {
                volume_l,
                gravity_p,
                temperature_c,
            })),
            _ => Err("give litres, °P and °C, such as 5000,16,75".to_owned()),
        }
    }
}

/// Gravity and volume of worts put together
#[derive(Debug, Args)]
#[command(after_help = "\
Example (liquor has 0 °P):
  lauterd calc mix --portion 5000,16,75 --portion 1000,3,75")]
pub struct Mix {
    /// A wort by volume (L), gravity (°P) and temperature (°C); give at least two
    #[arg(long = "portion", required = true, value_name = "L,°P,°C")]
    portions: Vec<Portion>,
}

impl Mix {
    pub fn answer(&self) -> Result<Answer, Failure> {
        if self.portions.len() < 2 {
            return Err(usage(
                "--portion is given once; a mixture needs at least two",
            ));
        }
        for Portion(portion) in &self.portions {
            limits::PORTION_VOLUME.check(portion.volume_l)?;
            limits::PORTION_GRAVITY.check(portion.gravity_p)?;
            limits::PORTION_TEMPERATURE.check(portion.temperature_c)?;
        }
        let worts: Vec<Wort> = self.portions.iter().map(|portion| portion.0).collect();
        let mixed = mix(&worts).map_err(|error| usage(format!("--portion: {error}")))?;
        Ok(Answer::new(
            "w = Σ(V·ρ·w)/Σ(V·ρ), each density at its own temperature",
            DENSITY_SOURCE,
        )
        .figure("gravity", mixed.gravity_p, "°P", 3)
        .figure(
            "volume",
            mixed.volume_l,
            "L at the mixture's temperature",
            1,
        )
        .figure("temperature", mixed.temperature_c, "°C (mean by mass)", 1)
        .figure("extract", mixed.extract_kg(), "kg", 1)
        .caution(KETTLE_CAUTION))
    }
}

/// Top-up liquor that brings a wort down to a gravity
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  lauterd calc dilute --volume-l 5000 --gravity-p 13 --temperature-c 75 --target-gravity-p 12.4 \\
      --liquor-temperature-c 78")]
pub struct Dilute {
    /// Wort there is, L at --temperature-c
    #[arg(long, allow_negative_numbers = true)]
    volume_l: f64,
    /// Its gravity, °P
    #[arg(long, allow_negative_numbers = true)]
    gravity_p: f64,
    /// Its temperature, °C
    #[arg(long, allow_negative_numbers = true)]
    temperature_c: f64,
    /// Gravity wanted, °P
    #[arg(long, allow_negative_numbers = true)]
    target_gravity_p: f64,
    /// Temperature of the liquor, °C; without it, that of the wort
    #[arg(long, allow_negative_numbers = true)]
    liquor_temperature_c: Option<f64>,
}

impl Dilute {
    pub fn answer(&self) -> Result<Answer, Failure> {
        let wort = wort(self.volume_l, self.gravity_p, self.temperature_c)?;
        let target_p = limits::TARGET_GRAVITY.check(self.target_gravity_p)?;
        let liquor_c = limits::LIQUOR_TEMPERATURE
            .check(self.liquor_temperature_c.unwrap_or(wort.temperature_c))?;
        let answer = top_up(&wort, target_p, liquor_c)
            .map_err(|error| usage(format!("--target-gravity-p: {error}")))?;
        Ok(Answer::new(
            "m_liquor = m_wort·(w/w_target − 1); V = m/ρ, each at its own temperature",
            DENSITY_SOURCE,
        )
        .figure(
            "liquor to add",
            answer.liquor_l,
            "L at the liquor's temperature",
            1,
        )
        .figure(
            "final volume",
            answer.final_volume_l,
            "L at the wort's temperature",
            1,
        )
        .caution(KETTLE_CAUTION))
    }
}

/// Volume of a wort after cooling or heating
#[derive(Debug, Args)]
#[command(after_help = "\
Example (a kettle filled at 75 °C, as cold wort):
  lauterd calc contraction --volume-l 5200 --gravity-p 12.4 --from-c 75 --to-c 20")]
pub struct Contraction {
    /// Volume, L at --from-c
    #[arg(long, allow_negative_numbers = true)]
    volume_l: f64,
    /// Gravity, °P
    #[arg(long, allow_negative_numbers = true)]
    gravity_p: f64,
    /// Temperature the volume was measured at, °C
    #[arg(long, allow_negative_numbers = true)]
    from_c: f64,
    /// Temperature wanted, °C
    #[arg(long, default_value_t = 20.0, allow_negative_numbers = true)]
    to_c: f64,
}

impl Contraction {
    pub fn answer(&self) -> Result<Answer, Failure> {
        let volume_l = limits::VOLUME.check(self.volume_l)?;
        let gravity_p = limits::GRAVITY.check(self.gravity_p)?;
        let from_c = limits::FROM.check(self.from_c)?;
        let to_c = limits::TO.check(self.to_c)?;
        let ratio = cooling_contraction(gravity_p, from_c, to_c);
        Ok(Answer::new("V_to/V_from = ρ(from)/ρ(to)", DENSITY_SOURCE)
            .figure("volume", volume_l * ratio, "L", 1)
            .figure("ratio", ratio, "(V_to/V_from)", 4)
            .caution(
                "0.960 holds from boiling to 20 °C only; from kettle-fill temperature (75 °C) it is 0.976. \
                 Vessel and evaporation are not in it.",
            ))
    }
}

/// Mean flow for a run-off
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  lauterd calc flow --volume-l 5500 --minutes 90")]
pub struct Flow {
    /// Wort to run off, L
    #[arg(long, allow_negative_numbers = true)]
    volume_l: f64,
    /// Duration, min
    #[arg(long, default_value_t = 90.0, allow_negative_numbers = true)]
    minutes: f64,
}

impl Flow {
    pub fn answer(&self) -> Result<Answer, Failure> {
        let volume_l = limits::VOLUME.check(self.volume_l)?;
        let minutes = limits::MINUTES.check(self.minutes)?;
        let flow = runoff_flow_l_min(volume_l, minutes);
        Ok(Answer::new("Q = V/t", "arithmetic; about 90 minutes is common practice, no source")
            .figure("flow", flow, "L/min", 1)
            .figure("flow by the hour", flow * 0.6, "hL/h", 2)
            .caution(
                "A mean. The bed decides what it takes: start slowly and watch its pressure drop. Any pause must \
                 be made up.",
            ))
    }
}

/// Wort volume at target gravity per kilogram of grist
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  lauterd calc brew-length --volume-l 5184 --gravity-p 12.4 --temperature-c 75 --grist-kg 980")]
pub struct BrewLength {
    /// Wort in the kettle, L at --temperature-c
    #[arg(long, allow_negative_numbers = true)]
    volume_l: f64,
    /// Its gravity, °P
    #[arg(long, allow_negative_numbers = true)]
    gravity_p: f64,
    /// Its temperature, °C
    #[arg(long, allow_negative_numbers = true)]
    temperature_c: f64,
    /// Grist, kg
    #[arg(long, allow_negative_numbers = true)]
    grist_kg: f64,
    /// Start-of-boil gravity, °P; without it, the gravity given
    #[arg(long, allow_negative_numbers = true)]
    target_gravity_p: Option<f64>,
}

impl BrewLength {
    pub fn answer(&self) -> Result<Answer, Failure> {
        let wort = wort(self.volume_l, self.gravity_p, self.temperature_c)?;
        let target_p =
            limits::TARGET_GRAVITY.check(self.target_gravity_p.unwrap_or(wort.gravity_p))?;
        let grist_kg = limits::GRIST.check(self.grist_kg)?;
        let length = brew_length_l_per_kg(&wort, target_p, grist_kg);
        Ok(
            Answer::new("V·ρ·w/(ρ_target·w_target)/m_grist", DENSITY_SOURCE)
                .figure("brew length", length, "L/kg at the wort's temperature", 3)
                .figure("volume at target", length * grist_kg, "L", 1)
                .figure("extract", wort.extract_kg(), "kg", 1)
                .figure(
                    "extract per grist",
                    extract_yield_percent(&wort, grist_kg),
                    "%",
                    1,
                ),
        )
    }
}

/// Extract in a wort
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd calc extract --gravity-p 12
  lauterd calc extract --gravity-p 12.4 --temperature-c 75 --volume-l 5200")]
pub struct Extract {
    /// Gravity, °P
    #[arg(long, allow_negative_numbers = true)]
    gravity_p: f64,
    /// Temperature the volume is measured at, °C
    #[arg(long, default_value_t = 20.0, allow_negative_numbers = true)]
    temperature_c: f64,
    /// Volume, L; adds the extract in all
    #[arg(long, allow_negative_numbers = true)]
    volume_l: Option<f64>,
}

impl Extract {
    pub fn answer(&self) -> Result<Answer, Failure> {
        let gravity_p = limits::GRAVITY.check(self.gravity_p)?;
        let temperature_c = limits::TEMPERATURE.check(self.temperature_c)?;
        let per_hl = extract_kg_per_hl(gravity_p, temperature_c);
        let per_barrel = extract_lb_per_us_barrel(gravity_p);
        let mut answer = Answer::new(
            "E/V = ρ·w; lb/US bbl by weight in air at 20 °C (ASBC)",
            DENSITY_SOURCE,
        )
        .figure("extract", per_hl, "kg/hL", 3)
        .figure("at 20 °C", per_barrel, "lb/US bbl", 2);
        if let Some(volume_l) = self.volume_l {
            let total_kg = wort(volume_l, gravity_p, temperature_c)?.extract_kg();
            answer = answer.figure("in all", total_kg, "kg", 1);
        }
        Ok(answer)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mass balance: 5 m³ of 16 °P with 1 m³ of 3 °P at 20 °C is 13.925 °P. 0.0005: half the last digit.
    #[test]
    fn mixing_goes_by_mass() {
        let portions = ["5000,16,20", "1000, 3, 20"].map(|text| text.parse().unwrap());
        let answer = Mix {
            portions: portions.to_vec(),
        }
        .answer()
        .unwrap();
        assert!((answer.value("gravity") - 13.925).abs() < 5e-4);
    }

    #[test]
    fn a_portion_that_is_not_three_numbers_is_refused() {
        for text in ["5000,16", "5000,16,75,1", "5000;16;75", ""] {
            assert!(text.parse::<Portion>().is_err(), "{text}");
        }
        let single = Mix {
            portions: vec!["5000,16,75".parse().unwrap()],
        };
        assert!(single.answer().unwrap_err().message.contains("--portion"));
    }

    /// Density ratio: 0.976 from kettle-fill temperature, never 0.96. 0.001: what the rule is quoted to.
    #[test]
    fn contraction_from_kettle_fill_temperature_is_not_that_from_the_boil() {
        let calculation = Contraction {
            volume_l: 5200.0,
            gravity_p: 12.4,
            from_c: 75.0,
            to_c: 20.0,
        };
        let answer = calculation.answer().unwrap();
        assert!((answer.value("ratio") - 0.976).abs() < 1e-3);
        assert!((answer.value("volume") - 5200.0 * answer.value("ratio")).abs() < 1e-9);
    }

    #[test]
    fn a_target_above_the_wort_is_a_usage_error_that_names_the_option() {
        let calculation = Dilute {
            volume_l: 5000.0,
            gravity_p: 12.0,
            temperature_c: 75.0,
            target_gravity_p: 12.4,
            liquor_temperature_c: None,
        };
        let failure = calculation.answer().unwrap_err();
        assert!(
            failure.message.starts_with("--target-gravity-p"),
            "{failure}"
        );
    }

    #[test]
    fn brew_length_at_its_own_gravity_is_volume_over_grist() {
        let calculation = BrewLength {
            volume_l: 5184.0,
            gravity_p: 12.4,
            temperature_c: 75.0,
            grist_kg: 980.0,
            target_gravity_p: None,
        };
        let answer = calculation.answer().unwrap();
        assert!((answer.value("brew length") - 5184.0 / 980.0).abs() < 1e-9);
    }

    /// 12 °P at 20 °C: 12.557 kg/hL and 32.45 lb/US bbl (ASBC). Half the last digits.
    #[test]
    fn extract_of_twelve_plato_is_the_published_one() {
        let calculation = Extract {
            gravity_p: 12.0,
            temperature_c: 20.0,
            volume_l: Some(100.0),
        };
        let answer = calculation.answer().unwrap();
        assert!((answer.value("extract") - 12.557).abs() <= 5e-4);
        assert!((answer.value("at 20 °C") - 32.45).abs() <= 5e-3);
        assert!((answer.value("in all") - answer.value("extract")).abs() < 1e-9);
    }
}

//! The profile's figures for people.
//!
//! Owns the medians that an operator or brewer asks for: none of them bears on a forecast.

use serde::{Deserialize, Serialize};

use super::TunProfile;
use super::lesson::BrewLesson;
use crate::conditioning::median;

/// A middle and the range of the accepted brews.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Figure {
    pub median: f64,
    pub least: f64,
    pub greatest: f64,
    pub brews: usize,
}

/// What the accepted brews had in common; None where nothing was measured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Figures {
    pub accepted: usize,
    pub refused: usize,
    pub breakthrough_l_per_kg: Option<Figure>,
    pub stop_volume_l_per_kg: Option<Figure>,
    pub extract_kg_per_kg: Option<Figure>,
    /// Stop volume over planned volume.
    pub stop_over_plan: Option<Figure>,
    pub resistance_per_m: Option<Figure>,
    pub safe_flow_l_min_m2: Option<Figure>,
    /// Share of the planned volume at which the pressure drop came near its limit, in the brews where it did.
    pub trouble_from_share: Option<Figure>,
    /// Resistance after raking over that before.
    pub rake_effect: Option<Figure>,
    /// Runnings above the forecast after raking, °P.
    pub rake_gain_p: Option<Figure>,
    /// pH gained when the runnings have fallen to a third of the first wort.
    pub ph_rise: Option<Figure>,
}

fn figure(values: impl Iterator<Item = f64>) -> Option<Figure> {
    let mut values: Vec<f64> = values.filter(|value| value.is_finite()).collect();
    (!values.is_empty()).then(|| Figure {
        median: median(&mut values),
        least: values[0],
        greatest: values[values.len() - 1],
        brews: values.len(),
    })
}

impl TunProfile {
    pub fn figures(&self) -> Figures {
        let of =
            |value: fn(&BrewLesson) -> Option<f64>| figure(self.lessons.iter().filter_map(value));
        let refused = self.verdicts.iter().filter(|v| !v.acceptance.accepted);
        let rakes = self.lessons.iter().flat_map(|lesson| &lesson.bed.rakes);
        let gains = rakes.clone().filter_map(|rake| rake.gravity_gain_p);
        Figures {
            accepted: self.lessons.len(),
            refused: refused.count(),
            breakthrough_l_per_kg: of(|lesson| Some(lesson.washout.breakthrough_l_per_kg)),
            stop_volume_l_per_kg: of(|lesson| lesson.stop.map(|stop| stop.volume_l_per_kg)),
            extract_kg_per_kg: of(|lesson| lesson.stop.map(|stop| stop.extract_kg_per_kg)),
            stop_over_plan: of(|lesson| {
                Some(lesson.stop?.volume_l_per_kg / lesson.planned_l_per_kg)
            }),
            resistance_per_m: of(|lesson| lesson.bed.resistance_per_m),
            safe_flow_l_min_m2: of(|lesson| lesson.bed.safe_flow_l_min_m2),
            trouble_from_share: of(|lesson| lesson.bed.trouble_from_share),
            rake_effect: figure(rakes.map(|rake| rake.after_per_m / rake.before_per_m)),
            rake_gain_p: figure(gains),
            ph_rise: of(|lesson| lesson.ph.map(|ph| ph.rise_ph)),
        }
    }
}

//! Whether signs and units of instruments can be right.
//!
//! Owns what is asked of each instrument by itself and of those that must agree: flow with level and counter (`growth`),
//! pressure drop with flow. Pure: it is given what was read. Limits are common practice, no source, unless said otherwise; wide
//! enough for any tun, narrow enough for a factor of sixty or a swapped leg.

use lauter_core::reading::{Cause, Instrument, Measures, Status};
use lauter_core::units::{Dimension, Unit, loop_to_span};

use super::expected::{other_units, usual};
use super::sheet::Verdict;

mod growth;

/// More flow over the bed's area is another unit, L/min for each m². Common practice is about ten.
const GREATEST_FLUX_L_MIN_M2: f64 = 60.0;
/// Flow that counts as negative, share of the greatest reading. Own choice.
const NEGATIVE_SHARE: f64 = 0.02;
/// Pressure drop at rest over its limit that asks for a zero. Own choice.
const REST_SHARE: f64 = 0.1;
/// Readings with a value among all that are asked for. Own choice.
const LEAST_SHARE: f64 = 0.9;

/// What one instrument gave while it was watched.
#[derive(Clone, Debug)]
pub struct Watched<'a> {
    pub instrument: &'a Instrument,
    /// Seconds, value in the instrument's unit or the cause of its absence, NE 107 status.
    pub readings: Vec<(f64, Result<f64, Cause>, Status)>,
    /// Least step of its register in that unit; none where that is not known.
    pub step: Option<f64>,
}

/// What the tun and its kettle are.
#[derive(Clone, Copy, Debug)]
pub struct Vessel<'a> {
    pub bed_area_m2: f64,
    pub pressure_drop_limit_kpa: f64,
    pub capacity_l: f64,
    pub strapping: &'a [(f64, f64)],
    pub no_flow_l_min: f64,
}

/// A verdict and the reading it rests on.
pub type Found = (Verdict, String);

impl Watched<'_> {
    fn values(&self) -> Vec<(f64, f64)> {
        let readings = self.readings.iter();
        readings
            .filter_map(|(at_s, value, _)| value.ok().map(|value| (*at_s, value)))
            .collect()
    }

    fn unit(&self) -> Unit {
        self.instrument.unit
    }

    /// Values in the program's own unit: L/min, L, kPa, EBC, °C, pH, 0/1. Gravities stay as they are.
    fn in_base(&self, vessel: &Vessel<'_>) -> Vec<(f64, f64)> {
        let values = self.values().into_iter();
        values
            .filter_map(|(at_s, value)| {
                Some((at_s, self.base(value - self.instrument.zero, vessel)?))
            })
            .collect()
    }

    fn base(&self, value: f64, vessel: &Vessel<'_>) -> Option<f64> {
        let is_level = self.instrument.measures == Measures::KettleVolume;
        if is_level && !vessel.strapping.is_empty() {
            return Some(strapped(vessel.strapping, value));
        }
        let (value, unit) = match self.instrument.span {
            Some(span) => (loop_to_span(value, span.at_4_ma, span.at_20_ma), span.unit),
            None => (value, self.unit()),
        };
        if unit == Unit::Percent {
            return Some(value / 100.0 * vessel.capacity_l);
        }
        if unit.dimension() == Dimension::Gravity {
            return Some(value);
        }
        unit.linear_to_base(value)
    }
}

/// Volume between two rows of the table, and beyond its ends along the last piece.
fn strapped(table: &[(f64, f64)], reading: f64) -> f64 {
    let behind = table.partition_point(|(known, _)| *known <= reading);
    let behind = behind.clamp(1, table.len().saturating_sub(1).max(1));
    match (table.get(behind - 1), table.get(behind)) {
        (Some((x0, y0)), Some((x1, y1))) => y0 + (reading - x0) * (y1 - y0) / (x1 - x0),
        (Some((_, only)), None) => *only,
        _ => reading,
    }
}

fn mean(values: &[(f64, f64)]) -> f64 {
    values.iter().map(|(_, value)| value).sum::<f64>() / values.len().max(1) as f64
}

/// Whether it gives values at all, with a good status and within its limits.
pub fn reading(watched: &Watched<'_>) -> Found {
    let values = watched.values();
    let asked = watched.readings.len();
    let last_cause = watched
        .readings
        .iter()
        .rev()
        .find_map(|(_, value, _)| value.err());
    let cause = last_cause.map_or_else(|| "nothing came".to_owned(), cause_words);
    if values.is_empty() {
        return (Verdict::Fail, format!("no reading: {cause}"));
    }
    let unit = watched.unit().name();
    let least = values.iter().map(|(_, v)| *v).fold(f64::INFINITY, f64::min);
    let greatest = values
        .iter()
        .map(|(_, v)| *v)
        .fold(f64::NEG_INFINITY, f64::max);
    let shown = format!(
        "{} {unit} ({} to {}, {} readings)",
        digits(mean(&values)),
        digits(least),
        digits(greatest),
        values.len()
    );
    let worst = watched.readings.iter().map(|(.., status)| *status).max();
    if let Some(status) = worst.filter(|status| *status != Status::Good) {
        return (
            Verdict::Fail,
            format!(
                "{shown}; it reports NE 107 {}: look at its own display",
                crate::config::spelt(status)
            ),
        );
    }
    let known = watched.instrument;
    let outside =
        known.low.is_some_and(|low| least < low) || known.high.is_some_and(|high| greatest > high);
    if outside {
        let limits = format!(
            "{} to {}",
            known.low.map_or_else(String::new, digits),
            known.high.map_or_else(String::new, digits)
        );
        return (
            Verdict::Fail,
            format!(
                "{shown}; outside its limits {limits}: widen them if that is right, else check type and scale"
            ),
        );
    }
    if (values.len() as f64) < LEAST_SHARE * asked as f64 {
        let missing = asked - values.len();
        return (
            Verdict::Fail,
            format!("{shown}; {missing} were missing: {cause}"),
        );
    }
    (Verdict::Pass, shown)
}

fn cause_words(cause: Cause) -> String {
    crate::config::spelt(cause).replace('-', " ")
}

/// With the digits that matter.
fn digits(value: f64) -> String {
    let places = match value.abs() {
        size if size >= 1000.0 => 1,
        size if size >= 10.0 => 2,
        _ => 3,
    };
    format!("{value:.places$}")
}

/// Whether the value is usual for what it measures in its unit, by itself.
pub fn by_itself(watched: &Watched<'_>, vessel: &Vessel<'_>) -> Found {
    let values = watched.values();
    if values.is_empty() {
        return (Verdict::NotDone, "there is no reading".to_owned());
    }
    let measures = watched.instrument.measures;
    let unit = watched.unit();
    let value = mean(&values) - watched.instrument.zero;
    let shown = format!("{} {}", digits(value), unit.name());
    if let Some((low, high)) = usual(measures, unit)
        && !(low..=high).contains(&value)
        && !(measures.dimension() == Dimension::Flow && value < 0.0)
    {
        let others: Vec<&str> = other_units(measures, unit, value)
            .into_iter()
            .map(Unit::name)
            .collect();
        let hint = if others.is_empty() {
            "check register, type, scale and byte order".to_owned()
        } else {
            format!("it would be usual in {}", others.join(" or "))
        };
        return (
            Verdict::Fail,
            format!(
                "{shown}; usual is {} to {}: {hint}",
                digits(low),
                digits(high)
            ),
        );
    }
    let base = watched.in_base(vessel);
    match measures.dimension() {
        Dimension::Flow => flow_sign(&base, &shown, vessel),
        Dimension::Switch => {
            let is_switch = values.iter().all(|(_, v)| [0.0, 1.0].contains(v));
            let verdict = if is_switch {
                Verdict::Pass
            } else {
                Verdict::Fail
            };
            (
                verdict,
                if is_switch {
                    shown
                } else {
                    format!("{shown}; a switch is 0 or 1")
                },
            )
        }
        Dimension::Volume if measures == Measures::KettleVolume => {
            let volume_l = mean(&base);
            if (-0.02 * vessel.capacity_l..=1.02 * vessel.capacity_l).contains(&volume_l) {
                (
                    Verdict::Pass,
                    format!("{shown}, {volume_l:.0} L of {:.0} L", vessel.capacity_l),
                )
            } else {
                let words = "the kettle cannot hold that: check unit, span and strapping table";
                (Verdict::Fail, format!("{shown}, {volume_l:.0} L; {words}"))
            }
        }
        _ => (Verdict::Pass, shown),
    }
}

fn flow_sign(base: &[(f64, f64)], shown: &str, vessel: &Vessel<'_>) -> Found {
    let greatest = base.iter().map(|(_, v)| v.abs()).fold(0.0, f64::max);
    let flow_l_min = mean(base);
    if flow_l_min < -(NEGATIVE_SHARE * greatest).max(vessel.no_flow_l_min) {
        let words = "the flow is negative: turn the meter's direction, or the sign of its scale";
        return (Verdict::Fail, format!("{shown}; {words}"));
    }
    let flux = flow_l_min / vessel.bed_area_m2;
    if flux > GREATEST_FLUX_L_MIN_M2 {
        let words = "too much for this bed: check the unit, and tun.bed_area_m2";
        return (
            Verdict::Fail,
            format!("{shown}, {flow_l_min:.0} L/min, {flux:.0} L/min on each m²; {words}"),
        );
    }
    if flow_l_min < vessel.no_flow_l_min {
        return (
            Verdict::NotDone,
            format!("{shown}; nothing flows: run water through the line and look again"),
        );
    }
    (Verdict::Pass, format!("{shown}, {flow_l_min:.1} L/min"))
}

/// Whether what must move together does: each with what it is called.
pub fn together(all: &[Watched<'_>], vessel: &Vessel<'_>) -> Vec<(String, Found)> {
    let find = |measures: Measures| all.iter().find(|w| w.instrument.measures == measures);
    let Some(flow) = find(Measures::RunoffFlow) else {
        return Vec::new();
    };
    let flows = flow.in_base(vessel);
    let flow_l_min = mean(&flows);
    let is_flowing = !flows.is_empty() && flow_l_min >= vessel.no_flow_l_min;
    let back = find(Measures::Recirculating)
        .is_some_and(|switch| switch.values().iter().any(|(_, value)| *value >= 0.5));
    let mut found = Vec::new();
    for (measures, what) in [
        (Measures::KettleVolume, "kettle level rises with the flow"),
        (Measures::RunoffTotal, "counter grows with the flow"),
    ] {
        let Some(volume) = find(measures) else {
            continue;
        };
        let not_to_kettle = back && measures == Measures::KettleVolume;
        let judged = if is_flowing && !not_to_kettle {
            growth::grows(volume, flow_l_min, vessel)
        } else {
            let words = if not_to_kettle {
                "wort goes back to the tun: look again when it runs to the kettle"
            } else {
                "nothing flows: run water through the line to the kettle and look again"
            };
            (Verdict::NotDone, words.to_owned())
        };
        found.push((what.to_owned(), judged));
    }
    if let Some(pressure) = find(Measures::BedPressureDrop) {
        found.push((
            "bed pressure drop is positive in flow and nought at rest".to_owned(),
            pressure_sign(&pressure.in_base(vessel), is_flowing, vessel),
        ));
    }
    found
}

fn pressure_sign(pressures: &[(f64, f64)], is_flowing: bool, vessel: &Vessel<'_>) -> Found {
    if pressures.is_empty() {
        return (Verdict::NotDone, "there is no reading".to_owned());
    }
    let pressure_kpa = mean(pressures);
    let rest_kpa = REST_SHARE * vessel.pressure_drop_limit_kpa;
    let shown = format!("{pressure_kpa:.3} kPa");
    if is_flowing && pressure_kpa < -rest_kpa {
        return (
            Verdict::Fail,
            format!("{shown} in flow: its two legs are swapped"),
        );
    }
    if !is_flowing && pressure_kpa.abs() > rest_kpa {
        return (
            Verdict::Fail,
            format!("{shown} at rest: set the instrument's zero, or zero_kpa"),
        );
    }
    let state = if is_flowing { "in flow" } else { "at rest" };
    (Verdict::Pass, format!("{shown} {state}"))
}

#[cfg(test)]
#[path = "plausible/tests.rs"]
mod tests;

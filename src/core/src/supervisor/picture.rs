//! What all instruments say together, in the program's own units.
//!
//! Owns the conversions that need more than one instrument: density with its temperature, pH with its basis,
//! level with the kettle's table. Missing values stay missing.

use crate::conditioning::Estimate;
use crate::projection::PhBasis;
use crate::reading::{Measures, Moment};
use crate::units::{Unit, gravity_to_p, ph_at_room};

use super::Supervisor;
use super::brew::{Known, Picture};
use super::channel::Channel;
use super::inflow::Sources;

impl Supervisor {
    pub(super) fn picture(&self, now: Moment) -> Picture {
        let switch = |measures| {
            self.channel(measures)
                .and_then(|channel| channel.is_on().ok())
        };
        let temperature_c = self
            .linear(Measures::RunningsTemperature, now)
            .map(|known| known.value);
        let value = |measures| self.linear(measures, now).map(|known| known.value);
        Picture {
            runnings_gravity_p: self.gravity(Measures::RunningsGravity, now),
            runnings_temperature_c: temperature_c,
            runnings_ph: self.ph(temperature_c, now),
            turbidity_ebc: value(Measures::RunningsTurbidity),
            turbidity_rate_ebc_s: self.turbidity_rate_ebc_s(now),
            flow_l_min: self.flow_l_min(now),
            flow_is_stand_in: self
                .channel(Measures::RunoffFlow)
                .is_some_and(|channel| channel.estimate(now).is_err()),
            sparge_l_min: value(Measures::SpargeFlow),
            pressure_drop_kpa: value(Measures::BedPressureDrop),
            level_l: self.level(now),
            total_beyond_sum_l: self.total_beyond_sum_l(now),
            kettle_gravity_p: self.gravity(Measures::KettleGravity, now),
            kettle_temperature_c: value(Measures::KettleTemperature),
            raking: switch(Measures::RakeRunning).unwrap_or_else(|| self.raking_is_reported(now)),
            recirculating: switch(Measures::Recirculating).unwrap_or(false),
            pump_running: switch(Measures::PumpRunning),
            has_ph_instrument: self.channel(Measures::RunningsPh).is_some(),
        }
    }

    fn raking_is_reported(&self, now: Moment) -> bool {
        let until = self.brew.as_ref().and_then(|brew| brew.raking_until);
        until.is_some_and(|until| now < until)
    }

    /// What each source of the inflow says; `assumed_l_min` stands in where none does.
    pub(super) fn sources(&self, now: Moment, assumed_l_min: f64) -> Sources {
        let stale_after_s = self
            .channel(Measures::RunoffFlow)
            .map_or(0.0, Channel::stale_after_s);
        let pump_off = self
            .channel(Measures::PumpRunning)
            .is_some_and(|channel| channel.is_on() == Ok(false));
        let summed_l = self
            .channel(Measures::RunoffFlow)
            .filter(|channel| channel.estimate(now).is_ok())
            .and_then(|_| self.flow_sum.litres(now, stale_after_s));
        Sources {
            summed_l,
            totalised_l: self
                .channel(Measures::RunoffTotal)
                .and_then(|channel| channel.unit.linear_to_base(channel.counted(now)?)),
            level_l: self.level(now).map(|known| known.value),
            assumed_l_min: if pump_off { 0.0 } else { assumed_l_min },
        }
    }

    fn total_beyond_sum_l(&self, now: Moment) -> Option<f64> {
        let sources = self.sources(now, 0.0);
        Some(sources.totalised_l? - sources.summed_l?)
    }

    /// The smoothed flow; where there is no flow meter, the rate of what there is instead.
    fn flow_l_min(&self, now: Moment) -> Option<f64> {
        if let Some(known) = self.linear(Measures::RunoffFlow, now) {
            return Some(known.value.max(0.0));
        }
        [Measures::RunoffTotal, Measures::KettleVolume]
            .into_iter()
            .find_map(|measures| {
                let channel = self.channel(measures)?;
                let estimate = channel.estimate(now).ok()?;
                let litres = |value: f64| match measures {
                    Measures::KettleVolume => self.level_to_l(channel.unit, value),
                    _ => channel.unit.linear_to_base(value),
                };
                let per_s = litres(estimate.value + estimate.rate_per_s)? - litres(estimate.value)?;
                Some((60.0 * per_s).max(0.0))
            })
    }

    fn estimate(&self, measures: Measures, now: Moment) -> Option<(&Channel, Estimate)> {
        let channel = self.channel(measures)?;
        channel
            .estimate(now)
            .ok()
            .map(|estimate| (channel, estimate))
    }

    fn linear(&self, measures: Measures, now: Moment) -> Option<Known> {
        let (channel, estimate) = self.estimate(measures, now)?;
        let value = channel.unit.linear_to_base(estimate.value)?;
        let beside = channel
            .unit
            .linear_to_base(estimate.value + estimate.standard_error)?;
        Some(Known {
            value,
            standard_error: (beside - value).abs(),
        })
    }

    fn turbidity_rate_ebc_s(&self, now: Moment) -> Option<f64> {
        let (channel, estimate) = self.estimate(Measures::RunningsTurbidity, now)?;
        let base = |value| channel.unit.linear_to_base(value);
        Some(base(estimate.value + estimate.rate_per_s)? - base(estimate.value)?)
    }

    fn level(&self, now: Moment) -> Option<Known> {
        let (channel, estimate) = self.estimate(Measures::KettleVolume, now)?;
        let value = self.level_to_l(channel.unit, estimate.value)?;
        let beside = self.level_to_l(channel.unit, estimate.value + channel.reading_noise())?;
        // Sloshing outlives the readings' noise.
        let least_l = 0.0005 * self.plant.capacity_l;
        Some(Known {
            value,
            standard_error: (beside - value).abs().hypot(least_l),
        })
    }

    fn level_to_l(&self, unit: Unit, value: f64) -> Option<f64> {
        let table = &self.plant.strapping;
        if table.len() >= 2 {
            return Some(interpolate(table, value));
        }
        match unit {
            Unit::Percent => Some(value / 100.0 * self.plant.capacity_l),
            unit => unit.linear_to_base(value),
        }
    }

    /// A gravity in °P: through its own unit, with the temperature that compensates it.
    fn gravity(&self, measures: Measures, now: Moment) -> Option<Known> {
        let (channel, estimate) = self.estimate(measures, now)?;
        let temperature = match channel.instrument.temperature {
            Some(index) => {
                let compensation = self.channels.get(index)?;
                let estimate = compensation.estimate(now).ok()?;
                let celsius = compensation.unit.linear_to_base(estimate.value)?;
                let beside = compensation
                    .unit
                    .linear_to_base(estimate.value + estimate.standard_error)?;
                Some((celsius, (beside - celsius).abs()))
            }
            None => None,
        };
        let convert = |value: f64, celsius: Option<f64>| {
            gravity_to_p(channel.unit, value, celsius, self.parameters.wort_factor).ok()
        };
        let celsius = temperature.map(|(celsius, _)| celsius);
        let value = convert(estimate.value, celsius)?;
        let by_value = convert(estimate.value + estimate.standard_error, celsius)? - value;
        let by_temperature = match temperature {
            Some((celsius, error_c)) => convert(estimate.value, Some(celsius + error_c))? - value,
            None => 0.0,
        };
        Some(Known {
            value,
            standard_error: by_value.hypot(by_temperature),
        })
    }

    /// pH on the plan's basis.
    fn ph(&self, runnings_temperature_c: Option<f64>, now: Moment) -> Option<Known> {
        let (channel, estimate) = self.estimate(Measures::RunningsPh, now)?;
        let known = Known {
            value: estimate.value,
            standard_error: estimate.standard_error,
        };
        let basis = self
            .brew
            .as_ref()
            .map_or(PhBasis::Process, |brew| brew.plan.ph_basis);
        if basis == PhBasis::Process {
            return Some(known);
        }
        let own_c = channel
            .instrument
            .temperature
            .and_then(|index| self.channels.get(index))
            .and_then(|compensation| {
                compensation
                    .unit
                    .linear_to_base(compensation.estimate(now).ok()?.value)
            });
        let celsius = own_c
            .or(runnings_temperature_c)
            .unwrap_or(self.parameters.assumed_temperature_c);
        Some(Known {
            value: ph_at_room(known.value, celsius),
            ..known
        })
    }
}

/// Straight lines between the points of a table, and beyond its ends.
fn interpolate(table: &[(f64, f64)], reading: f64) -> f64 {
    let above = table
        .partition_point(|(at, _)| *at < reading)
        .clamp(1, table.len() - 1);
    let ((x0, y0), (x1, y1)) = (table[above - 1], table[above]);
    y0 + (reading - x0) / (x1 - x0) * (y1 - y0)
}

#[cfg(test)]
mod tests {
    use super::interpolate;

    #[test]
    fn a_strapping_table_is_read_between_and_beyond_its_points() {
        let table = [(0.0, 0.0), (1.0, 100.0), (2.0, 300.0)];
        assert!((interpolate(&table, 0.5) - 50.0).abs() < 1e-12);
        assert!((interpolate(&table, 1.5) - 200.0).abs() < 1e-12);
        assert!((interpolate(&table, 3.0) - 500.0).abs() < 1e-12);
    }
}

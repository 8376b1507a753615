//! What the instruments said, minute by minute, in the simplest honest way.
//!
//! Owns a record that forecasters other than the supervisor may use: the median of a minute's gravity, the flow
//! added up, and the kettle's balance of both. It knows instruments only, never the truth, and nothing of the
//! supervisor's conditioning, so that tuning the supervisor does not move what it is compared with.

use lauter_core::reading::{Measures, switch_is_on};
use lauter_core::units::{self, Unit};

use super::quantile;
use crate::model::{Brewhouse, Crossing};
use crate::record;
use crate::scenario::Scenario;

/// Length of one entry, s. Longer than any burst of bubbles.
const WINDOW_S: f64 = 60.0;

/// Refractometer reading over extract of wort: common practice, no source.
const WORT_FACTOR: f64 = 1.04;

/// One minute of readings. What was not measured is None.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Minute {
    /// At its end.
    pub elapsed_s: f64,
    /// Heel and what the flow meter says has come since, L.
    pub kettle_volume_l: f64,
    /// The level's opinion of the same, L.
    pub level_l: Option<f64>,
    pub runnings_gravity_p: Option<f64>,
    pub runnings_ph_room: Option<f64>,
    /// From the balance of flow and runnings gravity.
    pub kettle_gravity_p: Option<f64>,
    /// From a meter in the kettle.
    pub kettle_meter_p: Option<f64>,
}

/// A run-off as metered.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    pub minutes: Vec<Minute>,
}

impl Measured {
    /// Records a whole brew without a supervisor; also gives the true crossing of the target.
    pub fn record(scenario: &Scenario, seed: u64) -> (Self, Option<Crossing>) {
        let mut recorder = Recorder::new(scenario);
        let brewhouse = record::run(scenario, seed, |brewhouse| recorder.see(brewhouse));
        (recorder.finish(), brewhouse.crossings().target)
    }

    /// A quantity at a metered kettle volume, between neighbours in proportion; None outside the record.
    pub fn at_volume(&self, volume_l: f64, of: impl Fn(&Minute) -> Option<f64>) -> Option<f64> {
        let mut before: Option<(f64, f64)> = None;
        for minute in &self.minutes {
            let Some(value) = of(minute) else { continue };
            if minute.kettle_volume_l >= volume_l {
                let (from_l, from) = before?;
                let share = (volume_l - from_l) / (minute.kettle_volume_l - from_l).max(1e-9);
                return Some(from + share * (value - from));
            }
            before = Some((minute.kettle_volume_l, value));
        }
        None
    }

    /// The volume at which the metered kettle gravity came down to the target, L: what is left of the error when
    /// nothing has to be forecast. Flow meter and level count alike.
    pub fn stop_volume_in_hindsight_l(&self, target_gravity_p: f64) -> Option<f64> {
        let volume_l = |minute: &Minute| {
            minute.level_l.map_or(minute.kettle_volume_l, |level_l| {
                0.5 * (level_l + minute.kettle_volume_l)
            })
        };
        self.minutes.windows(2).find_map(|pair| {
            let (before_p, after_p) = (pair[0].kettle_gravity_p?, pair[1].kettle_gravity_p?);
            if before_p <= target_gravity_p || after_p > target_gravity_p {
                return None;
            }
            let share = (before_p - target_gravity_p) / (before_p - after_p);
            let (from_l, to_l) = (volume_l(&pair[0]), volume_l(&pair[1]));
            Some(from_l + share * (to_l - from_l))
        })
    }
}

/// The places of the instruments it looks at.
#[derive(Clone, Copy, Debug)]
struct Places {
    gravity: Option<usize>,
    temperature: Option<usize>,
    flow: Option<usize>,
    level: Option<usize>,
    ph: Option<usize>,
    kettle_gravity: Option<usize>,
    recirculating: Option<usize>,
}

/// Makes the record while a brewhouse runs.
#[derive(Debug)]
pub struct Recorder {
    places: Places,
    units: Vec<Unit>,
    step_s: f64,
    window_end_s: f64,
    gravities_p: Vec<f64>,
    levels_l: Vec<f64>,
    phs: Vec<f64>,
    kettle_meters_p: Vec<f64>,
    window_volume_l: f64,
    kettle_volume_l: f64,
    wort_kg: f64,
    extract_kg: f64,
    last_gravity_p: Option<f64>,
    temperature_c: f64,
    minutes: Vec<Minute>,
}

impl Recorder {
    pub fn new(scenario: &Scenario) -> Self {
        let place = |measures| {
            let mut all = scenario.instruments.iter();
            all.position(|instrument| instrument.measures == measures)
        };
        let temperature_c = scenario.wort.temperature_c;
        let heel_l = scenario.kettle.heel_l;
        Self {
            places: Places {
                gravity: place(Measures::RunningsGravity),
                temperature: place(Measures::RunningsTemperature),
                flow: place(Measures::RunoffFlow),
                level: place(Measures::KettleVolume),
                ph: place(Measures::RunningsPh),
                kettle_gravity: place(Measures::KettleGravity),
                recirculating: place(Measures::Recirculating),
            },
            units: scenario.instruments.iter().map(|i| i.unit).collect(),
            step_s: scenario.run.step_s,
            window_end_s: WINDOW_S,
            gravities_p: Vec::new(),
            levels_l: Vec::new(),
            phs: Vec::new(),
            kettle_meters_p: Vec::new(),
            window_volume_l: 0.0,
            kettle_volume_l: heel_l,
            wort_kg: heel_l * units::wort_density_kg_m3(0.0, temperature_c) / 1000.0,
            extract_kg: 0.0,
            last_gravity_p: None,
            temperature_c,
            minutes: Vec::new(),
        }
    }

    /// Takes what has been sampled at this moment.
    pub fn see(&mut self, brewhouse: &Brewhouse) {
        let elapsed_s = brewhouse.elapsed_s();
        let latest = |place: Option<usize>| {
            let place = place?;
            let reading = &brewhouse.readings()[place];
            Some((reading.value?, self.units[place], reading.sampled_s))
        };
        let fresh = |place| {
            latest(place)
                .filter(|(_, _, sampled_s)| (sampled_s - elapsed_s).abs() < 1e-9)
                .map(|(value, unit, _)| (value, unit))
        };
        let linear = |(value, unit): (f64, Unit)| unit.linear_to_base(value);
        if let Some(temperature_c) = fresh(self.places.temperature).and_then(linear) {
            self.temperature_c = temperature_c;
        }
        let temperature_c = self.temperature_c;
        let gravity = |(value, unit): (f64, Unit)| {
            units::gravity_to_p(unit, value, Some(temperature_c), WORT_FACTOR).ok()
        };
        let goes_back = latest(self.places.recirculating).is_some_and(|(v, ..)| switch_is_on(v));
        let flow_l_min = latest(self.places.flow).and_then(|(v, unit, _)| unit.linear_to_base(v));
        self.gravities_p
            .extend(fresh(self.places.gravity).and_then(gravity));
        self.levels_l
            .extend(fresh(self.places.level).and_then(linear));
        self.phs.extend(
            fresh(self.places.ph).map(|(value, _)| units::ph_at_room(value, temperature_c)),
        );
        self.kettle_meters_p
            .extend(fresh(self.places.kettle_gravity).and_then(gravity));
        if !goes_back {
            self.window_volume_l += flow_l_min.unwrap_or(0.0) * self.step_s / 60.0;
        }
        if elapsed_s >= self.window_end_s - 1e-9 {
            self.close_window(elapsed_s);
        }
    }

    fn close_window(&mut self, elapsed_s: f64) {
        self.window_end_s += WINDOW_S;
        let median = |values: &mut Vec<f64>| quantile(&std::mem::take(values), 0.5);
        let gravity_p = median(&mut self.gravities_p).or(self.last_gravity_p);
        let volume_l = std::mem::take(&mut self.window_volume_l);
        self.last_gravity_p = gravity_p;
        if let Some(gravity_p) = gravity_p {
            let density = units::wort_density_kg_m3(gravity_p, self.temperature_c);
            let wort_kg = volume_l * density / 1000.0;
            self.wort_kg += wort_kg;
            self.extract_kg += wort_kg * gravity_p / 100.0;
        }
        self.kettle_volume_l += volume_l;
        let flows = self.extract_kg > 0.0;
        self.minutes.push(Minute {
            elapsed_s,
            kettle_volume_l: self.kettle_volume_l,
            level_l: median(&mut self.levels_l),
            runnings_gravity_p: gravity_p.filter(|_| volume_l > 0.0),
            runnings_ph_room: median(&mut self.phs),
            kettle_gravity_p: flows.then(|| 100.0 * self.extract_kg / self.wort_kg),
            kettle_meter_p: median(&mut self.kettle_meters_p),
        });
    }

    pub fn finish(self) -> Measured {
        Measured {
            minutes: self.minutes,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Measured, Minute};

    fn minute(kettle_volume_l: f64, level_l: Option<f64>, kettle_p: f64) -> Minute {
        Minute {
            elapsed_s: 0.0,
            kettle_volume_l,
            level_l,
            runnings_gravity_p: Some(kettle_p - 4.0),
            runnings_ph_room: None,
            kettle_gravity_p: Some(kettle_p),
            kettle_meter_p: None,
        }
    }

    #[test]
    fn hindsight_lies_between_the_minutes_about_the_target_and_between_flow_meter_and_level() {
        let measured = Measured {
            minutes: vec![
                minute(900.0, Some(920.0), 13.0),
                minute(1000.0, Some(1020.0), 12.5),
                minute(1100.0, Some(1120.0), 12.1),
            ],
        };
        // A quarter of the way from 12.5 down to 12.1; level and flow meter 20 L apart.
        let volume_l = measured.stop_volume_in_hindsight_l(12.4).expect("crosses");
        assert!((volume_l - 1035.0).abs() < 1e-9, "{volume_l}");
        assert_eq!(measured.stop_volume_in_hindsight_l(12.0), None);
    }

    #[test]
    fn a_quantity_between_two_minutes_is_in_proportion_to_volume() {
        let measured = Measured {
            minutes: vec![minute(900.0, None, 13.0), minute(1000.0, None, 12.5)],
        };
        let at = |volume_l| measured.at_volume(volume_l, |minute| minute.runnings_gravity_p);
        assert!((at(960.0).expect("inside") - 8.7).abs() < 1e-9);
        assert_eq!(at(1001.0), None);
        assert_eq!(at(800.0), None);
    }
}

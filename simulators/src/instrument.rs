//! Instruments: what a meter makes of the truth, sample by sample.
//!
//! Owns lag, error, noise, bubbles, failures and the unit a reading is given in. Each instrument draws from a
//! stream of its own and always the same number of times a sample, so that a fault in one changes no other.
//! Must not know how readings travel.

use lauter_core::reading::{Measures, Status};
use lauter_core::units::{self, Dimension, Unit};

use crate::fault::{Fault, FaultError};
use crate::model::Truth;
use crate::noise::Noise;
use crate::scenario::{Instrument as Keys, Scenario};

/// The name under which the broker connection can be dropped.
pub const MQTT_LINK: &str = "mqtt";

/// The name under which the time-series database can be dropped.
pub const DATABASE_LINK: &str = "influx";

/// First stream of instruments; process and instruments never share one.
const FIRST_STREAM: u64 = 16;

/// Refractometer reading over true extract of wort; common practice, no source.
const WORT_FACTOR: f64 = 1.04;

/// Mean samples between the bursts that the bubbles fault brings, and their mean length, s.
const FAULT_BUBBLES_EVERY_S: f64 = 20.0;
const FAULT_BUBBLES_BURST_S: f64 = 5.0;

/// The latest sample of an instrument, in its own unit.
#[derive(Clone, Debug, PartialEq)]
pub struct InstrumentReading {
    pub id: String,
    /// None while it does not answer.
    pub value: Option<f64>,
    pub status: Status,
    /// When it was sampled, s after the start of the run.
    pub sampled_s: f64,
}

/// A fault with an end.
#[derive(Clone, Copy, Debug)]
struct Until<T> {
    what: T,
    until_s: f64,
}

impl<T: Copy> Until<T> {
    fn new(what: T, now_s: f64, for_s: Option<f64>) -> Self {
        let until_s = for_s.map_or(f64::INFINITY, |s| now_s + s);
        Self { what, until_s }
    }

    fn now(this: Option<Self>, now_s: f64) -> Option<T> {
        this.filter(|t| now_s < t.until_s).map(|t| t.what)
    }
}

/// What is wrong with an instrument at present.
#[derive(Clone, Copy, Debug, Default)]
struct Condition {
    frozen: Option<Until<()>>,
    silent: Option<Until<()>>,
    depth: Option<Until<f64>>,
    noise: Option<Until<f64>>,
    status: Option<Until<Status>>,
    current_ma: Option<Until<f64>>,
    step: f64,
    drift_per_h: f64,
    drift_since_s: f64,
}

#[derive(Clone, Debug)]
struct Meter {
    keys: Keys,
    /// Unit it works in: that of the span for a loop.
    unit: Unit,
    capacity_l: f64,
    noise: Noise,
    lagged: Option<f64>,
    next_sample_s: f64,
    burst_until_s: f64,
    dropout_until_s: f64,
    condition: Condition,
}

/// All instruments of a brewhouse, and which links are down.
#[derive(Clone, Debug)]
pub struct Instruments {
    meters: Vec<Meter>,
    readings: Vec<InstrumentReading>,
    links: Vec<String>,
    down: Vec<(String, f64)>,
}

impl Instruments {
    pub fn new(scenario: &Scenario, seed: u64) -> Self {
        let meters: Vec<Meter> = scenario
            .instruments
            .iter()
            .zip(FIRST_STREAM..)
            .map(|(keys, stream)| Meter {
                unit: keys.span.map_or(keys.unit, |span| span.unit),
                capacity_l: scenario.kettle.capacity_l,
                noise: Noise::stream(seed, stream),
                lagged: None,
                next_sample_s: 0.0,
                burst_until_s: f64::NEG_INFINITY,
                dropout_until_s: f64::NEG_INFINITY,
                condition: Condition::default(),
                keys: keys.clone(),
            })
            .collect();
        let readings = scenario
            .instruments
            .iter()
            .map(|keys| InstrumentReading {
                id: keys.id.clone(),
                value: None,
                status: Status::Good,
                sampled_s: 0.0,
            })
            .collect();
        let mut links: Vec<String> = scenario
            .modbus_links
            .iter()
            .map(|link| link.name.clone())
            .collect();
        if scenario.instruments.iter().any(|i| i.mqtt.is_some()) {
            links.push(MQTT_LINK.to_owned());
        }
        if scenario.influx.is_some() {
            links.push(DATABASE_LINK.to_owned());
        }
        Self {
            meters,
            readings,
            links,
            down: Vec::new(),
        }
    }

    pub fn readings(&self) -> &[InstrumentReading] {
        &self.readings
    }

    pub fn link_is_up(&self, link: &str, now_s: f64) -> bool {
        !self
            .down
            .iter()
            .any(|(name, until_s)| name == link && now_s < *until_s)
    }

    /// Shows the truth to every instrument; those whose turn it is take a sample.
    pub fn observe(&mut self, truth: &Truth, now_s: f64, seconds: f64) {
        for index in 0..self.meters.len() {
            self.meters[index].follow(truth, seconds);
            if now_s + 1e-9 < self.meters[index].next_sample_s {
                continue;
            }
            let up = self.meters[index]
                .link()
                .is_none_or(|link| self.link_is_up(link, now_s));
            let meter = &mut self.meters[index];
            meter.next_sample_s += meter.keys.every_s;
            let reading = &mut self.readings[index];
            let sample = meter.sample(now_s, reading.value);
            reading.status = Until::now(meter.condition.status, now_s).unwrap_or_default();
            reading.value = sample.filter(|_| up);
            reading.sampled_s = now_s;
        }
    }

    /// Lets a fault of an instrument or a link begin or end.
    pub fn inject(&mut self, fault: &Fault, now_s: f64) -> Result<(), FaultError> {
        match fault {
            Fault::DropLink { link, for_s } => {
                let until_s = for_s.map_or(f64::INFINITY, |s| now_s + s);
                let links = self.links_named(link.as_deref())?;
                self.down.retain(|(name, _)| !links.contains(name));
                self.down
                    .extend(links.into_iter().map(|name| (name, until_s)));
                return Ok(());
            }
            Fault::RestoreLink { link } => {
                let links = self.links_named(link.as_deref())?;
                self.down.retain(|(name, _)| !links.contains(name));
                return Ok(());
            }
            _ => {}
        }
        let Some(id) = fault.instrument() else {
            return Ok(());
        };
        let ids = || self.meters.iter().map(|m| m.keys.id.as_str());
        let Some(index) = ids().position(|known| known == id) else {
            let known = ids().collect::<Vec<_>>().join(", ");
            return Err(FaultError::UnknownInstrument(id.to_owned(), known));
        };
        let meter = &mut self.meters[index];
        if matches!(fault, Fault::Current { .. }) && meter.keys.span.is_none() {
            return Err(FaultError::NoCurrentLoop(id.to_owned(), self.loops()));
        }
        meter.condition.change(fault, now_s);
        Ok(())
    }

    /// The names of the current loops.
    fn loops(&self) -> String {
        let loops = self.meters.iter().filter(|meter| meter.keys.span.is_some());
        let ids: Vec<&str> = loops.map(|meter| meter.keys.id.as_str()).collect();
        if ids.is_empty() {
            "none".to_owned()
        } else {
            ids.join(", ")
        }
    }

    fn links_named(&self, link: Option<&str>) -> Result<Vec<String>, FaultError> {
        match link {
            None => Ok(self.links.clone()),
            Some(name) if self.links.iter().any(|known| known == name) => Ok(vec![name.to_owned()]),
            Some(name) => Err(FaultError::UnknownLink(
                name.to_owned(),
                self.links.join(", "),
            )),
        }
    }
}

impl Condition {
    fn change(&mut self, fault: &Fault, now_s: f64) {
        match *fault {
            Fault::Freeze { for_s, .. } => self.frozen = Some(Until::new((), now_s, for_s)),
            Fault::Dropout { for_s, .. } => self.silent = Some(Until::new((), now_s, for_s)),
            Fault::Bubbles { depth, for_s, .. } => {
                self.depth = Some(Until::new(depth, now_s, for_s));
            }
            Fault::Noise { factor, for_s, .. } => {
                self.noise = Some(Until::new(factor, now_s, for_s));
            }
            Fault::Status { status, for_s, .. } => {
                self.status = Some(Until::new(status, now_s, for_s));
            }
            Fault::Current { ma, for_s, .. } => {
                self.current_ma = Some(Until::new(ma, now_s, for_s));
            }
            Fault::Step { by, .. } => self.step += by,
            Fault::Drift { per_h, .. } => {
                self.step += self.drifted(now_s);
                self.drift_per_h = per_h;
                self.drift_since_s = now_s;
            }
            Fault::Restore { .. } => *self = Self::default(),
            _ => {}
        }
    }

    fn drifted(&self, now_s: f64) -> f64 {
        self.drift_per_h * (now_s - self.drift_since_s) / 3600.0
    }
}

impl Meter {
    fn link(&self) -> Option<&str> {
        let modbus = self.keys.modbus.as_ref().map(|point| point.link.as_str());
        modbus.or_else(|| self.keys.mqtt.as_ref().map(|_| MQTT_LINK))
    }

    /// First-order lag behind the truth.
    fn follow(&mut self, truth: &Truth, seconds: f64) {
        let now = self.true_value(truth);
        let lagged = match self.lagged {
            Some(before) if self.keys.lag_s > 0.0 => {
                before + (now - before) * (1.0 - (-seconds / self.keys.lag_s).exp())
            }
            _ => now,
        };
        self.lagged = Some(lagged);
    }

    /// What a perfect instrument would show, in this one's working unit.
    fn true_value(&self, truth: &Truth) -> f64 {
        let switch = |on: bool| f64::from(u8::from(on));
        let (value, temperature_c) = match self.keys.measures {
            Measures::RunningsGravity => (truth.runnings_gravity_p, truth.runnings_temperature_c),
            Measures::KettleGravity => (truth.kettle_gravity_p, truth.kettle_temperature_c),
            Measures::RunningsTemperature => (truth.runnings_temperature_c, 0.0),
            Measures::RunningsPh => (truth.runnings_ph, 0.0),
            Measures::RunningsTurbidity => (truth.turbidity_ebc, 0.0),
            Measures::RunoffFlow => (truth.flow_l_min, 0.0),
            Measures::RunoffTotal => (truth.metered_volume_l, 0.0),
            Measures::SpargeFlow => (truth.sparge_flow_l_min, 0.0),
            Measures::KettleVolume => (truth.kettle_volume_l, 0.0),
            Measures::KettleTemperature => (truth.kettle_temperature_c, 0.0),
            Measures::BedPressureDrop => (truth.pressure_drop_kpa, 0.0),
            Measures::RakeRunning => (switch(truth.raking), 0.0),
            Measures::PumpRunning => (switch(truth.pump_running), 0.0),
            Measures::Recirculating => (switch(truth.recirculating), 0.0),
        };
        if self.unit == Unit::Percent {
            return 100.0 * value / self.capacity_l;
        }
        if self.unit.dimension() == Dimension::Gravity {
            return units::gravity_from_p(self.unit, value, Some(temperature_c), WORT_FACTOR)
                .expect("the model's wort lies within the tables");
        }
        self.unit
            .linear_from_base(value)
            .expect("a scenario's units fit what is measured")
    }

    /// One sample. Random numbers are drawn whether they are used or not.
    fn sample(&mut self, now_s: f64, last: Option<f64>) -> Option<f64> {
        let deviate = self.noise.gaussian();
        let fall = self.bubble(now_s);
        let dropped = self.dropout(now_s);
        if Until::now(self.condition.silent, now_s).is_some() || dropped {
            return None;
        }
        if Until::now(self.condition.frozen, now_s).is_some() && last.is_some() {
            return last;
        }
        let rough = Until::now(self.condition.noise, now_s).unwrap_or(1.0);
        let keys = &self.keys;
        let hours = now_s / 3600.0;
        let mut value = self.lagged? * keys.gain
            + keys.bias
            + keys.drift_per_h * hours
            + self.condition.step
            + self.condition.drifted(now_s)
            + keys.noise * rough * deviate
            - fall;
        if keys.resolution > 0.0 {
            value = (value / keys.resolution).round() * keys.resolution;
        }
        if keys.measures.dimension() == Dimension::Switch {
            value = f64::from(u8::from(value >= 0.5));
        }
        Some(self.as_current(value, now_s))
    }

    /// As a loop current where it is one; its electronics stop at the ends of the NE 43 range.
    fn as_current(&self, value: f64, now_s: f64) -> f64 {
        let Some(span) = self.keys.span else {
            return value;
        };
        Until::now(self.condition.current_ma, now_s).unwrap_or_else(|| {
            units::span_to_loop(value, span.at_4_ma, span.at_20_ma)
                .clamp(units::LOOP_RANGE_LOW_MA, units::LOOP_RANGE_HIGH_MA)
        })
    }

    fn bubble(&mut self, now_s: f64) -> f64 {
        let (begins, lasts, falls) = (
            self.noise.unit(),
            self.noise.exponential(1.0),
            self.noise.exponential(1.0),
        );
        let every_s = self.keys.every_s;
        let fault = Until::now(self.condition.depth, now_s);
        let usual = self.keys.bubbles;
        let (rate_per_s, burst_s, depth) = match (fault, usual) {
            (Some(depth), _) => (1.0 / FAULT_BUBBLES_EVERY_S, FAULT_BUBBLES_BURST_S, depth),
            (None, Some(b)) => (b.per_h / 3600.0, b.burst_s, b.depth),
            (None, None) => return 0.0,
        };
        if begins < 1.0 - (-rate_per_s * every_s).exp() {
            self.burst_until_s = now_s + burst_s * lasts;
        }
        if now_s <= self.burst_until_s {
            depth * falls
        } else {
            0.0
        }
    }

    fn dropout(&mut self, now_s: f64) -> bool {
        let (begins, lasts) = (self.noise.unit(), self.noise.exponential(1.0));
        let Some(dropouts) = self.keys.dropouts else {
            return false;
        };
        if begins < 1.0 - (-dropouts.per_h / 3600.0 * self.keys.every_s).exp() {
            self.dropout_until_s = now_s + dropouts.for_s * lasts;
        }
        now_s <= self.dropout_until_s
    }
}

//! The instruments: units that fit, compensation, limits, and where the readings come from.

use lauter_core::reading::{Instrument, Measures, Span};
use lauter_core::units::{Dimension, Unit};

use super::super::faults::Faults;
use super::super::key_path::KeyPath;
use super::super::model::{ConfiguredInstrument, MqttPoint, Source};
use super::super::shape::one_of;
use super::super::tables::{InstrumentTable, RootTable};
use super::{modbus, spelt};

/// Headings of a replay file's first column, which no instrument can have.
const RESERVED_IDS: [&str; 2] = ["elapsed_s", "time"];
/// Without `stale_after_s` a reading is stale after this long, s, or after so many periods if that is longer.
/// Own choice: ten missed readings are no accident, and ten seconds are short against the washing of a bed.
const STALE_AFTER_S: f64 = 10.0;
const STALE_AFTER_PERIODS: f64 = 10.0;
/// One late reading must not make an instrument stale.
const FEWEST_PERIODS: f64 = 2.0;
/// No loop carries more, mA; limits beyond it were meant for the quantity and not for the current.
const LARGEST_CURRENT_MA: f64 = 25.0;

pub fn instruments(root: &RootTable, faults: &mut Faults) -> Option<Vec<ConfiguredInstrument>> {
    let at = KeyPath::default().key("instrument");
    let tables = root.instrument.as_deref().unwrap_or_default();
    doubles(tables, &at, faults);
    let instruments: Vec<Option<ConfiguredInstrument>> = tables
        .iter()
        .enumerate()
        .map(|(index, table)| {
            let one = One {
                root,
                all: tables,
                table,
                at: at.index(index),
            };
            one.resolved(faults)
        })
        .collect();
    instruments.into_iter().collect()
}

/// Two instruments of one id, or two for one quantity.
fn doubles(tables: &[InstrumentTable], at: &KeyPath, faults: &mut Faults) {
    for (index, table) in tables.iter().enumerate() {
        for (earlier_index, earlier) in tables[..index].iter().enumerate() {
            if let Some(id) = table
                .id
                .as_ref()
                .filter(|id| earlier.id.as_ref() == Some(*id))
            {
                let message =
                    format!("is {id:?}, as is instrument[{earlier_index}]; an id stands once");
                faults.add(&at.index(index).key("id"), message);
            }
            if let Some(measures) = table.measures.filter(|it| earlier.measures == Some(*it)) {
                let ids =
                    [earlier, table].map(|it| format!("{:?}", it.id.as_deref().unwrap_or("")));
                let message = format!(
                    "is \"{}\" in both {} and {}; allowed is one instrument for each quantity",
                    spelt(measures),
                    ids[0],
                    ids[1]
                );
                faults.add(&at.index(index).key("measures"), message);
            }
        }
    }
}

/// One instrument among the others.
struct One<'a> {
    root: &'a RootTable,
    all: &'a [InstrumentTable],
    table: &'a InstrumentTable,
    at: KeyPath,
}

impl One<'_> {
    fn resolved(&self, faults: &mut Faults) -> Option<ConfiguredInstrument> {
        self.id(faults);
        self.unit(faults);
        let span = self.span(faults);
        let temperature = self.temperature(faults);
        self.limits(faults);
        let zero = self.zero(faults);
        let source = self.source(faults);
        let stale_after_s = self.stale_after_s(faults);
        let source = source?;
        let switch = self.table.unit == Some(Unit::Bool);
        let link = match &source {
            Source::Modbus(_) => self.table.modbus.as_ref()?.link.clone(),
            Source::Mqtt(_) => Some("mqtt".to_owned()),
            Source::Recorded => None,
        };
        Some(ConfiguredInstrument {
            instrument: Instrument {
                id: self.table.id.clone()?,
                measures: self.table.measures?,
                unit: self.table.unit?,
                span,
                temperature,
                low: self.table.low.filter(|_| !switch),
                high: self.table.high.filter(|_| !switch),
                stale_after_s,
                zero,
                link,
            },
            source,
        })
    }

    fn id(&self, faults: &mut Faults) {
        if let Some(id) = self
            .table
            .id
            .as_ref()
            .filter(|id| RESERVED_IDS.contains(&id.as_str()))
        {
            let message = format!(
                "is {id:?}, which heads the time column of a replay file; give it another id"
            );
            faults.add(&self.at.key("id"), message);
        }
    }

    fn unit(&self, faults: &mut Faults) {
        let (Some(measures), Some(unit)) = (self.table.measures, self.table.unit) else {
            return;
        };
        let mut allowed = units_of(measures);
        if measures.dimension() != Dimension::Switch {
            allowed.push(Unit::Milliampere);
        }
        refuse_unit(unit, &allowed, measures, &self.at.key("unit"), faults);
    }

    fn span(&self, faults: &mut Faults) -> Option<Span> {
        let at = self.at.key("span");
        let span = match (&self.table.span, self.table.unit) {
            (Some(span), Some(Unit::Milliampere)) => span,
            (Some(_), Some(unit)) => {
                let message = format!("belongs to the unit mA; the unit is {}", spelt(unit));
                faults.add(&at, message);
                return None;
            }
            (None, Some(Unit::Milliampere)) => {
                let message = "is missing; a current needs to be told what it stands for, such as \
                               { unit = \"kPa\", at_4_ma = 0.0, at_20_ma = 5.0 }";
                faults.add(&at, message);
                return None;
            }
            _ => return None,
        };
        if let (Some(measures), Some(unit)) = (self.table.measures, span.unit) {
            refuse_unit(unit, &units_of(measures), measures, &at.key("unit"), faults);
        }
        if span.at_4_ma.is_some() && span.at_4_ma == span.at_20_ma {
            let message = "is the same as at_4_ma; allowed is any other number";
            faults.add(&at.key("at_20_ma"), message);
        }
        Some(Span {
            unit: span.unit?,
            at_4_ma: span.at_4_ma?,
            at_20_ma: span.at_20_ma?,
        })
    }

    /// The unit of the quantity itself: that of the span where a current stands for it.
    fn quantity_unit(&self) -> Option<Unit> {
        match self.table.unit? {
            Unit::Milliampere => self.table.span.as_ref()?.unit,
            unit => Some(unit),
        }
    }

    fn temperature(&self, faults: &mut Faults) -> Option<usize> {
        let at = self.at.key("temperature");
        let Some(name) = &self.table.temperature else {
            if self.quantity_unit() == Some(Unit::KilogramPerCubicMetre) {
                let message = "is missing; a density in kg/m3 needs the id of the instrument that measures its \
                               temperature";
                faults.add(&at, message);
            }
            return None;
        };
        if let Some(measures) = self.table.measures
            && !matches!(measures.dimension(), Dimension::Gravity | Dimension::Ph)
        {
            let message = format!(
                "has no use: {} is not compensated for temperature",
                spelt(measures)
            );
            faults.add(&at, message);
            return None;
        }
        let index = self
            .all
            .iter()
            .position(|other| other.id.as_ref() == Some(name));
        let thermometers: Vec<&String> = self
            .all
            .iter()
            .filter(|other| other.measures.is_some_and(is_temperature))
            .filter_map(|other| other.id.as_ref())
            .collect();
        let allowed = if thermometers.is_empty() {
            "an instrument that measures a temperature, and the file has none".to_owned()
        } else {
            format!(
                "an instrument that measures a temperature: {}",
                one_of(&thermometers)
            )
        };
        match index.map(|index| self.all[index].measures) {
            None => faults.add(
                &at,
                format!("is {name:?}, which is no instrument's id; allowed is {allowed}"),
            ),
            Some(Some(measures)) if !is_temperature(measures) => {
                let message = format!(
                    "is {name:?}, which measures {}; allowed is {allowed}",
                    spelt(measures)
                );
                faults.add(&at, message);
            }
            Some(_) => {}
        }
        index
    }

    fn limits(&self, faults: &mut Faults) {
        if matches!(self.table.unit, None | Some(Unit::Bool)) {
            return;
        }
        let unit = self.table.unit.map(spelt).unwrap_or_default();
        for (key, value) in [("low", self.table.low), ("high", self.table.high)] {
            let at = self.at.key(key);
            match value {
                None => faults.add(
                    &at,
                    format!("is missing; needed is the physical limit in {unit}"),
                ),
                Some(value)
                    if self.table.unit == Some(Unit::Milliampere)
                        && !(0.0..=LARGEST_CURRENT_MA).contains(&value) =>
                {
                    let message = format!(
                        "is {value}; allowed is a current from 0 to {LARGEST_CURRENT_MA} mA"
                    );
                    faults.add(&at, message);
                }
                Some(_) => {}
            }
        }
        if let (Some(low), Some(high)) = (self.table.low, self.table.high)
            && low >= high
        {
            let message = format!("is {high}; allowed is more than low ({low})");
            faults.add(&self.at.key("high"), message);
        }
    }

    fn stale_after_s(&self, faults: &mut Faults) -> f64 {
        let every_ms = self
            .table
            .modbus
            .as_ref()
            .and_then(|modbus| modbus.every_ms);
        let every_s = every_ms.map_or(0.0, |every_ms| f64::from(every_ms) / 1000.0);
        let Some(stale_after_s) = self.table.stale_after_s else {
            return STALE_AFTER_S.max(STALE_AFTER_PERIODS * every_s);
        };
        let least = FEWEST_PERIODS * every_s;
        if stale_after_s < least {
            let message = format!(
                "is {stale_after_s}; allowed is at least {least}, twice the reading period of modbus.every_ms, so \
                 that one late reading is no fault"
            );
            faults.add(&self.at.key("stale_after_s"), message);
        }
        stale_after_s
    }

    /// `zero_kpa` in the instrument's own unit. A current is shifted by the pressure's share of the 16 mA.
    fn zero(&self, faults: &mut Faults) -> f64 {
        let Some(zero_kpa) = self.table.zero_kpa else {
            return 0.0;
        };
        if let Some(measures) = self
            .table
            .measures
            .filter(|it| *it != Measures::BedPressureDrop)
        {
            let message = format!(
                "belongs to bed-pressure-drop; this instrument measures {}",
                spelt(measures)
            );
            faults.add(&self.at.key("zero_kpa"), message);
            return 0.0;
        }
        let in_unit = |unit: Unit| unit.linear_from_base(zero_kpa);
        let zero = self.quantity_unit().and_then(in_unit).unwrap_or_default();
        let span = self.table.span.as_ref();
        match span.and_then(|span| Some(span.at_20_ma? - span.at_4_ma?)) {
            Some(width) if width != 0.0 => zero * 16.0 / width,
            _ => zero,
        }
    }

    fn source(&self, faults: &mut Faults) -> Option<Source> {
        match (&self.table.modbus, &self.table.mqtt) {
            (Some(_), Some(_)) => {
                let message = "modbus is given too; an instrument is read in one way";
                faults.add(&self.at.key("mqtt"), message);
                None
            }
            (Some(table), None) => {
                let links = self.root.modbus_link.as_deref().unwrap_or_default();
                let at = self.at.key("modbus");
                modbus::point(table, self.table.unit, links, &at, faults).map(Source::Modbus)
            }
            (None, Some(table)) => {
                self.broker(faults);
                let topic = table.topic.as_ref()?;
                self.foreign(topic, faults);
                Some(Source::Mqtt(MqttPoint {
                    topic: topic.clone(),
                    pointer: table.pointer.clone(),
                    time_pointer: table.time_pointer.clone(),
                }))
            }
            (None, None) => Some(Source::Recorded),
        }
    }

    fn broker(&self, faults: &mut Faults) {
        if self.root.mqtt.is_none() && !faults.concern(&KeyPath::default().key("mqtt")) {
            let message = "needs a broker; add the table [mqtt] with its host";
            faults.add(&self.at.key("mqtt"), message);
        }
    }

    /// An instrument fed by lauterd's own publications would feed on itself.
    fn foreign(&self, topic: &str, faults: &mut Faults) {
        let site = self.root.site.as_ref().and_then(|site| site.name.as_ref());
        let tun = self.root.tun.as_ref().and_then(|tun| tun.name.as_ref());
        if let (Some(site), Some(tun)) = (site, tun)
            && topic.starts_with(&format!("lauterd/{site}/{tun}/"))
        {
            let message = format!(
                "is {topic:?}, where this tun itself publishes; name the instrument's own topic"
            );
            faults.add(&self.at.key("mqtt.topic"), message);
        }
    }
}

fn is_temperature(measures: Measures) -> bool {
    measures.dimension() == Dimension::Temperature
}

/// The units of a quantity, apart from a current that stands for it. Only a kettle has a capacity that a
/// percentage can refer to.
fn units_of(measures: Measures) -> Vec<Unit> {
    Unit::ALL
        .into_iter()
        .filter(|unit| unit.dimension() == measures.dimension())
        .filter(|unit| *unit != Unit::Percent || measures == Measures::KettleVolume)
        .collect()
}

fn refuse_unit(
    unit: Unit,
    allowed: &[Unit],
    measures: Measures,
    at: &KeyPath,
    faults: &mut Faults,
) {
    if !allowed.contains(&unit) {
        let names: Vec<String> = allowed.iter().map(spelt).collect();
        let message = format!(
            "is \"{}\"; allowed for {} is {}",
            spelt(unit),
            spelt(measures),
            one_of(&names)
        );
        faults.add(at, message);
    }
}

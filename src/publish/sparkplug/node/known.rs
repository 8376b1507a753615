//! One metric as it stands, and how it is written in a birth and in data.

use super::super::metrics::{Quality, Told};
use super::super::payload::{Metric, PropertySet};

#[derive(Debug)]
pub struct Known {
    pub alias: u64,
    pub told: Told,
    /// The quality that the receiver knows.
    pub quality_sent: Quality,
}

impl Known {
    pub fn of(alias: u64, told: Told) -> Self {
        Self {
            alias,
            quality_sent: told.quality,
            told,
        }
    }

    /// With everything a receiver must know to understand what follows.
    pub fn birth(&mut self) -> Metric {
        self.quality_sent = self.told.quality;
        let mut properties = PropertySet::default();
        if !self.told.unit.is_empty() {
            properties.put_text("engUnit", self.told.unit);
        }
        properties.put_int("Quality", self.told.quality.code());
        Metric {
            name: Some(self.told.name.clone()),
            datatype: Some(self.told.datatype as u32),
            properties: Some(properties),
            ..self.data(false)
        }
    }

    /// The value alone, by its alias.
    pub fn data(&self, with_quality: bool) -> Metric {
        let mut properties = PropertySet::default();
        properties.put_int("Quality", self.told.quality.code());
        Metric {
            alias: Some(self.alias),
            timestamp: Some(self.told.at_ms),
            is_null: self.told.value.is_none().then_some(true),
            value: self.told.value.clone(),
            properties: with_quality.then_some(properties),
            ..Metric::default()
        }
    }
}

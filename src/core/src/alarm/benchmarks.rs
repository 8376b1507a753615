//! What the figures of alarm performance should be, and who says so.
//!
//! Owns the benchmark values of EEMUA 191 and ISA-18.2 (IEC 62682), each from memory, and the comparison. They were
//! written for operators of whole plants with hundreds of alarms; a tun has sixteen kinds, so a share of few alarms is
//! no verdict.

use serde::{Deserialize, Serialize};

use super::identity::Priority;
use super::performance::{FLOOD_IN_INTERVAL, Performance};

/// One figure beside its benchmark.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Benchmark {
    pub figure: String,
    pub value: Option<f64>,
    pub at_most: f64,
    pub unit: String,
    /// Whether it is kept; null where there is too little to say.
    pub kept: Option<bool>,
    pub source: String,
}

/// Alarms from which shares of them mean something (own choice).
const ENOUGH_ALARMS: u32 = 50;
/// Long-term average that EEMUA 191 calls very likely to be acceptable: one in 10 min (from memory).
const PER_10_MIN: f64 = 1.0;
/// Average number of standing alarms, fewer than ten (EEMUA 191; from memory).
const STANDING: f64 = 10.0;
/// Time in flood, less than 1 % (ISA-18.2; from memory).
const FLOOD_PERCENT: f64 = 1.0;
/// Stale alarms, fewer than five on any day, each with a plan (ISA-18.2; from memory).
const STALE: f64 = 5.0;
/// Distribution about 80 % low, 15 % medium, 5 % high (EEMUA 191, ISA-18.2; from memory).
const HIGH_PERCENT: f64 = 5.0;
const MEDIUM_PERCENT: f64 = 15.0;

impl Performance {
    /// Every figure that has a benchmark.
    pub fn benchmarks(&self) -> Vec<Benchmark> {
        let count = |many: u32| Some(f64::from(many));
        let times = |list: &[super::Frequency]| count(list.iter().map(|one| one.count).sum());
        let eemua = "EEMUA 191, from memory";
        let isa = "ISA-18.2 / IEC 62682, from memory";
        let both = "EEMUA 191 and ISA-18.2, from memory";
        let distribution =
            "EEMUA 191 and ISA-18.2: about 80 % low, 15 % medium, 5 % high; from memory";
        let mut rows = vec![
            row(
                "alarms in an operator hour",
                self.per_hour,
                6.0 * PER_10_MIN,
                "",
                eemua,
            ),
            row(
                "alarms in 10 min, mean",
                self.per_10_min,
                PER_10_MIN,
                "",
                eemua,
            ),
            row(
                "alarms in 10 min, most",
                count(self.peak_in_10_min),
                f64::from(FLOOD_IN_INTERVAL),
                "",
                both,
            ),
            row(
                "time in flood",
                self.flood_share.map(|share| 100.0 * share),
                FLOOD_PERCENT,
                "%",
                isa,
            ),
            row(
                "standing alarms, mean",
                self.standing_mean,
                STANDING,
                "",
                eemua,
            ),
            row(
                "stale alarms",
                count(self.stale.len() as u32),
                STALE,
                "",
                isa,
            ),
            row("chattering alarms", times(&self.chattering), 0.0, "", isa),
            row("fleeting alarms", times(&self.fleeting), 0.0, "", isa),
        ];
        let enough = self.annunciated >= ENOUGH_ALARMS;
        let shares = [
            (
                "high and critical alarms",
                self.percent(&[Priority::Critical, Priority::High]),
                HIGH_PERCENT,
            ),
            (
                "medium alarms",
                self.percent(&[Priority::Medium]),
                MEDIUM_PERCENT,
            ),
        ];
        rows.extend(shares.map(|(figure, share, at_most)| {
            let mut row = row(figure, share, at_most, "%", distribution);
            row.kept = row.kept.filter(|_| enough);
            row
        }));
        rows
    }

    /// Share of the alarms that have one of `priorities`, %.
    pub fn percent(&self, priorities: &[Priority]) -> Option<f64> {
        let counts = priorities
            .iter()
            .filter_map(|one| self.by_priority.get(one));
        let many: u32 = counts.sum();
        (self.annunciated > 0).then(|| 100.0 * f64::from(many) / f64::from(self.annunciated))
    }
}

fn row(figure: &str, value: Option<f64>, at_most: f64, unit: &str, source: &str) -> Benchmark {
    Benchmark {
        figure: figure.to_owned(),
        value,
        at_most,
        unit: unit.to_owned(),
        kept: value.map(|value| value <= at_most),
        source: source.to_owned(),
    }
}

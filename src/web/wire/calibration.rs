//! Loop checks and corrections as they travel.

use jiff::{SignedDuration, Timestamp};
use lauter_core::calibration::{
    Evaluation, LoopCheck, MeasuredPoint, POINTS_BOUND, Parameters, Point, Reference, Rule,
    evaluate,
};
use lauter_core::reading::{Instrument, Measures};
use lauter_core::supervisor::ConditionedReading;
use lauter_core::units::Unit;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::people::ONE_LINE;
use super::{Fault, Time, check_text};
use crate::runtime::request::{Calibrated, TunStatus};
use crate::store::{StoredCheck, StoredCorrection};

/// Longest time to the next check, days (own choice: ten years).
const LONGEST_INTERVAL_DAYS: f64 = 3660.0;

/// Share of the limits' width by which a correction may move a reading past them: more than the greatest that is made, a
/// slope of 75 % and 60 mV (own choice).
const CORRECTED_MARGIN: f64 = 0.5;

/// A loop check that somebody has made. Readings, tolerance and resolution are in the instrument's unit (its span's for a
/// current loop).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LoopCheckBody {
    pub instrument: String,
    pub reference: Reference,
    pub tolerance: f64,
    #[serde(default)]
    pub resolution: f64,
    #[serde(default)]
    pub as_found: Vec<Point>,
    #[serde(default)]
    pub as_left: Vec<Point>,
    /// Days to the next check; left out, what is usual for such an instrument.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_days: Option<f64>,
    #[serde(default)]
    pub note: String,
    /// Where nobody signs in: who made it. A program may say here for whom it acts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub who: Option<String>,
}

/// Points that an instrument is to be corrected by, of one applied value or more, each with what it read before any correction.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CorrectionBody {
    #[schemars(length(min = 1, max = POINTS_BOUND))]
    pub points: Vec<MeasuredPoint>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1.0, max = LONGEST_INTERVAL_DAYS))]
    pub due_days: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(max = 200), regex(pattern = ONE_LINE))]
    pub who: Option<String>,
}

/// Who takes a correction back.
#[derive(Clone, Debug, Default, PartialEq, Deserialize, JsonSchema)]
pub struct WhoQuery {
    /// Where nobody signs in: who does it.
    #[schemars(length(max = 200), regex(pattern = ONE_LINE))]
    pub who: Option<String>,
}

impl WhoQuery {
    pub fn check(&self) -> Result<(), Vec<Fault>> {
        found_right(|faults| check_common(None, self.who.as_deref(), faults))
    }
}

/// An instrument as it stands now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct InstrumentState {
    pub instrument: String,
    pub measures: Measures,
    /// Of its values: its own, or its span's for a current loop.
    pub unit: Unit,
    /// Its physical limits in that unit; null for a switch.
    pub low: Option<f64>,
    pub high: Option<f64>,
    /// What it is set to measure, in that unit: a current loop's span, else its limits; null for a switch.
    pub lower_range_value: Option<f64>,
    pub upper_range_value: Option<f64>,
    pub wort_factor: f64,
    /// Null until something was read.
    pub reading: Option<ConditionedReading>,
    /// Null before the first check.
    pub calibration: Option<Calibrated>,
    /// The brew under way.
    pub brew: Option<String>,
}

impl InstrumentState {
    pub fn of(instrument: &Instrument, wort_factor: f64, status: TunStatus) -> Self {
        let (limits, range) = (instrument.limits(), instrument.range());
        let mut readings = status.readings.into_iter();
        let mut calibration = status.calibration.into_iter();
        Self {
            instrument: instrument.id.clone(),
            measures: instrument.measures,
            unit: instrument.reads_in(),
            low: limits.map(|(low, _)| low),
            high: limits.map(|(_, high)| high),
            lower_range_value: range.map(|(lower, _)| lower),
            upper_range_value: range.map(|(_, upper)| upper),
            wort_factor,
            reading: readings.find(|it| it.instrument == instrument.id),
            calibration: calibration.find(|it| it.instrument == instrument.id),
            brew: status.brew,
        }
    }
}

/// A loop check of the record with what it amounts to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LoopCheckRecord {
    /// As it stands on the certificate.
    pub number: i64,
    #[schemars(with = "Time")]
    pub time: Timestamp,
    #[schemars(with = "Option<Time>")]
    pub due: Option<Timestamp>,
    pub who: String,
    pub note: String,
    pub check: LoopCheck,
    pub evaluation: Evaluation,
}

/// A version of an instrument's correction.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CorrectionRecord {
    pub instrument: String,
    pub version: u32,
    #[schemars(with = "Time")]
    pub time: Timestamp,
    #[schemars(with = "Option<Time>")]
    pub due: Option<Timestamp>,
    pub who: String,
    pub unit: Option<Unit>,
    /// Null where this version takes the one before it back.
    pub rule: Option<Rule>,
    pub points: Vec<MeasuredPoint>,
}

impl From<StoredCheck> for LoopCheckRecord {
    fn from(stored: StoredCheck) -> Self {
        Self {
            number: stored.number,
            time: stored.checked,
            due: stored.due,
            who: stored.who,
            note: stored.note,
            evaluation: evaluate(&stored.check, &Parameters::default()),
            check: stored.check,
        }
    }
}

impl From<StoredCorrection> for CorrectionRecord {
    fn from(stored: StoredCorrection) -> Self {
        let made = stored.correction;
        Self {
            instrument: stored.instrument,
            version: stored.version,
            time: stored.made,
            due: stored.due,
            who: stored.who,
            unit: made.as_ref().map(|made| made.unit),
            rule: made.as_ref().map(|made| made.rule),
            points: made.map(|made| made.points).unwrap_or_default(),
        }
    }
}

impl LoopCheckBody {
    /// The check, or everything that is wrong with it.
    pub fn check(
        &self,
        instrument: &Instrument,
        wort_factor: f64,
    ) -> Result<LoopCheck, Vec<Fault>> {
        let check = LoopCheck {
            instrument: instrument.id.clone(),
            measures: instrument.measures,
            unit: instrument.reads_in(),
            wort_factor,
            reference: self.reference.clone(),
            tolerance: self.tolerance,
            resolution: self.resolution,
            as_found: self.as_found.clone(),
            as_left: self.as_left.clone(),
        };
        let mut faults: Vec<Fault> = check
            .check()
            .into_iter()
            .map(|fault| Fault::new(&fault.key, fault.message))
            .collect();
        for (name, points) in [("as_found", &self.as_found), ("as_left", &self.as_left)] {
            for (index, point) in points.iter().enumerate() {
                let unbelievable = unbelievable(point, instrument);
                faults.extend(
                    unbelievable.map(|words| Fault::new(&format!("{name}[{index}]"), words)),
                );
            }
        }
        check_text("reference.name", Some(&self.reference.name), &mut faults);
        if !self.note.is_empty() {
            check_text("note", Some(&self.note), &mut faults);
        }
        check_common(self.due_days, self.who.as_deref(), &mut faults);
        if faults.is_empty() {
            Ok(check)
        } else {
            Err(faults)
        }
    }
}

/// What is wrong with a reading that the instrument cannot have given. A correction may move what it gave past a limit.
fn unbelievable(point: &Point, instrument: &Instrument) -> Option<String> {
    let (low, high) = instrument.limits()?;
    let margin = CORRECTED_MARGIN * (high - low);
    let outside = match point.uncorrected {
        Some(given) if !(low..=high).contains(&given) => given,
        Some(_) if (low - margin..=high + margin).contains(&point.reading) => return None,
        None if (low..=high).contains(&point.reading) => return None,
        _ => point.reading,
    };
    let unit = instrument.reads_in().name();
    Some(format!(
        "reads {outside} {unit}, outside the instrument's limits {low} to {high}; correct the entry, or if it was really \
         read, the instrument is at fault; check its limits in the configuration"
    ))
}

impl CorrectionBody {
    pub fn check(&self) -> Result<(), Vec<Fault>> {
        found_right(|faults| check_common(self.due_days, self.who.as_deref(), faults))
    }
}

fn found_right(look: impl FnOnce(&mut Vec<Fault>)) -> Result<(), Vec<Fault>> {
    let mut faults = Vec::new();
    look(&mut faults);
    if faults.is_empty() {
        Ok(())
    } else {
        Err(faults)
    }
}

fn check_common(due_days: Option<f64>, who: Option<&str>, faults: &mut Vec<Fault>) {
    if who.is_some() {
        check_text("who", who, faults);
    }
    if let Some(days) = due_days
        && !(1.0..=LONGEST_INTERVAL_DAYS).contains(&days)
    {
        let message = format!("is {days}; allowed is 1 to {LONGEST_INTERVAL_DAYS}");
        faults.push(Fault::new("due_days", message));
    }
}

/// When an instrument is due again.
pub fn due(now: Timestamp, due_days: Option<f64>, measures: Measures) -> Option<Timestamp> {
    let days = due_days.unwrap_or_else(|| measures.usual_check_interval_days());
    let interval = SignedDuration::try_from_secs_f64(days * 86_400.0).ok()?;
    now.checked_add(interval).ok()
}

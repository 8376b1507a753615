//! Whether a level or a counter rises as fast as the flow says.
//!
//! Owns how sure that is: a volume moves in steps, and a coarse one stands still for minutes in the best of order.

use lauter_core::reading::Measures;

use super::{Found, Vessel, Watched, mean};
use crate::commission::sheet::Verdict;

/// Level or counter over summed flow that still agree: pipes and meters differ, units do so by far more. Own choice.
const AGREE: std::ops::RangeInclusive<f64> = 0.7..=1.4;
/// A rise must stand out of its scatter by so many standard errors, and be so many steps. Own choice: where the first and
/// the last step lie in the watch moves the slope by less than a fifth then.
const CLEAR: f64 = 5.0;
/// Steps after which one that never moved is frozen, 2 to 5. Own choice: one step may be due only at the end.
const FROZEN_STEPS: f64 = 2.0;
/// Step of a counter that is not known, L: one hectolitre is the coarsest that is common (common practice, no source).
const COARSEST_COUNTER_L: f64 = 100.0;
/// Step of a level that is not known, share of the kettle's capacity. Own choice: levels are shown finer than that.
const COARSEST_LEVEL: f64 = 0.005;

/// A volume over time as a straight line, by least squares.
struct Trend {
    rise_l_min: f64,
    error_l_min: f64,
    /// From the first reading to the last.
    minutes: f64,
}

impl Trend {
    /// None for too few readings.
    fn through(volumes: &[(f64, f64)]) -> Option<Self> {
        let count = volumes.len() as f64;
        let middle_s = volumes.iter().map(|(at_s, _)| at_s).sum::<f64>() / count.max(1.0);
        let middle_l = mean(volumes);
        let spread: f64 = volumes
            .iter()
            .map(|(at_s, _)| (at_s - middle_s).powi(2))
            .sum();
        if volumes.len() < 5 || spread <= 0.0 {
            return None;
        }
        let slope = volumes
            .iter()
            .map(|(at_s, v)| (at_s - middle_s) * (v - middle_l))
            .sum::<f64>()
            / spread;
        let scatter: f64 = volumes
            .iter()
            .map(|(at_s, v)| (v - middle_l - slope * (at_s - middle_s)).powi(2))
            .sum::<f64>()
            / (count - 2.0);
        Some(Self {
            rise_l_min: 60.0 * slope,
            error_l_min: 60.0 * (scatter / spread).sqrt(),
            minutes: (volumes.last()?.0 - volumes.first()?.0) / 60.0,
        })
    }
}

/// What a volume moves by at least, L.
enum Step {
    /// As its readings or its register tell.
    Known(f64),
    /// It never moved, and nothing is known of its register: the coarsest that is common.
    Guessed(f64),
    /// Every reading is another: too fine to matter.
    Fine,
}

impl Step {
    fn of(volume: &Watched<'_>, volumes: &[(f64, f64)], vessel: &Vessel<'_>) -> Self {
        let moves = || volumes.windows(2).map(|pair| (pair[1].1 - pair[0].1).abs());
        let stands = moves().any(|by| by <= 0.0);
        let seen = moves().filter(|by| *by > 0.0).reduce(f64::min);
        match seen {
            Some(_) if !stands => Self::Fine,
            Some(seen) => Self::Known(seen),
            None => register_step_l(volume, vessel).map_or_else(
                || Self::Guessed(coarsest_l(volume.instrument.measures, vessel)),
                Self::Known,
            ),
        }
    }

    fn litres(&self) -> f64 {
        match *self {
            Self::Known(litres) | Self::Guessed(litres) => litres,
            Self::Fine => 0.0,
        }
    }
}

/// Where the volume stands now: a strapping table is not straight.
fn register_step_l(volume: &Watched<'_>, vessel: &Vessel<'_>) -> Option<f64> {
    let (_, value) = *volume.values().last()?;
    let value = value - volume.instrument.zero;
    let step_l = volume.base(value + volume.step?, vessel)? - volume.base(value, vessel)?;
    Some(step_l.abs()).filter(|it| *it > 0.0)
}

fn coarsest_l(measures: Measures, vessel: &Vessel<'_>) -> f64 {
    match measures {
        Measures::KettleVolume => COARSEST_LEVEL * vessel.capacity_l,
        _ => COARSEST_COUNTER_L,
    }
}

pub fn grows(volume: &Watched<'_>, flow_l_min: f64, vessel: &Vessel<'_>) -> Found {
    let volumes = volume.in_base(vessel);
    let Some(trend) = Trend::through(&volumes) else {
        return (Verdict::NotDone, "too few readings".to_owned());
    };
    let step = Step::of(volume, &volumes, vessel);
    let expected_l = flow_l_min * trend.minutes;
    let moved = volumes
        .iter()
        .any(|(_, litres)| (litres - volumes[0].1).abs() > 0.0);
    // A step that was not seen cannot have hidden more than what flowed.
    let hidden_l = if moved {
        step.litres()
    } else {
        step.litres().min(expected_l)
    };
    let error_l_min = trend.error_l_min.hypot(hidden_l / trend.minutes);
    let rise_l_min = trend.rise_l_min;
    let shown =
        format!("{rise_l_min:.1} ± {error_l_min:.1} L/min at a flow of {flow_l_min:.1} L/min");
    let watch_longer = |steps: f64| {
        let seconds = 10.0 * (6.0 * steps * step.litres() / flow_l_min).ceil();
        format!("watch longer (--watch {seconds:.0})")
    };
    if !moved {
        return stood_still(&step, expected_l, &shown, watch_longer);
    }
    if flow_l_min.max(rise_l_min.abs()) < CLEAR * error_l_min {
        let advice = if step.litres() / trend.minutes > trend.error_l_min {
            format!(
                "it moves in steps of {:.1} L; {}",
                step.litres(),
                watch_longer(CLEAR + 1.0)
            )
        } else {
            "watch longer (--watch)".to_owned()
        };
        return (
            Verdict::NotDone,
            format!("{shown}: too short to tell; {advice}"),
        );
    }
    let ratio = rise_l_min / flow_l_min;
    if AGREE.contains(&ratio) {
        return (Verdict::Pass, shown);
    }
    let hint = if ratio < 0.0 {
        "one of them has the wrong sign"
    } else if ratio < 0.1 {
        "it hardly rises: does the flow go elsewhere, or is its unit or scale another?"
    } else {
        "one of them is in another unit, or its span or strapping is wrong"
    };
    (Verdict::Fail, format!("{shown}: {hint}"))
}

fn stood_still(
    step: &Step,
    expected_l: f64,
    shown: &str,
    watch_longer: impl Fn(f64) -> String,
) -> Found {
    let (steps, which) = match step {
        Step::Known(litres) => (FROZEN_STEPS, format!("one step is {litres:.1} L")),
        Step::Guessed(litres) => (
            1.0,
            format!("its step is not known and may be {litres:.0} L"),
        ),
        Step::Fine => (1.0, "its steps are fine".to_owned()),
    };
    if expected_l < steps * step.litres() {
        // Enough to be told from the flow as well, should it move.
        let advice = watch_longer(CLEAR + 1.0);
        let words =
            format!("{shown}: it did not move while {expected_l:.1} L flowed; {which}: {advice}");
        return (Verdict::NotDone, words);
    }
    let words = "it does not rise: is it frozen, does the flow go elsewhere, or is its unit or scale another?";
    (Verdict::Fail, format!("{shown}: {words}"))
}

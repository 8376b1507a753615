//! What the figures rest on: which quantities an instrument vouches for now, and what casts doubt on the stop-point.
//!
//! Owns the question alone; the core goes on by dead reckoning, and says so only in its record.

use lauter_core::projection::Crossing;
use lauter_core::reading::Measures;

use super::View;
use crate::display::terms::fill;

/// Any one of these tells how much is in the kettle.
const VOLUME: [Measures; 3] = [
    Measures::RunoffFlow,
    Measures::RunoffTotal,
    Measures::KettleVolume,
];
/// Any one of these tells what runs into it.
const GRAVITY: [Measures; 2] = [Measures::RunningsGravity, Measures::KettleGravity];

/// What is measured now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Footing {
    pub volume: bool,
    pub gravity: bool,
    /// Any instrument at all.
    pub anything: bool,
}

pub fn footing(view: &View<'_>) -> Footing {
    let believed =
        |kinds: &[Measures]| {
            view.configuration.instruments.iter().any(|configured| {
                let instrument = &configured.instrument;
                kinds.contains(&instrument.measures)
                    && view.status.readings.iter().any(|reading| {
                        reading.instrument == instrument.id && reading.value.is_some()
                    })
            })
        };
    Footing {
        volume: believed(&VOLUME),
        gravity: believed(&GRAVITY),
        anything: view
            .status
            .readings
            .iter()
            .any(|reading| reading.value.is_some()),
    }
}

/// For how long every instrument has been silent, s, once figures and minutes stand still for it.
pub fn silent_s(view: &View<'_>) -> Option<f64> {
    view.status.outlook.as_ref()?.silent_s
}

/// What is not measured while a run-off is watched, as one sentence.
pub fn not_measured(view: &View<'_>) -> Option<String> {
    view.status.runoff.as_ref()?;
    let words = view.voice.words;
    if let Some(silent_s) = silent_s(view) {
        let minutes = view.voice.minutes(silent_s);
        return Some(fill(words.figures_stand_still, &[&minutes]));
    }
    let rests_on = footing(view);
    let sentence = match (rests_on.anything, rests_on.volume, rests_on.gravity) {
        (false, _, _) => words.nothing_measured,
        (true, false, _) => words.volume_not_measured,
        (true, true, false) => words.gravity_not_measured,
        (true, true, true) => return None,
    };
    Some(sentence.to_owned())
}

/// The same in the few words beside a figure.
pub fn reckoned(view: &View<'_>) -> Option<String> {
    view.status.runoff.as_ref()?;
    let words = view.voice.words;
    if let Some(silent_s) = silent_s(view) {
        let minutes = view.voice.minutes(silent_s);
        return Some(fill(words.silent_for, &[&minutes]));
    }
    let rests_on = footing(view);
    (!rests_on.anything || !rests_on.volume || !rests_on.gravity).then(|| words.reckoned.to_owned())
}

/// Why the stop-point is in doubt while a channel is open or suspected, with where it was expected before.
pub fn channel_doubt(view: &View<'_>) -> Option<String> {
    let words = view.voice.words;
    let doubt = view.status.outlook.as_ref()?.channel_doubt?;
    let why = if doubt.alarmed {
        words.channel_open
    } else {
        words.channel_suspected
    };
    Some(match expected_before(view) {
        Some(before) => format!("{why} {before}"),
        None => why.to_owned(),
    })
}

/// Where the stop-point was expected before a channel was suspected.
pub fn expected_before(view: &View<'_>) -> Option<String> {
    let before = view.status.outlook.as_ref()?.channel_doubt?.target_before?;
    let volume = view.voice.volume_with_unit(before.volume_l.p50);
    Some(fill(view.voice.words.stop_before, &[&volume]))
}

/// The target's band as it is shown: in doubt it also holds what was projected before.
pub fn shown_band(view: &View<'_>) -> Option<Crossing> {
    let now = view.status.projection.as_ref()?.target?;
    let before = view
        .status
        .outlook
        .as_ref()
        .and_then(|outlook| outlook.channel_doubt?.target_before);
    Some(match before {
        Some(before) => widened(now, before),
        None => now,
    })
}

fn widened(now: Crossing, before: Crossing) -> Crossing {
    let mut wide = now;
    for (band, other) in [
        (&mut wide.volume_l, before.volume_l),
        (&mut wide.elapsed_s, before.elapsed_s),
    ] {
        band.p5 = band.p5.min(other.p5);
        band.p95 = band.p95.max(other.p95);
    }
    wide
}

#[cfg(test)]
mod tests {
    use super::*;
    use lauter_core::projection::Band;

    #[test]
    fn a_band_in_doubt_only_widens_and_its_middle_stays() {
        let crossing = |p5: f64, p50: f64, p95: f64| {
            let band = Band { p5, p50, p95 };
            Crossing {
                volume_l: band,
                elapsed_s: band,
            }
        };
        let wide = widened(crossing(40.0, 41.0, 42.0), crossing(39.0, 44.0, 47.0));
        assert_eq!(wide, crossing(39.0, 41.0, 47.0));
        let inner = widened(crossing(40.0, 41.0, 42.0), crossing(40.5, 41.0, 41.5));
        assert_eq!(inner, crossing(40.0, 41.0, 42.0));
    }
}

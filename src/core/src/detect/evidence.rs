//! What speaks for a channel at one moment, and when it is enough.
//!
//! Owns the joining of the evidence. A fall of resistance that rakes could have made unseen needs the runnings' word as
//! well; without a pressure drop the runnings must speak alone. What each says stands in the alarm.

use super::channelling::Forecast;
use super::letting_go::Fall;
use super::{AlarmId, Finding, Parameters, View};

/// Least age of a fall that can be told from the rakes by its slowness, s.
const SLOW_AFTER_S: f64 = 110.0;
/// Part of the fall at once below which no rakes did it.
const SLOW_SHARE: f64 = 0.52;
/// Rakes undo what has settled and packed, and loosen the grain a little more: a bed that is looser by this share than it
/// ever was in this run-off was not raked. Own choice, tried against the simulated tun.
const BEYOND_RAKES_SHARE: f64 = 0.26;
/// Beside runnings that fall away, a bed looser by this share than it ever was has let go.
const LOOSE_SHARE: f64 = 0.22;
/// A larger part than this within half a minute and no channel did it.
const SUDDEN_SHARE: f64 = 0.9;
/// Part of the fall that the pressure drop itself must show.
const IN_PRESSURE: f64 = 0.5;

/// Beside a fall that rakes may have made, the runnings must also lie this far below their own trend, °P.
const BELOW_TREND_P: f64 = 0.5;
/// What the forecast must show of a fall below the runnings' own trend, for the forecast has seen some of it coming.
const FORECAST_SHARE: f64 = 0.67;
/// With a cloud this much of a fall suffices.
const CLOUDY_SHARE: f64 = 0.7;

/// What the runnings have said for long enough: beside a bed that has let go, and alone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct RunningsSpeak {
    pub beside: bool,
    pub alone: bool,
}

/// What speaks for a channel at one moment.
pub(super) struct Evidence {
    pub fall: Fall,
    pub has_pressure: bool,
    /// Runnings below the forecast, °P and standard deviations; None without a forecast.
    pub gravity: Option<(f64, f64)>,
    /// Runnings below their own trend, °P.
    pub below_trend_p: f64,
    pub cloudy: bool,
    pub rakes_are_seen: bool,
}

impl Evidence {
    fn gravity_speaks(&self, fall_p: f64, deviations: f64) -> bool {
        self.gravity
            .is_some_and(|(p, sd)| p >= fall_p && sd >= deviations)
    }

    /// The bed has let go by `share` of what the rule asks for.
    fn bed_speaks(&self, parameters: &Parameters, share: f64) -> bool {
        self.fall.share >= share * parameters.channel_resistance_fall
            && self.fall.in_pressure_share >= IN_PRESSURE
    }

    /// The bed has let go, whoever did it.
    pub fn bed_has_let_go(&self, parameters: &Parameters) -> bool {
        self.has_pressure && self.fall.certain && self.bed_speaks(parameters, 1.0)
    }

    /// Looser than it ever was, though nobody saw it let go: flow was being changed.
    pub fn bed_is_loose(&self) -> bool {
        self.has_pressure && self.fall.below_loosest_share >= LOOSE_SHARE
    }

    pub fn speaks(&self, parameters: &Parameters, settled: bool, runnings: RunningsSpeak) -> bool {
        let slow = self.fall.lasting_s >= SLOW_AFTER_S && self.fall.at_once_share <= SLOW_SHARE;
        let beyond = self.fall.below_loosest_share >= BEYOND_RAKES_SHARE;
        let no_rakes = self.rakes_are_seen || slow || beyond;
        let opens = self.fall.sudden_share <= SUDDEN_SHARE;
        let bed = self.bed_has_let_go(parameters) && no_rakes && opens;
        // A meter more must not make the runnings count less.
        bed || runnings.beside || (settled && runnings.alone)
    }

    /// Beside a bed that has let go.
    pub fn runnings_beside(&self, parameters: &Parameters) -> bool {
        self.below_trend_p >= BELOW_TREND_P
            && self.gravity_speaks(
                parameters.channel_gravity_fall_p,
                parameters.channel_gravity_deviations,
            )
    }

    /// Where the bed says nothing the runnings must fall away from the forecast and from their own trend; a cloud with
    /// them lets less suffice.
    pub fn runnings_alone(&self, parameters: &Parameters, share: f64) -> bool {
        let share = share * if self.cloudy { CLOUDY_SHARE } else { 1.0 };
        let fall_p = share * parameters.channel_alone_fall_p;
        self.below_trend_p >= fall_p
            && self.gravity_speaks(
                FORECAST_SHARE * fall_p,
                share * parameters.channel_alone_deviations,
            )
    }

    pub fn suspects(&self, parameters: &Parameters, share: f64) -> bool {
        let bed = self.has_pressure && self.fall.certain && self.bed_speaks(parameters, share);
        bed || self.runnings_alone(parameters, share)
    }

    /// An alarm stays while half of what raised it is left; the bed lets go once, the runnings tell how long the channel
    /// is open.
    pub fn stays(&self, parameters: &Parameters) -> bool {
        let bed = self.has_pressure && self.bed_speaks(parameters, 0.5);
        let runnings = self.gravity_speaks(
            0.5 * parameters.channel_alone_fall_p,
            0.5 * parameters.channel_alone_deviations,
        );
        bed || runnings
    }

    pub fn finding(&self, holds: bool, view: &View, forecast: Option<Forecast>) -> Finding {
        let mut signs = Vec::new();
        if self.fall.share > 0.02 {
            signs.push(format!(
                "bed resistance fell by {:.0} % within {}",
                100.0 * self.fall.share,
                super::rules::minutes(self.fall.lasting_s)
            ));
        }
        if let Some((fall_p, _)) = self.gravity.filter(|(p, sd)| *p > 0.2 && *sd > 1.0) {
            signs.push(format!("runnings are {fall_p:.1} °P below the forecast"));
        }
        if self.cloudy {
            signs.push("the runnings turned cloudy".to_owned());
        }
        let message = format!(
            "Liquor has found a channel through the bed: {}.",
            signs.join(", ")
        );
        let missing = f64::NAN;
        Finding::new(AlarmId::Channelling, holds, message)
            .with("resistance_fall_share", self.fall.share)
            .with("resistance_fall_s", self.fall.lasting_s)
            .with(
                "runnings_gravity_p",
                view.runnings_gravity_p.unwrap_or(missing),
            )
            .with(
                "forecast_gravity_p",
                forecast.map_or(missing, |forecast| forecast.gravity_p),
            )
            .with(
                "gravity_fall_standard_deviations",
                self.gravity.map_or(missing, |(_, sd)| sd),
            )
            .with("turbidity_ebc", view.turbidity_ebc.unwrap_or(missing))
    }
}

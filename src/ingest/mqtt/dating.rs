//! When a reading was measured: its own time if that can be trusted, else its arrival.
//!
//! Owns the rules; must not know clocks: times come in already on the core's axis.
//!
//! * An own time up to the tolerance ahead of its arrival is two clocks disagreeing a little: the reading is dated
//!   at its arrival. Further ahead the instrument's clock is wrong: arrival counts, and the refusal is counted.
//! * An own time older than this instrument's last own time is a clock that was set back, or a message out of
//!   order: arrival counts, and the refusal is counted. An old time as such is believed: a gateway may hand
//!   over late what it kept, and dating that as now would be a stale number in disguise.
//! * A retained message is the broker's memory, of unknown age. It is a reading only by an own time newer than the
//!   last one; otherwise it is ignored.

use lauter_core::reading::Moment;

use super::payload::OwnTime;

/// The tuning of own times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parameters {
    /// How far an own time may lie ahead of its arrival, s; 0–60. Chosen: clocks on one plant network
    /// disagree by less, and a reading's age of a few seconds changes no decision in a run-off.
    pub ahead_tolerance_s: f64,
}

pub const PARAMETERS: Parameters = Parameters {
    ahead_tolerance_s: 5.0,
};

/// What becomes of a reading's time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dating {
    /// The own time, or the arrival where none is configured.
    At(Moment),
    /// The arrival, although an own time should have been there.
    Refused(Moment),
    /// A retained message without a new own time: not a reading.
    Ignored,
}

/// `last` is the last own time that was believed for this instrument.
pub fn date(own: OwnTime<Moment>, arrival: Moment, last: Option<Moment>, retained: bool) -> Dating {
    let latest = arrival.plus_seconds(PARAMETERS.ahead_tolerance_s);
    match own {
        OwnTime::Given(own) if retained => {
            if own <= latest && last.is_none_or(|last| own > last) {
                Dating::At(own.min(arrival))
            } else {
                Dating::Ignored
            }
        }
        _ if retained => Dating::Ignored,
        OwnTime::None => Dating::At(arrival),
        OwnTime::Given(own) if own <= latest && last.is_none_or(|last| own >= last) => {
            Dating::At(own.min(arrival))
        }
        OwnTime::Given(_) | OwnTime::Unreadable => Dating::Refused(arrival),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ARRIVAL: Moment = Moment(1_000_000_000);

    fn own(seconds_from_arrival: f64) -> OwnTime<Moment> {
        OwnTime::Given(ARRIVAL.plus_seconds(seconds_from_arrival))
    }

    #[test]
    fn an_own_time_in_the_past_is_believed() {
        let expected = Dating::At(ARRIVAL.plus_seconds(-90.0));
        assert_eq!(date(own(-90.0), ARRIVAL, None, false), expected);
    }

    #[test]
    fn a_clock_a_little_ahead_is_dated_at_arrival_and_one_far_ahead_is_refused() {
        assert_eq!(date(own(2.0), ARRIVAL, None, false), Dating::At(ARRIVAL));
        assert_eq!(
            date(own(60.0), ARRIVAL, None, false),
            Dating::Refused(ARRIVAL)
        );
    }

    #[test]
    fn a_time_older_than_the_last_own_time_is_refused() {
        let last = Some(ARRIVAL.plus_seconds(-1.0));
        assert_eq!(
            date(own(-2.0), ARRIVAL, last, false),
            Dating::Refused(ARRIVAL)
        );
        assert_eq!(
            date(own(-1.0), ARRIVAL, last, false),
            Dating::At(ARRIVAL.plus_seconds(-1.0))
        );
    }

    #[test]
    fn without_an_own_time_a_live_message_is_dated_at_arrival_and_a_retained_one_is_no_reading() {
        assert_eq!(
            date(OwnTime::None, ARRIVAL, None, false),
            Dating::At(ARRIVAL)
        );
        assert_eq!(
            date(OwnTime::Unreadable, ARRIVAL, None, false),
            Dating::Refused(ARRIVAL)
        );
        assert_eq!(date(OwnTime::None, ARRIVAL, None, true), Dating::Ignored);
        assert_eq!(
            date(OwnTime::Unreadable, ARRIVAL, None, true),
            Dating::Ignored
        );
    }

    #[test]
    fn a_retained_message_counts_once_by_its_own_time() {
        let at = ARRIVAL.plus_seconds(-30.0);
        assert_eq!(date(own(-30.0), ARRIVAL, None, true), Dating::At(at));
        assert_eq!(date(own(-30.0), ARRIVAL, Some(at), true), Dating::Ignored);
    }

    proptest! {
        #[test]
        fn no_reading_is_ever_dated_after_its_arrival(
            own_us in any::<i32>(), last_us in proptest::option::of(any::<i32>()), retained: bool,
        ) {
            let own = OwnTime::Given(Moment(ARRIVAL.0 + i64::from(own_us)));
            let last = last_us.map(|us| Moment(ARRIVAL.0 + i64::from(us)));
            match date(own, ARRIVAL, last, retained) {
                Dating::At(at) => prop_assert!(at <= ARRIVAL),
                Dating::Refused(at) => prop_assert_eq!(at, ARRIVAL),
                Dating::Ignored => prop_assert!(retained),
            }
        }
    }
}

//! Which values a guided loop check applies, and in which order.

use clap::ValueEnum;
use lauter_core::calibration::Direction;
use lauter_core::units::{Buffer, Dimension};

use crate::web::wire::calibration::InstrumentState;

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum How {
    /// 0, 25, 50, 75 and 100 % of the range, up and down
    Values,
    /// Phosphate and phthalate at the temperature they have
    Buffers,
    /// Solutions or hand samples of known gravity
    Gravity,
    /// Water into a tank on a scale
    WeighedTank,
    /// Hand samples of pH, cooled, while wort runs
    SamplePh,
}

pub fn usual(state: &InstrumentState) -> How {
    match state.measures.dimension() {
        Dimension::Ph => How::Buffers,
        Dimension::Gravity => How::Gravity,
        Dimension::Flow => How::WeighedTank,
        _ => How::Values,
    }
}

impl How {
    /// Whether what it applies is what such an instrument measures.
    pub fn fits(self, dimension: Dimension) -> bool {
        match self {
            Self::Values => true,
            Self::Buffers | Self::SamplePh => dimension == Dimension::Ph,
            Self::Gravity => dimension == Dimension::Gravity,
            Self::WeighedTank => dimension == Dimension::Flow,
        }
    }
}

/// One value to be applied, in words and with what is to be asked for.
#[derive(Clone)]
pub struct Step {
    pub direction: Direction,
    pub words: String,
    pub wanted: Wanted,
}

/// What is applied, as far as it is known before.
#[derive(Clone, Copy)]
pub enum Wanted {
    Value(f64),
    Buffer(Buffer),
    Gravity,
    SamplePh,
    WeighedTank,
}

pub fn steps(method: How, state: &InstrumentState, repeats: u32) -> Vec<Step> {
    let up = |words: String, wanted| Step {
        direction: Direction::Up,
        words,
        wanted,
    };
    let once: Vec<Step> = match method {
        How::Values => range_steps(state),
        How::Buffers => [Buffer::Phosphate, Buffer::Phthalate]
            .map(|buffer| {
                let words = format!("rinse the probe, then {} buffer", buffer.name());
                up(words, Wanted::Buffer(buffer))
            })
            .into(),
        How::Gravity => [
            "water or the thinnest solution",
            "the strongest solution or wort",
        ]
        .map(|words| up(words.to_owned(), Wanted::Gravity))
        .into(),
        How::WeighedTank => {
            vec![up(
                "run water into the tank on the scale".to_owned(),
                Wanted::WeighedTank,
            )]
        }
        How::SamplePh => vec![up(
            "draw a hand sample and cool it to 20 °C".to_owned(),
            Wanted::SamplePh,
        )],
    };
    (0..repeats).flat_map(|_| once.clone()).collect()
}

fn range_steps(state: &InstrumentState) -> Vec<Step> {
    let low = state.lower_range_value.unwrap_or(0.0);
    let high = state.upper_range_value.unwrap_or(1.0);
    let step = |direction, percent: f64| {
        let value = low + 0.01 * percent * (high - low);
        let value = (1e6 * value).round() / 1e6;
        Step {
            direction,
            words: format!("{percent} %: apply {value} {}", state.unit.name()),
            wanted: Wanted::Value(value),
        }
    };
    let up = [0.0, 25.0, 50.0, 75.0, 100.0].map(|percent| step(Direction::Up, percent));
    let down = [75.0, 50.0, 25.0, 0.0].map(|percent| step(Direction::Down, percent));
    up.into_iter().chain(down).collect()
}

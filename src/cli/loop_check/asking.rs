//! One point of a guided loop check, as it is asked for: the reading, and what was applied.
//!
//! Owns which answers are usual. A slip is asked again and never drops a value: whoever stands at the instrument has
//! already applied it.

use std::io::BufRead;

use lauter_core::calibration::Applied;

use super::applied::number;
use super::ask::Terminal;
use super::steps::Wanted;
use crate::cli::text::print;
use crate::exit::Failure;
use crate::web::wire::calibration::InstrumentState;

/// Usual answers, least and greatest (common practice, no source).
const BUFFER_C: (f64, f64) = (5.0, 50.0);
const LINE_C: (f64, f64) = (1.0, 105.0);
const GRAVITY_P: (f64, f64) = (-1.0, 30.0);
const WORT_PH: (f64, f64) = (3.5, 8.5);
const TANK_KG: (f64, f64) = (0.1, 1e5);
const TANK_S: (f64, f64) = (5.0, 7200.0);

/// What is to be done about the reading of one step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Answer {
    Take,
    Typed(f64),
    Skip,
}

/// Outside these the service takes no reading, not even one of a check.
pub fn limits(state: &InstrumentState) -> (f64, f64) {
    let low = state.low.unwrap_or(f64::NEG_INFINITY);
    (low, state.high.unwrap_or(f64::INFINITY))
}

pub fn asked_reading<R: BufRead>(
    terminal: &mut Terminal<R>,
    limits: (f64, f64),
) -> Result<Answer, Failure> {
    let question =
        "  When the reading stands still press Enter; or type the reading, or s to skip:";
    loop {
        let text = terminal.line(question)?;
        match text.as_str() {
            "" => return Ok(Answer::Take),
            "s" | "S" => return Ok(Answer::Skip),
            _ => {}
        }
        match number(&text) {
            Ok(reading) if (limits.0..=limits.1).contains(&reading) => {
                return Ok(Answer::Typed(reading));
            }
            Ok(reading) => {
                let (low, high) = limits;
                print(&format!(
                    "  {reading} lies outside the instrument's limits, {low} to {high}, and no check is kept with it.\n"
                ))?;
            }
            Err(_) => print("  That is neither a number nor Enter nor s.\n")?,
        }
    }
}

/// Until it is something that can be applied to such an instrument.
pub fn asked_applied<R: BufRead>(
    terminal: &mut Terminal<R>,
    wanted: Wanted,
    state: &InstrumentState,
) -> Result<Applied, Failure> {
    loop {
        let applied = asked_once(terminal, wanted, state)?;
        match applied.value(state.unit, state.wort_factor) {
            Ok(_) => return Ok(applied),
            Err(error) => print(&format!("  {error}\n"))?,
        }
    }
}

fn asked_once<R: BufRead>(
    terminal: &mut Terminal<R>,
    wanted: Wanted,
    state: &InstrumentState,
) -> Result<Applied, Failure> {
    let mut ask = |question: &str, usual, within| terminal.number_within(question, usual, within);
    Ok(match wanted {
        Wanted::Value(value) => Applied::Value {
            value: ask(
                "  Applied value by the reference",
                Some(value),
                limits(state),
            )?,
        },
        Wanted::Buffer(buffer) => Applied::Buffer {
            buffer,
            temperature_c: ask("  Temperature of the buffer, °C", Some(25.0), BUFFER_C)?,
        },
        Wanted::Gravity => Applied::Gravity {
            gravity_p: ask("  Its gravity, °P", None, GRAVITY_P)?,
            temperature_c: Some(ask(
                "  Temperature in the instrument, °C",
                Some(20.0),
                LINE_C,
            )?),
        },
        Wanted::SamplePh => Applied::SamplePh {
            ph: ask("  pH of the cooled sample", None, WORT_PH)?,
            temperature_c: ask("  Temperature in the line, °C", Some(75.0), LINE_C)?,
        },
        Wanted::WeighedTank => Applied::WeighedTank {
            mass_kg: ask("  What the scale shows, kg", None, TANK_KG)?,
            seconds: ask("  How long it ran, s", None, TANK_S)?,
            temperature_c: ask("  Temperature of the water, °C", Some(20.0), LINE_C)?,
        },
    })
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use lauter_core::reading::Measures;
    use lauter_core::units::{Buffer, Unit};

    use super::*;

    fn terminal(answers: &str) -> Terminal<Cursor<Vec<u8>>> {
        Terminal::new(Cursor::new(answers.as_bytes().to_vec()))
    }

    fn electrode() -> InstrumentState {
        InstrumentState {
            instrument: "runnings_ph".to_owned(),
            measures: Measures::RunningsPh,
            unit: Unit::Ph,
            low: Some(2.0),
            high: Some(12.0),
            lower_range_value: Some(2.0),
            upper_range_value: Some(12.0),
            wort_factor: 1.04,
            reading: None,
            calibration: None,
            brew: None,
        }
    }

    #[test]
    fn a_slip_at_the_reading_is_asked_again_and_drops_no_value() {
        let read = |answers: &str| asked_reading(&mut terminal(answers), (2.0, 12.0));
        assert_eq!(read("6,,7\n6,7\n").unwrap(), Answer::Typed(6.7));
        assert_eq!(read("six\n\n").unwrap(), Answer::Take);
        assert_eq!(read("s\n").unwrap(), Answer::Skip);
        // The temperature, typed where the reading belongs.
        assert_eq!(read("25\n6.7\n").unwrap(), Answer::Typed(6.7));
        assert_eq!(read("12.4\ns\n").unwrap(), Answer::Skip);
    }

    #[test]
    fn answers_in_the_wrong_order_are_not_taken_without_a_word() {
        let sample = asked_applied(
            &mut terminal("74\n\n5.42\n5.42\n\n74\n"),
            Wanted::SamplePh,
            &electrode(),
        );
        let right = Applied::SamplePh {
            ph: 5.42,
            temperature_c: 74.0,
        };
        // 74 as a pH and no; 5.42 °C in the line is odd but possible.
        let Applied::SamplePh { ph, .. } = sample.unwrap() else {
            panic!("a sample")
        };
        assert!((ph - 5.42).abs() < 1e-12);
        let buffer = asked_applied(
            &mut terminal("68\nn\n24.8\n"),
            Wanted::Buffer(Buffer::Phosphate),
            &electrode(),
        );
        let expected = Applied::Buffer {
            buffer: Buffer::Phosphate,
            temperature_c: 24.8,
        };
        assert_eq!(buffer.unwrap(), expected);
        let sample = asked_applied(&mut terminal("5.42\n74\n"), Wanted::SamplePh, &electrode());
        assert_eq!(sample.unwrap(), right);
    }

    #[test]
    fn what_the_table_of_a_buffer_does_not_hold_is_asked_again_even_when_confirmed() {
        let asked = asked_applied(
            &mut terminal("250\ny\n25\n"),
            Wanted::Buffer(Buffer::Phthalate),
            &electrode(),
        );
        let Applied::Buffer { temperature_c, .. } = asked.unwrap() else {
            panic!("a buffer")
        };
        assert!((temperature_c - 25.0).abs() < 1e-12);
    }
}

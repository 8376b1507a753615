//! Sentences recognised by their fixed words, and said with the same figures in other words.
//!
//! Owns the matching alone. Figures take the decimal mark of the page, and its unit where the other sentence asks for it.

use super::Voice;
use super::terms::fill;
use crate::config::model::DecimalMark;

/// A sentence with `{}` for each figure, and the other sentence with `{0}`, `{1}` … for them. `{0 L}` and `{0 °P}` stand for
/// a figure in these units that the page tells in its own.
pub type Pattern = (&'static str, &'static str);

/// The first pattern that fits the whole text, filled.
pub fn matched(patterns: &[Pattern], text: &str, voice: Voice) -> Option<String> {
    patterns.iter().find_map(|(from, to)| {
        let figures = captured(from, text)?;
        let to = with_units(to, &figures, voice);
        let figures: Vec<String> = figures
            .into_iter()
            .map(|figure| with_mark(figure, voice))
            .collect();
        let figures: Vec<&str> = figures.iter().map(String::as_str).collect();
        Some(fill(&to, &figures))
    })
}

/// The places that ask for a unit, filled with figures in that of the page.
fn with_units(to: &str, figures: &[&str], voice: Voice) -> String {
    let mut text = to.to_owned();
    for (index, figure) in figures.iter().enumerate() {
        // What is no figure, and what stands in the page's unit already, is left to the letter.
        let shown = |own: &str, unit: &str, converted: fn(Voice, f64) -> String| {
            let value = figure.parse::<f64>().ok().filter(|_| own != unit);
            value.map_or_else(
                || format!("{} {unit}", with_mark(figure, voice)),
                |value| converted(voice, value),
            )
        };
        for (place, filled) in [
            (
                format!("{{{index} L}}"),
                shown(voice.volume_unit(), "L", Voice::volume_as_typed),
            ),
            (
                format!("{{{index} °P}}"),
                shown(voice.gravity_unit(), "°P", Voice::gravity_as_typed),
            ),
        ] {
            text = text.replace(&place, &filled);
        }
    }
    text
}

/// What stands at the places of `{}`; each takes as little as it can.
fn captured<'a>(pattern: &str, text: &'a str) -> Option<Vec<&'a str>> {
    let mut fixed = pattern.split("{}");
    let mut rest = text.strip_prefix(fixed.next()?)?;
    let fixed: Vec<&str> = fixed.collect();
    let mut found = Vec::new();
    for (index, part) in fixed.iter().enumerate() {
        let at = if index + 1 == fixed.len() {
            // The last fixed words must end the text.
            rest.len()
                .checked_sub(part.len())
                .filter(|at| rest.is_char_boundary(*at) && rest[*at..] == **part)?
        } else {
            rest.find(part)?
        };
        found.push(&rest[..at]);
        rest = &rest[at + part.len()..];
    }
    rest.is_empty().then_some(found)
}

/// A point between two digits as the page writes it.
fn with_mark(text: &str, voice: Voice) -> String {
    if voice.display.decimal == DecimalMark::Point {
        return text.to_owned();
    }
    let letters: Vec<char> = text.chars().collect();
    let digit = |at: Option<&char>| at.is_some_and(char::is_ascii_digit);
    letters
        .iter()
        .enumerate()
        .map(|(index, letter)| {
            let between =
                index > 0 && digit(letters.get(index - 1)) && digit(letters.get(index + 1));
            if *letter == '.' && between {
                ','
            } else {
                *letter
            }
        })
        .collect()
}

//! Measuring several ways of doing the same, beside one another in one run.
//!
//! Owns the rounds, the medians and what is printed of them; `rows` keeps them for the table of all benches. In each round
//! every case runs once, so that whatever else the machine does meets all of them; every other round runs them backwards,
//! for what one leaves its peer still to do would else be laid on the same next one always. A ratio is the median of the
//! rounds' ratios. With BENCH_SIZE=tiny everything runs once and small: that is what continuous integration asks, so that
//! no bench can rot.

#![allow(dead_code, reason = "each bench uses what it needs")]
#![allow(unused_imports, reason = "each bench uses what it needs")]

mod rows;

use std::time::Instant;

use rows::Row;
pub use rows::{Limit, left_out};

/// One way of doing it: runs once and gives how many a second.
pub struct Case<'a> {
    name: &'a str,
    run: Box<dyn FnMut() -> f64 + 'a>,
    asked: Vec<Asked<'a>>,
}

/// What a case should reach: so many a second, or such a share of what another case does.
enum Asked<'a> {
    Rate(f64),
    Share(f64, &'a str),
}

impl<'a> Case<'a> {
    pub fn new(name: &'a str, run: impl FnMut() -> f64 + 'a) -> Self {
        Self {
            name,
            run: Box::new(run),
            asked: Vec::new(),
        }
    }

    /// It should do so many a second.
    pub fn at_least(mut self, rate: f64) -> Self {
        self.asked.push(Asked::Rate(rate));
        self
    }

    /// It should do at least such a share of what the case `other` does; nothing is asked where that one is left out.
    pub fn beside(mut self, other: &'a str, least: f64) -> Self {
        self.asked.push(Asked::Share(least, other));
        self
    }
}

pub fn is_tiny() -> bool {
    std::env::var("BENCH_SIZE").is_ok_and(|size| size == "tiny")
}

/// `full`, or `tiny` where everything is to be small.
pub fn sized(full: usize, tiny: usize) -> usize {
    if is_tiny() { tiny } else { full }
}

pub fn rounds() -> usize {
    sized(15, 1)
}

/// How many a second `work` does of `count`.
pub fn rate(count: usize, work: impl FnOnce()) -> f64 {
    let started = Instant::now();
    work();
    count as f64 / started.elapsed().as_secs_f64()
}

pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Runs all cases in turn and prints each one's median rate and its ratio to the first.
pub fn compare(title: &str, unit: &str, cases: &mut [Case<'_>]) {
    let mut rates = vec![Vec::new(); cases.len()];
    for round in 0..rounds() {
        let mut order: Vec<usize> = (0..cases.len()).collect();
        if round % 2 == 1 {
            order.reverse();
        }
        for place in order {
            rates[place].push((cases[place].run)());
        }
    }
    println!("\n{title}");
    for (case, own) in cases.iter().zip(&rates) {
        let shown = grouped(median(own.clone()));
        let ratio = ratio(own, &rates[0]);
        println!("  {:<58} {shown:>14} {unit}  {ratio:>7.2}", case.name);
        let plain = Row {
            group: title,
            name: case.name,
            figure: &shown,
            unit,
            ratio: Some((ratio, cases[0].name)),
            limit: Limit::Counted(""),
        };
        leave(plain, case, own, cases, &rates);
    }
}

/// A row for each thing that is asked of a case, or a plain one.
fn leave(plain: Row<'_>, case: &Case<'_>, own: &[f64], cases: &[Case<'_>], rates: &[Vec<f64>]) {
    let mut judged = false;
    for asked in &case.asked {
        let (row, value) = match asked {
            Asked::Rate(least) => {
                let limit = Limit::AtLeast(*least);
                (Row { limit, ..plain }, median(own.to_vec()))
            }
            Asked::Share(least, other) => {
                let Some(place) = cases.iter().position(|case| case.name == *other) else {
                    continue;
                };
                let ratio = ratio(own, &rates[place]);
                let (limit, to) = (Limit::AtLeast(*least), Some((ratio, *other)));
                println!("    {ratio:.2} of {other}, asked {limit}");
                let ratio_row = Row {
                    limit,
                    ratio: to,
                    ..plain
                };
                (ratio_row, ratio)
            }
        };
        row.leave(value);
        judged = true;
    }
    if !judged {
        plain.leave(0.0);
    }
}

/// The median of the rounds' ratios.
pub fn ratio(own: &[f64], other: &[f64]) -> f64 {
    median(
        own.iter()
            .zip(other)
            .map(|(own, other)| own / other)
            .collect(),
    )
}

/// A figure of its own, with the limit it should keep.
pub fn figure(name: &str, value: f64, decimals: usize, unit: &str, limit: Limit) {
    shown(name, value, decimals, unit, limit, None);
}

/// A figure with its ratio to another one.
pub fn figure_beside(name: &str, value: f64, decimals: usize, unit: &str, ratio: (f64, &str)) {
    shown(
        name,
        value,
        decimals,
        unit,
        Limit::Counted("counted"),
        Some(ratio),
    );
}

fn shown(
    name: &str,
    value: f64,
    decimals: usize,
    unit: &str,
    limit: Limit,
    ratio: Option<(f64, &str)>,
) {
    let figure = format!("{value:.decimals$}");
    match ratio {
        Some((ratio, to)) => println!("  {name:<58} {figure:>14} {unit}  ({ratio:.2} of {to})"),
        None => println!("  {name:<58} {figure:>14} {unit}  ({limit})"),
    }
    let row = Row {
        group: "",
        name,
        figure: &figure,
        unit,
        ratio,
        limit,
    };
    row.leave(value);
}

/// Digits in groups of three.
fn grouped(value: f64) -> String {
    let digits = format!("{value:.0}");
    let mut text = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            text.push(' ');
        }
        text.push(digit);
    }
    text
}

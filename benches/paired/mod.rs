//! Measuring several ways of doing the same, beside one another in one run.
//!
//! Owns the rounds, the medians and the table. In each round every case runs once, so that whatever else the machine
//! does meets all of them; a ratio is the median of the rounds' ratios. With BENCH_SIZE=tiny everything runs once
//! and small: that is what continuous integration asks, so that no bench can rot.

#![allow(dead_code, reason = "each bench uses what it needs")]

use std::time::Instant;

/// One way of doing it: runs once and gives how many a second.
pub struct Case<'a> {
    pub name: &'a str,
    pub run: Box<dyn FnMut() -> f64 + 'a>,
}

impl<'a> Case<'a> {
    pub fn new(name: &'a str, run: impl FnMut() -> f64 + 'a) -> Self {
        Self {
            name,
            run: Box::new(run),
        }
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
    sized(7, 1)
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
    for _ in 0..rounds() {
        for (case, rates) in cases.iter_mut().zip(&mut rates) {
            rates.push((case.run)());
        }
    }
    println!("\n{title}");
    for (case, own) in cases.iter().zip(&rates) {
        let ratios = own.iter().zip(&rates[0]).map(|(own, first)| own / first);
        println!(
            "  {:<58} {:>14} {unit}  {:>7.2}",
            case.name,
            grouped(median(own.clone())),
            median(ratios.collect())
        );
    }
}

/// A figure of its own, with the limit it should keep.
pub fn figure(name: &str, value: f64, decimals: usize, unit: &str, limit: &str) {
    println!("  {name:<58} {value:>14.decimals$} {unit}  ({limit})");
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

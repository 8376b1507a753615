//! What the core does with readings: conditioning, the whole supervisor, a replay from file to file.
//!
//! The peer of conditioning is the least that could be called so: a Hampel filter over seven readings, a Kalman filter
//! of level and trend, a cumulative sum; nothing of units, limits, status or a reading's cause. benches/peers/filters.py
//! times the same by filterpy, statsmodels and scipy.

mod paired;
mod simulated;

use std::hint::black_box;

use lauter_core::conditioning::{Conditioner, Parameters};
use lauter_core::reading::{Measures, Moment};
use lauter_core::supervisor::Event;
use lauterd::config;
use lauterd::replay::{self, Beside, Job, Results};

use paired::{Case, Limit, compare, figure, median, rate, rounds, sized};
use simulated::Brew;

/// Readings a second that conditioning should do on one core.
const CONDITIONED: f64 = 25e6;

/// A slow fall with noise and a gas bubble now and then.
fn signal(count: usize) -> Vec<f64> {
    let mut seed = 1_u64;
    (0..count)
        .map(|index| {
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let noise = (seed >> 33) as f64 / f64::from(1_u32 << 31) - 0.5;
            let bubble = if index % 1000 == 999 { -0.8 } else { 0.0 };
            1.5 + 0.5 * (index as f64 / 5000.0).sin() + 0.02 * noise + bubble
        })
        .collect()
}

fn conditioned(measures: Measures, values: &[f64]) -> f64 {
    let mut conditioner = Conditioner::new(Parameters::for_measurement(measures), -5.0, 40.0, 10.0);
    rate(values.len(), || {
        for (second, value) in (0..).zip(values) {
            let at = Moment(second * 1_000_000);
            black_box(conditioner.observe(Ok(*value), at, true));
        }
        black_box(
            conditioner
                .estimate(Moment::from_seconds(values.len() as f64))
                .ok(),
        );
    })
}

/// Sixteen exchanges sort seven numbers (Knuth, The Art of Computer Programming, volume 3, 5.3.4).
const EXCHANGES: [(usize, usize); 16] = [
    (0, 6),
    (2, 3),
    (4, 5),
    (0, 2),
    (1, 4),
    (3, 6),
    (0, 1),
    (2, 5),
    (3, 4),
    (1, 2),
    (4, 6),
    (2, 3),
    (4, 5),
    (1, 2),
    (3, 4),
    (5, 6),
];

fn median_of_seven(mut values: [f64; 7]) -> f64 {
    for (low, high) in EXCHANGES {
        let (one, other) = (values[low], values[high]);
        values[low] = if one < other { one } else { other };
        values[high] = if one < other { other } else { one };
    }
    values[3]
}

/// Hampel over seven, Kalman of level and trend, CUSUM.
fn bare(values: &[f64]) -> f64 {
    let mut window = [0.0; 7];
    let (mut level, mut trend) = (values[0], 0.0);
    let (mut p00, mut p01, mut p11) = (1.0, 0.0, 1.0);
    let (mut up, mut down) = (0.0_f64, 0.0_f64);
    let mut alarms = 0_u32;
    let rate = rate(values.len(), || {
        for (index, value) in values.iter().enumerate() {
            window[index % 7] = *value;
            let middle = median_of_seven(window);
            let deviation = median_of_seven(window.map(|value| (value - middle).abs()));
            let reach = 5.0 * (1.4826 * deviation).max(0.002);
            let taken = if (value - middle).abs() > reach {
                middle
            } else {
                *value
            };
            level += trend;
            p00 += 2.0 * p01 + p11 + 1e-6;
            p01 += p11;
            p11 += 1e-8;
            let variance = p00 + 1e-4;
            let (gain, slope) = (p00 / variance, p01 / variance);
            let miss = taken - level;
            level += gain * miss;
            trend += slope * miss;
            p11 -= slope * p01;
            p01 -= slope * p00;
            p00 -= gain * p00;
            let standardised = miss / variance.sqrt();
            up = (up + standardised - 0.5).max(0.0);
            down = (down - standardised - 0.5).max(0.0);
            alarms += u32::from(up > 8.0 || down > 8.0);
        }
    });
    black_box((level, trend, alarms));
    rate
}

fn conditioning() {
    let values = signal(sized(2_000_000, 20_000));
    let values = values.as_slice();
    compare(
        "Conditioning, one core",
        "readings/s",
        &mut [
            Case::new("peer: bare Hampel-7, Kalman, CUSUM", || bare(values)),
            Case::new("pressure drop: window of 7", || {
                conditioned(Measures::BedPressureDrop, values)
            })
            .at_least(CONDITIONED),
            Case::new("flow: window of 5", || {
                conditioned(Measures::RunoffFlow, values)
            })
            .at_least(CONDITIONED),
            Case::new("gravity: window of 15, bursts of gas", || {
                conditioned(Measures::RunningsGravity, values)
            })
            .at_least(CONDITIONED),
        ],
    );
}

fn supervised(brew: &Brew, events: &[(Event, Moment)]) -> f64 {
    let mut supervisor = brew.supervisor();
    let given = events.to_vec();
    rate(events.len(), || {
        for (event, at) in given {
            supervisor.handle(event, at);
            while let Some(output) = supervisor.poll_output() {
                black_box(output);
            }
        }
    })
}

fn replayed(brew: &Brew) -> f64 {
    let job = Job {
        configuration: config::load_offline(&brew.path("config.toml")).expect("right"),
        plan: config::load_plan(&brew.path("plan.toml")).expect("right"),
        data: brew.path("RUN.csv"),
        beside: Beside::default(),
        store: None,
        results: Results::File(brew.path("OUT.jsonl")),
    };
    1.0 / rate(1, || {
        replay::run(&job, &mut |_| {}).expect("it is replayed");
    })
}

fn main() {
    conditioning();
    let brew = Brew::recorded();
    let events = brew.events();
    println!("\nA run-off of 90 min, {} readings", events.len());
    let medians = |run: &dyn Fn() -> f64| median((0..rounds()).map(|_| run()).collect());
    let rate = medians(&|| supervised(&brew, &events));
    figure(
        "supervisor with everything on",
        rate / 1e6,
        2,
        "M readings/s",
        Limit::AtLeast(1.0),
    );
    let seconds = medians(&|| replayed(&brew));
    figure(
        "replay, CSV to results",
        1000.0 * seconds,
        1,
        "ms",
        Limit::AtMost(100.0),
    );
}

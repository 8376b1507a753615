//! Studies: many simulated brews under the real supervisor, and how well it did.
//!
//! Owns the trials and their figures. The supervisor sees instruments only; the simulator's truth is kept aside
//! for the comparison.

pub mod bound;
pub mod campaign;
pub mod faults;
pub mod figures;
pub mod hand;
pub mod judged;
pub mod measured;
pub mod plots;
pub mod ridge;
pub mod text;
pub mod trial;

use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

pub use trial::Trial;

/// Runs `work` for each of `items` on all processors; the answers keep the items' order.
pub fn in_parallel<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let workers = thread::available_parallelism()
        .map_or(1, usize::from)
        .min(items.len().max(1));
    let mut answers: Vec<(usize, R)> = thread::scope(|scope| {
        let handles: Vec<_> = (0..workers)
            .map(|_| {
                scope.spawn(|| {
                    let mut mine = Vec::new();
                    loop {
                        let index = next.fetch_add(1, Ordering::Relaxed);
                        let Some(item) = items.get(index) else {
                            break mine;
                        };
                        mine.push((index, work(item)));
                    }
                })
            })
            .collect();
        handles
            .into_iter()
            .flat_map(|handle| handle.join().expect("a trial panicked"))
            .collect()
    });
    answers.sort_by_key(|(index, _)| *index);
    answers.into_iter().map(|(_, answer)| answer).collect()
}

/// The value below which `share` of `values` lie, between neighbours in proportion; None of an empty list.
pub fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let rank = share * (sorted.len().checked_sub(1)?) as f64;
    let below = rank.floor() as usize;
    let above = (below + 1).min(sorted.len() - 1);
    Some(sorted[below] + (rank - below as f64) * (sorted[above] - sorted[below]))
}

#[cfg(test)]
mod tests {
    use super::{in_parallel, quantile};

    #[test]
    fn a_quantile_between_two_values_is_in_proportion() {
        let values = [40.0, 10.0, 30.0, 20.0];
        let of = |share| quantile(&values, share).expect("values");
        for (share, expected) in [(0.0, 10.0), (0.5, 25.0), (0.9, 37.0), (1.0, 40.0)] {
            assert!(
                (of(share) - expected).abs() < 1e-12,
                "{share}: {}",
                of(share)
            );
        }
        assert_eq!(quantile(&[], 0.5), None);
    }

    #[test]
    fn answers_keep_the_order_of_their_items() {
        let items: Vec<u64> = (0..100).collect();
        let squares = in_parallel(&items, |item| item * item);
        assert!(
            squares
                .iter()
                .zip(&items)
                .all(|(square, item)| *square == item * item)
        );
    }
}

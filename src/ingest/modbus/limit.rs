//! How long a request may take.
//!
//! Owns the one timer of a connection. Setting and removing a timer for each request costs more than decoding its answer;
//! so the timer stays set after an answer, and when it rings it is moved to the request that is under way by then. Knows
//! nothing of what is waited for.

use std::future::{Future, poll_fn};
use std::pin::{Pin, pin};
use std::task::{Poll, ready};
use std::time::Duration;

use tokio::time::{Instant, Sleep, sleep_until};

pub(super) struct Limit {
    allowed: Duration,
    /// Never set to later than `allowed` from now. None while nothing is asked, so that it wakes nobody.
    timer: Option<Pin<Box<Sleep>>>,
}

impl Limit {
    pub fn new(allowed: Duration) -> Self {
        Self {
            allowed,
            timer: None,
        }
    }

    pub fn allowed(&self) -> Duration {
        self.allowed
    }

    /// What `answer` gives, or None if it takes longer than is allowed.
    pub async fn keep<T>(&mut self, answer: impl Future<Output = T>) -> Option<T> {
        let deadline = Instant::now() + self.allowed;
        let timer = self
            .timer
            .get_or_insert_with(|| Box::pin(sleep_until(deadline)));
        let mut answer = pin!(answer);
        poll_fn(|context| {
            if let Poll::Ready(answer) = answer.as_mut().poll(context) {
                return Poll::Ready(Some(answer));
            }
            loop {
                ready!(timer.as_mut().poll(context));
                if timer.deadline() >= deadline {
                    return Poll::Ready(None);
                }
                timer.as_mut().reset(deadline);
            }
        })
        .await
    }

    /// Nothing will be asked for a while.
    pub fn rest(&mut self) {
        self.timer = None;
    }
}

#[cfg(test)]
mod tests {
    use std::future::pending;

    use tokio::time::sleep;

    use super::*;

    const ALLOWED: Duration = Duration::from_millis(100);

    /// Nothing comes in time, and the time was given whole.
    async fn waits_in_vain(limit: &mut Limit) {
        let begin = Instant::now();
        assert_eq!(limit.keep(pending::<()>()).await, None);
        assert!(begin.elapsed() >= ALLOWED, "{:?}", begin.elapsed());
    }

    #[tokio::test]
    async fn every_request_has_its_whole_time_however_old_the_timer() {
        let mut limit = Limit::new(ALLOWED);
        for taken_ms in [10, 60, 80, 0, 80] {
            let answer = sleep(Duration::from_millis(taken_ms));
            assert_eq!(limit.keep(answer).await, Some(()));
        }
        waits_in_vain(&mut limit).await;
    }

    #[tokio::test]
    async fn a_request_after_one_that_was_never_answered_has_its_whole_time_too() {
        let mut limit = Limit::new(ALLOWED);
        waits_in_vain(&mut limit).await;
        waits_in_vain(&mut limit).await;
    }

    #[tokio::test]
    async fn a_request_after_a_rest_has_its_whole_time_too() {
        let mut limit = Limit::new(ALLOWED);
        assert_eq!(limit.keep(async {}).await, Some(()));
        limit.rest();
        sleep(Duration::from_millis(250)).await;
        waits_in_vain(&mut limit).await;
    }

    #[tokio::test]
    async fn an_answer_that_waits_beside_the_timer_is_taken() {
        let mut limit = Limit::new(ALLOWED);
        assert_eq!(limit.keep(sleep(ALLOWED)).await, Some(()));
    }
}

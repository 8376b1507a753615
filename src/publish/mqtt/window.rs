//! The rows the broker has not yet acknowledged, in their order.
//!
//! Owns the promise that no row is forgotten and that rows reach the broker in order: a row leaves only from the
//! front, and a lost connection makes all of them unpublished again. It knows no connection, so that the promise
//! is tested on its own.

use std::collections::VecDeque;

use super::message::Message;

/// Unacknowledged rows: the first `published` of them are under way on the present connection.
#[derive(Debug)]
pub struct Window {
    rows: VecDeque<Message>,
    published: usize,
    limit: usize,
}

impl Window {
    pub fn with_limit(limit: usize) -> Self {
        Self {
            rows: VecDeque::with_capacity(limit),
            published: 0,
            limit,
        }
    }

    pub fn has_room(&self) -> bool {
        self.rows.len() < self.limit
    }

    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Whether something waits for this topic.
    pub fn holds(&self, topic: &str) -> bool {
        self.rows.iter().any(|row| row.topic == topic)
    }

    /// Puts what was acknowledged before in front of everything else, while nothing is under way yet.
    pub fn repeat(&mut self, message: Message) {
        debug_assert_eq!(self.published, 0);
        self.rows.push_front(message);
    }

    /// Rows under way on the present connection.
    pub fn in_flight(&self) -> usize {
        self.published
    }

    pub fn hold(&mut self, row: Message) {
        self.rows.push_back(row);
    }

    /// The oldest row that is not under way.
    pub fn next_to_publish(&self) -> Option<&Message> {
        self.rows.get(self.published)
    }

    pub fn mark_published(&mut self) {
        self.published = (self.published + 1).min(self.rows.len());
    }

    /// Takes out the row that `next_to_publish` shows, for one that can never be published.
    pub fn set_aside(&mut self) -> Option<Message> {
        self.rows.remove(self.published)
    }

    /// The broker has acknowledged the oldest row under way. Acknowledgements come in the order of the publishes
    /// (MQTT 3.1.1, 4.6).
    pub fn acknowledge(&mut self) -> Option<Message> {
        self.published = self.published.checked_sub(1)?;
        self.rows.pop_front()
    }

    /// The connection is gone: what was under way has to be published again. Returns how many rows that are.
    pub fn connection_lost(&mut self) -> usize {
        std::mem::take(&mut self.published)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::publish::mqtt::message::Quality;
    use proptest::prelude::*;

    fn row(number: i64) -> Message {
        Message {
            row: Some(number),
            topic: "t".to_owned(),
            payload: Vec::new(),
            quality: Quality::AtLeastOnce,
            retain: false,
        }
    }

    #[derive(Clone, Copy, Debug)]
    enum Step {
        HandOver,
        Publish,
        Acknowledge,
        Lose,
    }

    fn step() -> impl Strategy<Value = Step> {
        prop_oneof![
            4 => Just(Step::HandOver),
            4 => Just(Step::Publish),
            3 => Just(Step::Acknowledge),
            1 => Just(Step::Lose),
        ]
    }

    proptest! {
        #[test]
        fn every_row_is_published_in_order_on_each_connection_and_acknowledged_once_in_order(
            steps in proptest::collection::vec(step(), 0..300),
        ) {
            let mut window = Window::with_limit(5);
            let (mut handed_over, mut acknowledged) = (0, 0);
            let mut last_published = 0;
            for step in steps {
                match step {
                    Step::HandOver if window.has_room() => {
                        handed_over += 1;
                        window.hold(row(handed_over));
                    }
                    Step::HandOver => {}
                    Step::Publish => if let Some(message) = window.next_to_publish() {
                        let number = message.row.expect("a row");
                        prop_assert_eq!(number, last_published.max(acknowledged) + 1);
                        last_published = number;
                        window.mark_published();
                    }
                    Step::Acknowledge => if let Some(message) = window.acknowledge() {
                        acknowledged += 1;
                        prop_assert_eq!(message.row, Some(acknowledged));
                        prop_assert!(acknowledged <= last_published);
                    }
                    Step::Lose => {
                        let again = window.connection_lost();
                        prop_assert_eq!(i64::try_from(again).ok(), Some((last_published - acknowledged).max(0)));
                        last_published = acknowledged;
                    }
                }
                prop_assert!(window.in_flight() <= 5);
            }
            // What remains arrives on one last connection that holds.
            window.connection_lost();
            while window.next_to_publish().is_some() {
                window.mark_published();
            }
            while let Some(message) = window.acknowledge() {
                acknowledged += 1;
                prop_assert_eq!(message.row, Some(acknowledged));
            }
            prop_assert_eq!(acknowledged, handed_over);
            prop_assert!(window.is_empty());
        }
    }

    #[test]
    fn what_is_repeated_goes_out_before_what_was_not_acknowledged() {
        let mut window = Window::with_limit(1);
        window.hold(row(2));
        window.mark_published();
        window.connection_lost();
        window.repeat(row(1));
        assert!(window.holds("t") && !window.holds("u"));
        for number in [1, 2] {
            assert_eq!(window.next_to_publish(), Some(&row(number)));
            window.mark_published();
        }
        assert_eq!(window.acknowledge(), Some(row(1)));
        assert_eq!(window.acknowledge(), Some(row(2)));
    }

    #[test]
    fn a_row_that_cannot_be_published_does_not_hold_up_the_next() {
        let mut window = Window::with_limit(5);
        for number in 1..=3 {
            window.hold(row(number));
        }
        window.mark_published();
        assert_eq!(window.set_aside(), Some(row(2)));
        assert_eq!(window.next_to_publish(), Some(&row(3)));
        assert_eq!(window.acknowledge(), Some(row(1)));
        assert_eq!(window.in_flight(), 0);
    }
}

//! The service's tasks, and the news when one of them ends by itself.
//!
//! Owns who is still at work. A task that ends before it was asked to, by a panic or by returning, is a fault of the
//! program: it is told with its name, and whoever runs the service ends the rest.

use std::time::Duration;

use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

/// The first end is enough.
const ENDS_BOUND: usize = 1;

#[derive(Debug)]
pub struct Tasks {
    stop: CancellationToken,
    tasks: Vec<(String, JoinHandle<()>)>,
    ended_in: mpsc::Sender<String>,
    ended: mpsc::Receiver<String>,
}

impl Tasks {
    /// After `stop`, tasks may end.
    pub fn new(stop: CancellationToken) -> Self {
        let (ended_in, ended) = mpsc::channel(ENDS_BOUND);
        Self {
            stop,
            tasks: Vec::new(),
            ended_in,
            ended,
        }
    }

    /// Watches a task from now on.
    pub fn watch(&mut self, name: &str, task: JoinHandle<()>) {
        let (told, stop) = (name.to_owned(), self.stop.clone());
        let ended_in = self.ended_in.clone();
        let watcher = tokio::spawn(async move {
            let outcome = task.await;
            if stop.is_cancelled() {
                return;
            }
            let news = match outcome {
                Err(error) if error.is_panic() => {
                    let panic = error.into_panic();
                    let words = panic
                        .downcast_ref::<String>()
                        .map(String::as_str)
                        .or_else(|| panic.downcast_ref::<&str>().copied());
                    let words = words.unwrap_or("without words");
                    format!("{told} has panicked: {words}")
                }
                _ => format!("{told} has ended by itself"),
            };
            // Only the first end finds room.
            let _ = ended_in.try_send(news);
        });
        self.tasks.push((name.to_owned(), watcher));
    }

    /// Waits until a task ends before it should, and says which and why.
    pub async fn ended(&mut self) -> String {
        match self.ended.recv().await {
            Some(news) => news,
            None => std::future::pending().await,
        }
    }

    /// Waits until all have ended, but no longer than `limit`. Gives the names of those that have not.
    pub async fn end(self, limit: Duration) -> Vec<String> {
        let pause = tokio::time::sleep(limit);
        tokio::pin!(pause);
        let mut left = Vec::new();
        for (name, watcher) in self.tasks {
            // When the pause is over, each is asked once more and not waited for.
            tokio::select! {
                biased;
                _ = watcher => {}
                () = &mut pause => left.push(name),
            }
        }
        left
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_panic_in_any_task_is_told_with_its_name_and_words() {
        let mut tasks = Tasks::new(CancellationToken::new());
        tasks.watch("the idle one", tokio::spawn(std::future::pending()));
        let broken = tokio::spawn(async { panic!("no such column") });
        tasks.watch("the broken one", broken);
        assert_eq!(
            tasks.ended().await,
            "the broken one has panicked: no such column"
        );
    }

    #[tokio::test]
    async fn a_task_that_returns_early_is_told_and_one_that_was_asked_to_is_not() {
        let stop = CancellationToken::new();
        let mut tasks = Tasks::new(stop.clone());
        tasks.watch("the short one", tokio::spawn(async {}));
        assert_eq!(tasks.ended().await, "the short one has ended by itself");
        let asked = stop.clone();
        tasks.watch(
            "the orderly one",
            tokio::spawn(async move { asked.cancelled().await }),
        );
        tasks.watch("the deaf one", tokio::spawn(std::future::pending()));
        stop.cancel();
        let left = tasks.end(Duration::from_millis(50)).await;
        assert_eq!(left, ["the deaf one"]);
    }
}

//! What the publisher does about each kind of answer.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use lauterd::publish::influx::State;

use crate::script::{Delivery, Reply, Server, settings};

fn is_poison(line: &str) -> bool {
    line.ends_with(" 13") || line.ends_with(" 14")
}

#[tokio::test]
async fn rows_go_in_one_request_in_order_with_token_bucket_and_organisation() {
    let server = Server::start(|_, _| Reply::Status(204, "")).await;
    let mut delivery = Delivery::start(&settings(&server.url));
    delivery.feed(5);
    assert_eq!(delivery.acknowledged(5).await, [1, 2, 3, 4, 5]);
    let health = delivery.health(|h| h.delivered == 5).await;
    assert_eq!(health.state, State::Delivering);
    let requests = server.requests();
    let lines: Vec<&String> = requests.iter().flat_map(|r| &r.lines).collect();
    assert_eq!(lines[0], "reading,instrument=flow value=1 1");
    assert_eq!(lines[4], "reading,instrument=flow value=5 5");
    let head = &requests[0].head;
    assert!(
        head.starts_with("POST /api/v2/write?bucket=lauter&org=north+yard&precision=ns "),
        "{head}"
    );
    let head = head.to_ascii_lowercase();
    assert!(
        head.contains("authorization: token hops-and-malt"),
        "{head}"
    );
}

#[tokio::test]
async fn throttling_server_errors_and_hang_ups_are_tried_again_until_they_pass() {
    let server = Server::start(|number, _| match number {
        0 => Reply::Header(429, "Retry-After: 1"),
        1 => Reply::Status(500, "shard unavailable"),
        2 => Reply::Status(503, ""),
        3 => Reply::HangUp,
        _ => Reply::Status(204, ""),
    })
    .await;
    let mut delivery = Delivery::start(&settings(&server.url));
    delivery.feed(3);
    assert_eq!(delivery.acknowledged(3).await, [1, 2, 3]);
    let health = delivery.health(|h| h.delivered == 3).await;
    assert_eq!((health.retried, health.set_aside), (4, 0));
    let requests = server.requests();
    assert_eq!(requests.len(), 5);
    assert!(requests.iter().all(|r| r.lines == requests[0].lines));
}

#[tokio::test]
async fn a_server_that_never_answers_costs_one_timeout_and_no_row() {
    let server = Server::start(|number, _| match number {
        0 => Reply::Stall,
        _ => Reply::Status(204, ""),
    })
    .await;
    let mut settings = settings(&server.url);
    settings.timeout = Duration::from_millis(300);
    let mut delivery = Delivery::start(&settings);
    delivery.feed(2);
    let health = delivery.health(|h| h.retried > 0).await;
    assert_eq!(
        health.state,
        State::Retrying {
            reason: "no answer within 0.3 s".to_owned()
        }
    );
    assert_eq!(delivery.acknowledged(2).await, [1, 2]);
}

#[tokio::test]
async fn a_poisoned_point_is_set_aside_alone_and_the_others_arrive() {
    let server = Server::start(|_, lines| {
        if lines.iter().any(|line| is_poison(line)) {
            Reply::Status(400, "partial write: field type conflict")
        } else {
            Reply::Status(204, "")
        }
    })
    .await;
    let mut delivery = Delivery::start(&settings(&server.url));
    delivery.feed(40);
    let all: Vec<i64> = (1..=40).collect();
    assert_eq!(delivery.acknowledged(40).await, all);
    let health = delivery.health(|h| h.delivered == 38).await;
    assert_eq!(health.set_aside, 2);
    let aside = health.last_set_aside.unwrap();
    assert_eq!(aside.id, 14);
    assert!(aside.line.ends_with("value=14 14"), "{}", aside.line);
    assert!(aside.reason.contains("type conflict"), "{}", aside.reason);
}

#[tokio::test]
async fn a_batch_that_is_too_large_is_cut_in_half_and_later_ones_stay_small() {
    let server = Server::start(|_, lines| {
        if lines.len() > 12 {
            Reply::Status(413, "too large")
        } else {
            Reply::Status(204, "")
        }
    })
    .await;
    let mut delivery = Delivery::start(&settings(&server.url));
    delivery.feed(40);
    delivery.acknowledged(40).await;
    let refused = |server: &Server| {
        let requests = server.requests();
        requests.iter().filter(|r| r.lines.len() > 12).count()
    };
    let before = refused(&server);
    assert!(before > 0);
    delivery.feed(40);
    delivery.acknowledged(40).await;
    assert_eq!(refused(&server), before);
    assert_eq!(delivery.health(|h| h.delivered == 80).await.set_aside, 0);
}

#[tokio::test]
async fn a_single_row_that_is_too_large_is_set_aside() {
    let server = Server::start(|_, _| Reply::Status(413, "too large")).await;
    let mut delivery = Delivery::start(&settings(&server.url));
    delivery.feed(3);
    assert_eq!(delivery.acknowledged(3).await, [1, 2, 3]);
    assert_eq!(delivery.health(|h| h.set_aside == 3).await.delivered, 0);
}

#[tokio::test]
async fn a_refused_token_keeps_every_row_until_it_is_mended() {
    for status in [401, 404] {
        let mended = Arc::new(AtomicBool::new(false));
        let gate = Arc::clone(&mended);
        let server = Server::start(move |_, _| {
            if gate.load(Ordering::SeqCst) {
                Reply::Status(204, "")
            } else {
                Reply::Status(status, "no")
            }
        })
        .await;
        let mut delivery = Delivery::start(&settings(&server.url));
        delivery.feed(3);
        let health = delivery.health(|h| h.retried >= 2).await;
        let State::Refused { reason } = health.state else {
            panic!("{:?}", health.state)
        };
        assert!(reason.contains(&status.to_string()), "{reason}");
        assert!(delivery.acknowledged.try_recv().is_err());
        mended.store(true, Ordering::SeqCst);
        assert_eq!(delivery.acknowledged(3).await, [1, 2, 3]);
    }
}

#[tokio::test]
async fn another_kind_of_server_is_reported_and_takes_no_row() {
    let server = Server::start(|_, _| Reply::Status(200, "<html>welcome</html>")).await;
    let mut delivery = Delivery::start(&settings(&server.url));
    delivery.feed(1);
    let health = delivery.health(|h| h.retried >= 1).await;
    assert!(matches!(health.state, State::Refused { .. }), "{health:?}");
    assert!(delivery.acknowledged.try_recv().is_err());
}

#[tokio::test]
async fn a_redirection_is_reported_and_not_followed() {
    let server = Server::start(|number, _| match number {
        0 => Reply::Header(302, "Location: /elsewhere"),
        _ => Reply::Status(204, ""),
    })
    .await;
    let mut delivery = Delivery::start(&settings(&server.url));
    delivery.feed(2);
    let health = delivery.health(|h| h.retried >= 1).await;
    let State::Refused { reason } = health.state else {
        panic!("{:?}", health.state)
    };
    assert!(reason.contains("302"), "{reason}");
    assert_eq!(delivery.acknowledged(2).await, [1, 2]);
    let requests = server.requests();
    assert!(
        requests
            .iter()
            .all(|r| r.head.starts_with("POST /api/v2/write?"))
    );
    assert_eq!(requests[1].lines, requests[0].lines);
}

#[tokio::test]
async fn rows_that_come_while_an_answer_is_awaited_go_after_those_that_must_be_sent_again() {
    let answering = Arc::new(AtomicBool::new(false));
    let gate = Arc::clone(&answering);
    let server = Server::start(move |_, _| {
        if gate.load(Ordering::SeqCst) {
            Reply::Status(204, "")
        } else {
            Reply::Status(503, "")
        }
    })
    .await;
    let mut settings = settings(&server.url);
    settings.batch = 4;
    let mut delivery = Delivery::start(&settings);
    delivery.feed(4);
    delivery.health(|h| h.retried >= 1).await;
    delivery.feed(10);
    delivery.health(|h| h.retried >= 3).await;
    assert!(delivery.acknowledged.try_recv().is_err());
    answering.store(true, Ordering::SeqCst);
    assert_eq!(delivery.acknowledged(14).await.len(), 14);
    let requests = server.requests();
    let taken = &requests[requests.len() - 4..];
    let lines: Vec<&String> = taken.iter().flat_map(|r| &r.lines).collect();
    let wanted = (1..=4)
        .chain(1..=10)
        .map(|id| format!("reading,instrument=flow value={id} {id}"));
    assert!(lines.into_iter().eq(&wanted.collect::<Vec<_>>()));
    let refused = &requests[..requests.len() - 4];
    assert!(refused.iter().all(|r| r.lines == requests[0].lines));
}

#[tokio::test]
async fn a_server_that_is_away_is_found_again() {
    let listener = tokio::net::TcpListener::bind(("127.0.0.1", 0))
        .await
        .unwrap();
    let address = listener.local_addr().unwrap();
    drop(listener);
    let mut delivery = Delivery::start(&settings(&format!("http://{address}")));
    delivery.feed(1);
    let health = delivery.health(|h| h.retried >= 2).await;
    let State::Retrying { reason } = health.state else {
        panic!("{:?}", health.state)
    };
    assert!(reason.to_lowercase().contains("connect"), "{reason}");
}

#[tokio::test]
async fn a_server_that_refuses_every_point_costs_few_of_them_and_is_named() {
    let mended = Arc::new(AtomicBool::new(false));
    let server = {
        let mended = Arc::clone(&mended);
        Server::start(move |_, _| {
            if mended.load(Ordering::SeqCst) {
                Reply::Status(204, "")
            } else {
                Reply::Status(413, "too large")
            }
        })
        .await
    };
    let mut delivery = Delivery::start(&settings(&server.url));
    delivery.feed(60);
    let health = delivery
        .health(|h| matches!(h.state, State::Refused { .. }) && h.retried >= 3)
        .await;
    let State::Refused { reason } = &health.state else {
        panic!("{health:?}")
    };
    assert!(reason.contains("no point at all"), "{reason}");
    let few = health.set_aside;
    assert!((1..=5).contains(&few), "{few} set aside");
    mended.store(true, Ordering::SeqCst);
    let health = delivery.health(|h| h.delivered == 60 - few).await;
    assert_eq!(health.set_aside, few);
}
